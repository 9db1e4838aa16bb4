//! What is wrong with a file, where, and how to mend it.

use std::collections::BTreeSet;
use std::fmt;

use serde::{Deserialize, Serialize};

/// How bad a problem is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// The file cannot be used.
    Error,
    /// The file can be used; its author should look.
    Warning,
}

/// One problem of a file at its place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Problem {
    /// Name of the file as it was given.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// Error or warning.
    pub severity: Severity,
    /// What is wrong, without a full stop.
    pub what: String,
    /// How to mend it, in whole sentences.
    pub mend: String,
    /// The key that is meant, where the place is that of a whole table.
    #[serde(skip)]
    pub key: Option<&'static str>,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            file,
            line,
            column,
            severity,
            what,
            mend,
            key: _,
        } = self;
        let kind = if *severity == Severity::Warning {
            "warning: "
        } else {
            ""
        };
        write!(f, "{file}:{line}:{column}: {kind}{what}. {mend}")
    }
}

/// What a problem was found by, which says whether it can be a mere consequence of another one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Origin {
    /// The text is not TOML there.
    Syntax,
    /// Something is not there.
    Absence,
    /// What is there cannot be.
    Content,
}

/// Collects the problems of one file while it is walked.
#[derive(Debug)]
pub(super) struct Sink<'t> {
    file: &'t str,
    places: Places<'t>,
    found: Vec<(Origin, Problem)>,
    given_up: bool,
}

impl<'t> Sink<'t> {
    pub(super) fn new(file: &'t str, text: &'t str) -> Self {
        Self {
            file,
            places: Places::new(text),
            found: Vec::new(),
            given_up: false,
        }
    }

    /// An error at a byte offset.
    pub(super) fn error(&mut self, at: usize, what: impl Into<String>, mend: impl Into<String>) {
        self.push(at, Origin::Content, Severity::Error, what.into(), mend.into());
    }

    /// Something that should be in the table that starts at a byte offset.
    pub(super) fn absent(&mut self, at: usize, what: impl Into<String>, mend: impl Into<String>) {
        self.push(at, Origin::Absence, Severity::Error, what.into(), mend.into());
    }

    /// Says which key of its table the last problem is about.
    pub(super) fn about(&mut self, key: &'static str) {
        if let Some((_, problem)) = self.found.last_mut() {
            problem.key = Some(key);
        }
    }

    /// Text that is not TOML.
    pub(super) fn syntax(&mut self, at: usize, what: impl Into<String>, mend: impl Into<String>) {
        self.push(at, Origin::Syntax, Severity::Error, what.into(), mend.into());
    }

    /// Text that was given up on: nothing that is missed can be told from what stands there.
    pub(super) fn unread(&mut self, at: usize, what: impl Into<String>, mend: impl Into<String>) {
        self.given_up = true;
        self.syntax(at, what, mend);
    }

    /// Something that the author should look at.
    pub(super) fn warn(&mut self, at: usize, what: impl Into<String>, mend: impl Into<String>) {
        self.push(at, Origin::Content, Severity::Warning, what.into(), mend.into());
    }

    /// How many errors were found so far.
    pub(super) fn errors(&self) -> usize {
        self.found.iter().filter(|(_, p)| p.severity == Severity::Error).count()
    }

    /// The line of a byte offset, for messages that name a second place.
    pub(super) fn line(&self, at: usize) -> usize {
        self.places.of(at).0
    }

    /// All problems in the order of the file, and whether there is no error among them.
    pub(super) fn finish(mut self) -> (Vec<Problem>, bool) {
        let clean = self.errors() == 0;
        self.found.sort_by_key(|(_, p)| (p.line, p.column, p.severity));
        self.drop_consequences();
        let mut problems: Vec<Problem> = self.found.into_iter().map(|(_, p)| p).collect();
        problems.dedup();
        (problems, clean)
    }

    fn push(&mut self, at: usize, origin: Origin, severity: Severity, what: String, mend: String) {
        let (line, column) = self.places.of(at);
        let file = self.file.to_owned();
        let [what, mend] = [what, mend].map(|text| text.replace(char::is_control, "\u{fffd}"));
        self.found.push((
            origin,
            Problem {
                file,
                line,
                column,
                severity,
                what,
                mend,
                key: None,
            },
        ));
    }

