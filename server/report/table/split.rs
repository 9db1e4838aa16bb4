//! Text to records and cells.
//!
//! The splitter is our own and not the `csv` crate's, for four things that its reader does not give: whether the
//! last quote was ever closed; the line on which a record begins when blank lines or CR line ends come before it;
//! delimiters of more than one byte (`sep=§`); and a bound on what one record may hold in memory (eight million
//! empty cells fit in one line of the largest file). What counts as a quoted cell agrees with it: the quote is the
//! cell's first character, doubled quotes mean one, text after the closing quote is kept.

use std::borrow::Cow;

/// Most cells of a record that are kept; those beyond are counted and looked at, no more.
pub(super) const KEPT_CELLS: usize = 256;

/// Most characters of a cell.
pub(super) const MAX_CELL_CHARS: usize = 10_000;

/// One record, which may span several lines where a cell does.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Record<'t> {
    /// Line on which it begins, from 1.
    pub(crate) line: u32,
    /// Its first cells, at most `KEPT_CELLS`, quotes resolved.
    pub(crate) cells: Vec<Cow<'t, str>>,
    /// How many cells it has in all. A blank line has one.
    pub(crate) cell_count: usize,
    /// A cell has a NUL character in it.
    pub(crate) has_nul: bool,
    /// A cell is longer than `MAX_CELL_CHARS`.
    pub(crate) has_long_cell: bool,
    /// A quote in it is never closed: all the rest of the text is in it.
    pub(crate) is_unclosed: bool,
}

impl<'t> Record<'t> {
    /// Text of a cell; empty where the record has too few.
    pub(crate) fn cell(&self, column: usize) -> &str {
        self.cells.get(column).map_or("", AsRef::as_ref)
    }

    fn push(&mut self, cell: Cow<'t, str>) {
        self.has_nul |= cell.contains('\0');
        // Bytes first: a cell with that few bytes cannot have too many characters.
        self.has_long_cell |= cell.len() > MAX_CELL_CHARS && cell.chars().count() > MAX_CELL_CHARS;
        self.cell_count += 1;
        if self.cells.len() < KEPT_CELLS {
            self.cells.push(cell);
        }
    }
}

/// What ended a cell.
enum End {
    Delimiter,
    Line,
    Text,
    Unclosed,
}

/// The records of a text whose line ends are all LF.
#[derive(Debug, Clone)]
pub(crate) struct Records<'t> {
    rest: &'t str,
    line: u32,
    delimiter: char,
}

impl<'t> Records<'t> {
    /// Records of `text`, whose first line has the number `line`.
    pub(crate) const fn new(text: &'t str, line: u32, delimiter: char) -> Self {
        Self {
            rest: text,
            line,
            delimiter,
        }
    }

    /// Takes the first `bytes` off the text.
    fn take(&mut self, bytes: usize) -> &'t str {
        let (taken, rest) = self.rest.split_at(bytes);
        self.rest = rest;
        taken
    }

    fn next_cell(&mut self) -> (Cow<'t, str>, End) {
        if self.rest.starts_with('"') {
            return self.quoted();
        }
        let (text, end) = self.plain();
        (Cow::Borrowed(text), end)
    }

    /// Up to the next delimiter or line end, both of which are taken too.
    fn plain(&mut self) -> (&'t str, End) {
        let delimiter = self.delimiter;
        let end = self.rest.find([delimiter, '\n']).unwrap_or(self.rest.len());
        let text = self.take(end);
        let mut after = self.rest.chars();
        let end = match after.next() {
            None => End::Text,
            Some('\n') => {
                self.line = self.line.saturating_add(1);
                End::Line
            }
            Some(_) => End::Delimiter,
        };
        self.rest = after.as_str();
        (text, end)
    }

    /// A cell that begins with a quote, and what stands after its closing quote.
    fn quoted(&mut self) -> (Cow<'t, str>, End) {
        self.take(1);
        let mut text = Cow::Borrowed("");
        loop {
            let Some(quote) = self.rest.find('"') else {
                let rest = self.take(self.rest.len());
                append(&mut text, rest);
                return (text, End::Unclosed);
            };
            let inside = self.take(quote);
            self.line = self.line.saturating_add(line_ends(inside));
            append(&mut text, inside);
            self.take(1);
            if !self.rest.starts_with('"') {
                break;
            }
            let doubled = self.take(1);
            append(&mut text, doubled);
        }
        let (after, end) = self.plain();
        append(&mut text, after);
        (text, end)
    }
}

impl<'t> Iterator for Records<'t> {
    type Item = Record<'t>;

