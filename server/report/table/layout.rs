//! Where the table begins: delimiter, heading row, columns.

use super::heading::{self, Column, Heading, Kind};
use super::options::{Delimiter, ReadOptions};
use super::refusal::Refusal;
use super::role::Role;
use super::split::{KEPT_CELLS, Record, Records};
use super::words;

/// How many records are looked at for the heading row.
const HEADING_RECORDS: usize = 50;

/// Most columns of a heading row.
const MAX_COLUMNS: usize = 200;

/// Where everything is.
#[derive(Debug, Clone)]
pub(crate) struct Layout<'t> {
    pub(crate) kind: Kind,
    pub(crate) delimiter: Delimiter,
    /// Line of the heading row; `None` where a person has named the columns and there is none.
    pub(crate) header_line: Option<u32>,
    pub(crate) columns: Vec<Column>,
    /// Folded headings without the blank ones at the end, to know the row again.
    pub(super) header: Vec<String>,
    /// The records after the heading row.
    pub(super) body: Records<'t>,
    /// How many of its headings are known.
    known: usize,
}

/// Where everything is, or what has to be asked.
pub(crate) enum Found<'t> {
    Table(Layout<'t>),
    /// More than one delimiter gives a heading row with as many known headings.
    AskDelimiter(Vec<Layout<'t>>),
    /// Rows of several cells, and no heading row.
    AskColumns,
}

impl Layout<'_> {
    /// The column that holds `role`.
    pub(crate) fn column(&self, role: Role) -> Option<usize> {
        self.columns.iter().position(|column| column.role == Some(role))
    }

    /// What the columns hold, as it is printed.
    pub(crate) fn roles(&self) -> Vec<Option<Role>> {
        self.columns.iter().map(|column| column.role).collect()
    }

    /// Whether this is the heading row once more.
    pub(super) fn is_header(&self, record: &Record<'_>) -> bool {
        !self.header.is_empty()
            && record.cell_count >= self.header.len()
            && record.cell_count <= KEPT_CELLS
            && record
                .cells
                .iter()
                .skip(self.header.len())
                .all(|cell| words::is_blank(cell))
            && self
                .header
                .iter()
                .enumerate()
                .all(|(i, folded)| Heading::read(record.cell(i)).folded == *folded)
    }
}

/// Finds the table in `text`.
pub(super) fn find<'t>(text: &'t str, options: &ReadOptions) -> Result<Found<'t>, Refusal> {
    let (named, text, line) = split_sep_line(text);
    let delimiters = match options.delimiter.or(named) {
        Some(delimiter) => vec![delimiter],
        None => Delimiter::CANDIDATES.to_vec(),
    };
    let start = |delimiter: Delimiter| Records::new(text, line, delimiter.as_char());
    if let Some(roles) = &options.columns
        && let Some(kind) = kind_of_roles(roles)
    {
        return with_named_columns(&delimiters, roles, kind, &start);
    }
    let mut found: Vec<Layout<'t>> = delimiters
        .iter()
        .filter_map(|d| with_heading_row(*d, start(*d)))
        .collect();
    let best = found.iter().map(|layout| layout.known).max().unwrap_or(0);
    found.retain(|layout| layout.known == best);
    if found.len() > 1 {
        return Ok(Found::AskDelimiter(found));
    }
    if let Some(layout) = found.pop() {
        return checked(layout).map(Found::Table);
    }
    if delimiters
        .iter()
        .any(|delimiter| start(*delimiter).any(|record| is_row_of_numbers(&record)))
    {
        return Ok(Found::AskColumns);
    }
    let unclosed = delimiters
        .iter()
        .find_map(|d| start(*d).find(|r| r.is_unclosed).map(|r| r.line));
    Err(Refusal::NoTable { unclosed })
}

/// A first line `sep=X` names the delimiter. Returns it, the text after that line, and the line this begins on.
fn split_sep_line(text: &str) -> (Option<Delimiter>, &str, u32) {
    let (line, after) = text.split_once('\n').unwrap_or((text, ""));
    let quoted = line
        .trim_end_matches(' ')
        .strip_prefix('"')
        .and_then(|rest| rest.strip_suffix('"'));
    let named = quoted.unwrap_or(line);
    let is_sep = named.get(..4).is_some_and(|start| start.eq_ignore_ascii_case("sep="));
    let mut rest = named.get(4..).unwrap_or_default().chars();
    match rest.next().and_then(Delimiter::new) {
        Some(delimiter) if is_sep && words::is_blank(rest.as_str()) => (Some(delimiter), after, 2),
        _ => (None, text, 1),
    }
}