    /// Where a line is not TOML, what it says is a guess of the parser, and what its table lacks may stand in it.
    fn drop_consequences(&mut self) {
        let broken: BTreeSet<usize> = self
            .found
            .iter()
            .filter(|(origin, _)| *origin == Origin::Syntax)
            .map(|(_, p)| p.line)
            .collect();
        if broken.is_empty() {
            return;
        }
        let header_broken = self.given_up || broken.iter().any(|line| self.places.is_header(*line));
        let tables: BTreeSet<usize> = broken.iter().map(|line| self.places.header_above(*line)).collect();
        let mut lines_told = BTreeSet::new();
        self.found.retain(|(origin, p)| match origin {
            Origin::Syntax => lines_told.insert(p.line),
            Origin::Content => !broken.contains(&p.line),
            Origin::Absence => !header_broken && !broken.contains(&p.line) && !tables.contains(&p.line),
        });
    }
}

/// From byte offsets to lines and columns.
#[derive(Debug)]
struct Places<'t> {
    text: &'t str,
    starts: Vec<usize>,
}

impl<'t> Places<'t> {
    fn new(text: &'t str) -> Self {
        // A byte-order mark is no column of the first line.
        let first = if text.starts_with('\u{feff}') {
            '\u{feff}'.len_utf8()
        } else {
            0
        };
        let starts = std::iter::once(first)
            .chain(text.match_indices('\n').map(|(i, _)| i + 1))
            .collect();
        Self { text, starts }
    }

    /// Line and column of a byte offset, both from 1, the column in characters.
    fn of(&self, at: usize) -> (usize, usize) {
        let line = self.starts.partition_point(|start| *start <= at).max(1);
        let start = self.starts.get(line - 1).copied().unwrap_or(0);
        let column = self
            .text
            .get(start..at.max(start))
            .map_or(0, |before| before.chars().count());
        (line, column + 1)
    }

    fn line(&self, line: usize) -> &str {
        let start = self.starts.get(line.saturating_sub(1)).copied().unwrap_or(0);
        let end = self.starts.get(line).copied().unwrap_or(self.text.len());
        self.text.get(start..end).unwrap_or("")
    }

    fn is_header(&self, line: usize) -> bool {
        // A row of numbers in an array begins with a bracket as well.
        let inside = self
            .line(line)
            .trim_start()
            .strip_prefix('[')
            .map(|rest| rest.trim_start_matches(['[', ' ']));
        inside.is_some_and(|rest| rest.starts_with(|c: char| c.is_alphabetic() || c == '"'))
    }

    /// The line of the table header that a line stands under; 1 where it stands under none.
    fn header_above(&self, line: usize) -> usize {
        (1..=line).rev().find(|l| self.is_header(*l)).unwrap_or(1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_count_characters_from_one() {
        let text = "\u{feff}a = 1\r\nb = \"é±\" # x\n";
        let places = Places::new(text);
        for (needle, expected) in [
            ("a", (1, 1)),
            ("1", (1, 5)),
            ("b", (2, 1)),
            ("#", (2, 10)),
            ("x", (2, 12)),
        ] {
            assert_eq!(places.of(text.find(needle).unwrap()), expected, "{needle}");
        }
        assert_eq!(places.of(0), (1, 1));
        assert_eq!(places.of(text.len()), (3, 1));
        assert_eq!(Places::new("").of(0), (1, 1));
        assert_eq!(Places::new("ab").of(2), (1, 3));
    }

    #[test]
    fn what_follows_from_broken_text_is_not_reported_again() {
        let text = "[body]\nthickness = \n[marks]\n";
        let mut sink = Sink::new("e.toml", text);
        sink.syntax(19, "no value", "Write one.");
        sink.absent(0, "missing key `thickness`", "Add it.");
        sink.absent(20, "missing key `x`", "Add it.");
        let (problems, clean) = sink.finish();
        let lines: Vec<_> = problems.iter().map(|p| (p.line, p.what.as_str())).collect();
        assert_eq!(lines, [(2, "no value"), (3, "missing key `x`")]);
        assert!(!clean);
    }
}
