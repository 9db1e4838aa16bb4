//! A class's roster, as school offices, spreadsheets and people write it.
//!
//! Bytes in, people out. What was detected (encoding, delimiter, heading row, what each column holds) is always given
//! and shown before anything is taken; where a person has said what the columns hold, that counts. A line that cannot
//! be used is named with its number and left out; nothing is dropped in silence.

mod columns;

use std::collections::BTreeMap;

use serde::Serialize;

use super::table::bytes;
use super::table::split::{Record, Records};
use super::table::{Delimiter, Encoding, words};

pub use columns::{Column, Holds};

/// Largest roster, in people: a school, not a class.
pub const MOST_PEOPLE: usize = 2_000;

/// Longest name, in characters.
pub const LONGEST_NAME: usize = 120;

/// Most columns that are looked at.
const MOST_COLUMNS: usize = 40;

/// What a person has said about a roster. The default leaves everything to the file.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RosterOptions {
    /// What each column holds, in order; the columns beyond are not used.
    pub columns: Option<Vec<Holds>>,
    /// Whether the first line is a heading row.
    pub heading: Option<bool>,
}

/// Why a roster is not read at all. The text says how to mend it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RosterRefusal {
    /// Not a text, empty, or too large.
    #[error("{0}")]
    File(String),
    /// More people than any class has.
    #[error("the list has more than {MOST_PEOPLE} people. Take the lines of this class only.")]
    TooMany,
}

/// What was read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Roster {
    /// Encoding of the file.
    pub encoding: Encoding,
    /// What stands between cells; none where each line is one cell.
    pub delimiter: Option<String>,
    /// Whether the first line was taken for headings.
    pub heading: bool,
    /// What each column holds, with its heading and an example.
    pub columns: Vec<Column>,
    /// The people, in the order of the file.
    pub people: Vec<Entry>,
    /// Lines that cannot be used, and what is odd about those that can.
    pub remarks: Vec<Remark>,
}

impl Roster {
    /// Whether a column for names was found; without one there are no people.
    #[must_use]
    pub fn has_names(&self) -> bool {
        columns::has_names(self.columns.iter().map(|c| c.holds))
    }
}

/// One person of a roster.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Entry {
    /// Line in the file, from 1.
    pub line: u32,
    /// Name as it will be shown.
    pub name: String,
    /// The school's identifier; empty where there is none.
    pub school_id: String,
    /// Address; empty where there is none.
    pub email: String,
    /// Pair that the file puts the person into; empty where it does not.
    pub pair: String,
}

/// Something about one line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Remark {
    /// Line in the file, from 1.
    pub line: u32,
    /// Whether the line was left out.
    pub left_out: bool,
    /// What is wrong or odd, and how to mend it.
    pub text: String,
}

/// Reads a roster from the bytes of a text file.
///
/// # Errors
/// When it is no text, or has more people than any class.
pub fn read(bytes: &[u8], options: &RosterOptions) -> Result<Roster, RosterRefusal> {
    let source = bytes::decode(bytes).map_err(|refusal| {
        RosterRefusal::File(
            refusal
                .to_string()
                .replace("a report may have", "a list may have")
                .replace(
                    "Hand in the table alone, without pictures or raw data.",
                    "Take the table of names alone.",
                ),
        )
    })?;
    let delimiter = delimiter(&source.text);
    let records: Vec<Record<'_>> = Records::new(&source.text, 1, delimiter.map_or('\u{1}', Delimiter::as_char))
        .filter(|r| r.cells.iter().any(|c| !words::is_blank(c)))
        .take(MOST_PEOPLE + 50)
        .collect();
    // A title above the table has fewer cells than its lines.
    let width = records.iter().map(filled).max().unwrap_or(0).min(MOST_COLUMNS);
    let skipped = records
        .iter()
        .take(10)
        .take_while(|r| filled(r) == 1 && width > 1 && !columns::is_heading(r))
        .count();
    let (above, table) = records.split_at(skipped);
    let heading = options
        .heading
        .unwrap_or_else(|| table.first().is_some_and(columns::is_heading));
    let (head, body) = if heading {
        table.split_at(table.len().min(1))
    } else {
        (&[][..], table)
    };
    if body.len() > MOST_PEOPLE {
        return Err(RosterRefusal::TooMany);
    }
    let columns = columns::of(head.first(), body, width, options.columns.as_deref());
    let mut remarks: Vec<Remark> = above
        .iter()
        .map(|r| left_out(r.line, "It stands above the table, so it was taken for a title."))
        .collect();
    let people = people(body, &columns, &mut remarks);
    Ok(Roster {
        encoding: source.encoding,
        delimiter: delimiter.map(Delimiter::name),
        heading,
        columns,
        people,
        remarks,
    })
}