    fn next(&mut self) -> Option<Record<'t>> {
        if self.rest.is_empty() {
            return None;
        }
        let mut record = Record {
            line: self.line,
            ..Record::default()
        };
        if self.rest.starts_with('\n') {
            // A blank line costs nothing: the largest file may have eight million of them.
            self.take(1);
            self.line = self.line.saturating_add(1);
            record.cell_count = 1;
            return Some(record);
        }
        loop {
            let (cell, end) = self.next_cell();
            record.push(cell);
            match end {
                End::Delimiter => {}
                End::Line | End::Text => return Some(record),
                End::Unclosed => {
                    record.is_unclosed = true;
                    return Some(record);
                }
            }
        }
    }
}

/// Appends without copying where nothing has been put before.
fn append<'t>(text: &mut Cow<'t, str>, more: &'t str) {
    if text.is_empty() {
        *text = Cow::Borrowed(more);
    } else if !more.is_empty() {
        text.to_mut().push_str(more);
    }
}

fn line_ends(text: &str) -> u32 {
    u32::try_from(text.matches('\n').count()).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn split(text: &str, delimiter: char) -> Vec<(u32, Vec<String>)> {
        Records::new(text, 1, delimiter)
            .map(|r| (r.line, r.cells.into_iter().map(Cow::into_owned).collect::<Vec<_>>()))
            .collect()
    }

    #[test]
    fn cells_and_quotes() {
        let check = |text: &str, expected: &[&str]| {
            let records = split(text, ',');
            assert_eq!(records.len(), 1, "{text:?}");
            assert_eq!(records[0].1, expected, "{text:?}");
        };
        check("a,b", &["a", "b"]);
        check("a,b\n", &["a", "b"]);
        check("a,", &["a", ""]);
        check(",", &["", ""]);
        check("\"a,b\",c", &["a,b", "c"]);
        check("\"a\"\"b\"", &["a\"b"]);
        check("\"\"\"\"", &["\""]);
        check("\"\",b", &["", "b"]);
        check("\"a\nb\",c", &["a\nb", "c"]);
        // Text after the closing quote is kept, and a quote in it is an ordinary character.
        check("\"a\"b,c", &["ab", "c"]);
        check("\"a\" \"b\",c", &["a \"b\"", "c"]);
        // A quote that is not the first character opens nothing.
        check("a\"b,c", &["a\"b", "c"]);
        check(" \"a,b\"", &[" \"a", "b\""]);
        check("0.5\",x", &["0.5\"", "x"]);
    }

    #[test]
    fn lines() {
        assert_eq!(
            split("a;\"b\n\nc\";d\n\n\ne;f", ';'),
            [
                (1, vec!["a".to_owned(), "b\n\nc".to_owned(), "d".to_owned()]),
                (4, vec![]),
                (5, vec![]),
                (6, vec!["e".to_owned(), "f".to_owned()]),
            ]
        );
    }

    #[test]
    fn a_quote_that_is_never_closed_takes_the_rest() {
        let records: Vec<_> = Records::new("a,b\nc,\"d\ne,f\n", 1, ',').collect();
        assert_eq!(records.len(), 2);
        assert!(!records[0].is_unclosed && records[1].is_unclosed);
        assert_eq!((records[1].line, records[1].cell(1)), (2, "d\ne,f\n"));
        let odd: Vec<_> = Records::new("\"a\"\"", 1, ',').collect();
        assert!(odd[0].is_unclosed);
    }

    #[test]
    fn what_one_record_holds_is_bounded() {
        let text = ",".repeat(100_000);
        let record = Records::new(&text, 1, ',').next().unwrap();
        assert_eq!((record.cells.len(), record.cell_count), (KEPT_CELLS, 100_001));
        let long = "ä".repeat(MAX_CELL_CHARS);
        assert!(!Records::new(&long, 1, ',').next().unwrap().has_long_cell);
        let long = "ä".repeat(MAX_CELL_CHARS + 1);
        assert!(Records::new(&long, 1, ',').next().unwrap().has_long_cell);
    }

    #[test]
    fn delimiters_of_any_width() {
        assert_eq!(split("a§b", '§')[0].1, ["a", "b"]);
    }

    proptest::proptest! {
        /// What counts as a cell agrees with the `csv` crate, which passes over blank lines.
        #[test]
        fn cells_are_those_of_the_csv_crate(text in "[a,\"\n é]{0,40}") {
            let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
            let theirs: Vec<Vec<String>> =
                reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect();
            let ours: Vec<Vec<String>> =
                split(&text, ',').into_iter().map(|(_, cells)| cells).filter(|cells| !cells.is_empty()).collect();
            proptest::prop_assert_eq!(ours, theirs);
        }
    }
}