/// The first heading row among the first records, and the columns that it names.
fn with_heading_row(delimiter: Delimiter, mut records: Records<'_>) -> Option<Layout<'_>> {
    for _ in 0..HEADING_RECORDS {
        let record = records.next()?;
        if record.is_unclosed || record.cells.len() < 2 {
            continue;
        }
        let headings: Vec<Heading> = record.cells.iter().map(|cell| Heading::read(cell)).collect();
        let Some((kind, known)) = heading::kind_of(&headings) else {
            continue;
        };
        let columns = heading::columns(&headings, &record, kind);
        let mut header: Vec<String> = headings.into_iter().map(|heading| heading.folded).collect();
        while header.last().is_some_and(String::is_empty) {
            header.pop();
        }
        let header_line = Some(record.line);
        return Some(Layout {
            kind,
            delimiter,
            header_line,
            columns,
            header,
            body: records,
            known,
        });
    }
    None
}

/// Refuses more columns than a report can have. Blank ones at the end are none.
fn checked(mut layout: Layout<'_>) -> Result<Layout<'_>, Refusal> {
    if layout.header.len() > MAX_COLUMNS {
        let line = layout.header_line.unwrap_or(1);
        return Err(Refusal::TooManyColumns {
            line,
            limit: MAX_COLUMNS,
        });
    }
    layout.columns.truncate(MAX_COLUMNS);
    Ok(layout)
}

/// Which table a person's columns are those of; `None` where they are not enough for either.
fn kind_of_roles(roles: &[Option<Role>]) -> Option<Kind> {
    let has = |role: Role| roles.contains(&Some(role));
    if roles.len() > MAX_COLUMNS {
        None
    } else if has(Role::Measured) && (has(Role::Label) || has(Role::Name)) {
        Some(Kind::Report)
    } else if [Role::Feature, Role::X, Role::Y, Role::Z].into_iter().all(has) {
        Some(Kind::Points)
    } else {
        None
    }
}

/// The table where a person has said what the columns hold. A heading row that is there all the same is passed over.
fn with_named_columns<'t>(
    delimiters: &[Delimiter],
    roles: &[Option<Role>],
    kind: Kind,
    start: &impl Fn(Delimiter) -> Records<'t>,
) -> Result<Found<'t>, Refusal> {
    let layout = |delimiter: &Delimiter| {
        let mut columns: Vec<Column> = roles.iter().map(|role| Column::named(*role)).collect();
        heading::settle(&mut columns);
        let plain = || Layout {
            kind,
            delimiter: *delimiter,
            header_line: None,
            columns: Vec::new(),
            header: Vec::new(),
            body: start(*delimiter),
            known: 0,
        };
        let mut layout = with_heading_row(*delimiter, start(*delimiter)).unwrap_or_else(plain);
        layout.kind = kind;
        layout.columns = columns;
        layout
    };
    // As many cells as columns in every row; failing that, several cells in some.
    let even = |d: &&Delimiter| {
        let mut rows = start(**d)
            .take(HEADING_RECORDS)
            .filter(|record| !is_blank(record))
            .peekable();
        rows.peek().is_some() && rows.all(|record| record.cell_count == roles.len())
    };
    let several = |d: &&Delimiter| start(**d).any(|record| is_row_of_numbers(&record));
    let mut found: Vec<Layout<'t>> = delimiters.iter().filter(even).map(layout).collect();
    if found.is_empty() {
        found = delimiters.iter().filter(several).map(layout).collect();
    }
    match found.pop() {
        None => Err(Refusal::NoTable { unclosed: None }),
        Some(layout) if found.is_empty() => Ok(Found::Table(layout)),
        Some(layout) => {
            found.push(layout);
            Ok(Found::AskDelimiter(found))
        }
    }
}

/// Whether nothing stands in the record.
pub(super) fn is_blank(record: &Record<'_>) -> bool {
    record.cells.iter().all(|cell| words::is_blank(cell)) && record.cell_count <= KEPT_CELLS
}

/// Several cells, one of which begins with a number: what a table without a heading row is made of. A sentence with
/// a comma and a number somewhere in it is no such row.
fn is_row_of_numbers(record: &Record<'_>) -> bool {
    let filled = record.cells.iter().filter(|cell| !words::is_blank(cell));
    let begins_with_number = |cell: &str| {
        let bare = words::trim(cell).trim_start_matches(|c: char| words::is_hyphen(c) || matches!(c, '+' | '.' | ','));
        bare.starts_with(|c: char| c.is_ascii_digit() || ('\u{ff10}'..='\u{ff19}').contains(&c))
    };
    !record.is_unclosed && filled.clone().count() > 1 && filled.clone().any(|cell| begins_with_number(cell))
}