/// The text of a file in whichever encoding it came; none where it is no text.
#[must_use]
pub fn text(bytes: &[u8]) -> Option<String> {
    bytes::decode(bytes).ok().map(|source| source.text.into_owned())
}

/// How many cells up to the last one that is not blank.
fn filled(record: &Record<'_>) -> usize {
    record
        .cells
        .iter()
        .rposition(|c| !words::is_blank(c))
        .map_or(0, |at| at + 1)
}

/// The delimiter that splits most lines into the same number of cells; none where no line has two. A comma that only
/// stands between family and given name is one, and the columns then say so.
fn delimiter(text: &str) -> Option<Delimiter> {
    let score = |delimiter: &Delimiter| {
        let mut widths: BTreeMap<usize, usize> = BTreeMap::new();
        for record in Records::new(text, 1, delimiter.as_char()).take(200) {
            if record.cells.iter().any(|c| !words::is_blank(c)) {
                *widths.entry(filled(&record)).or_default() += 1;
            }
        }
        widths
            .into_iter()
            .filter(|(width, _)| *width > 1)
            .map(|(w, n)| (n, w))
            .max()
    };
    let best = Delimiter::CANDIDATES.iter().filter_map(|d| Some((score(d)?, *d)));
    best.max_by_key(|(score, _)| *score).map(|(_, d)| d)
}

fn left_out(line: u32, text: &str) -> Remark {
    Remark {
        line,
        left_out: true,
        text: text.to_owned(),
    }
}

fn people(body: &[Record<'_>], columns: &[Column], remarks: &mut Vec<Remark>) -> Vec<Entry> {
    if !columns::has_names(columns.iter().map(|c| c.holds)) {
        return Vec::new();
    }
    let mut people: Vec<Entry> = Vec::new();
    let mut ids: BTreeMap<String, u32> = BTreeMap::new();
    for record in body {
        let entry = entry(record, columns);
        let line = record.line;
        if record.is_unclosed {
            remarks.push(left_out(
                line,
                "A quotation mark in it is never closed. Close it, or take it out.",
            ));
        } else if entry.name.is_empty() {
            remarks.push(left_out(
                line,
                "There is no name in it. Write the name, or take the line out.",
            ));
        } else if entry.name.chars().count() > LONGEST_NAME {
            remarks.push(left_out(line, "The name has more than 120 characters. Shorten it."));
        } else if let Some(first) = ids.get(&entry.school_id.to_lowercase()) {
            let text = format!(
                "The identifier {} stands on line {first} already. Correct one of the two, or take the line out.",
                entry.school_id
            );
            remarks.push(left_out(line, &text));
        } else {
            if !entry.school_id.is_empty() {
                ids.insert(entry.school_id.to_lowercase(), line);
            }
            if let Some(same) = people.iter().find(|p| p.name == entry.name) {
                let text = format!(
                    "The same name stands on line {}. They are taken as two people.",
                    same.line
                );
                remarks.push(Remark {
                    line,
                    left_out: false,
                    text,
                });
            }
            people.push(entry);
        }
    }
    people
}

fn entry(record: &Record<'_>, columns: &[Column]) -> Entry {
    let cell = |holds: Holds| {
        let at = columns.iter().position(|c| c.holds == holds);
        at.map_or_else(String::new, |at| clean(record.cell(at)))
    };
    let (given, family) = (cell(Holds::Given), cell(Holds::Family));
    let whole = cell(Holds::Name);
    let name = if whole.is_empty() {
        format!("{given} {family}").trim().to_owned()
    } else {
        whole
    };
    Entry {
        line: record.line,
        name,
        school_id: cell(Holds::SchoolId).chars().take(60).collect(),
        email: cell(Holds::Email).to_lowercase().chars().take(200).collect(),
        pair: cell(Holds::Pair).chars().take(40).collect(),
    }
}

/// A name or identifier without what only hides in it: controls, marks that turn the direction of writing, invisible
/// characters; blanks run together. The joiners of Persian and Indic scripts (U+200C, U+200D) are part of names.
#[must_use]
pub fn clean(text: &str) -> String {
    let hidden = |c: char| {
        matches!(
            c,
            '\u{ad}' | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{2060}' | '\u{feff}'
        ) || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
            || c.is_control() && !c.is_whitespace()
    };
    let kept: String = text.chars().filter(|c| !hidden(*c)).collect();
    kept.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests;
