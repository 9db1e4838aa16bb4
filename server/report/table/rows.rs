//! The records after the heading row: which are rows, and what the others are.

use crate::units::ValueUnit;

use super::decimal::Evidence;
use super::heading::{Kind, bare_unit};
use super::layout::{self, Layout};
use super::note::{Code, Rejected, Warning, Why};
use super::refusal::Refusal;
use super::role::Role;
use super::split::{KEPT_CELLS, Record, Records};
use super::words;

/// Most rows of a table, those that are rejected among them.
pub const MAX_ROWS: usize = 20_000;

/// A record that is a row of the table.
#[derive(Debug)]
pub(crate) struct Row<'t> {
    pub(crate) line: u32,
    record: Record<'t>,
}

impl Row<'_> {
    /// Text of a column; empty where there is no such column, or no cell in it.
    pub(crate) fn cell(&self, column: Option<usize>) -> &str {
        column.map_or("", |column| self.record.cell(column))
    }
}

/// What a record is.
enum Class {
    Blank,
    RepeatedHeader,
    Units,
    Rejected(Why),
    Row,
}

/// One thing found in the table.
pub(crate) enum Step<'t> {
    Row(Row<'t>),
    Rejected(Rejected),
    Note(Warning),
}

/// Walks through the records after the heading row.
pub(crate) struct Body<'l, 't> {
    layout: &'l Layout<'t>,
    records: Records<'t>,
    /// Unit of each column, from its heading or a row of units.
    units: Vec<Option<ValueUnit>>,
    /// Nothing but blank rows since the heading row.
    under_header: bool,
    rows: usize,
    repeated: usize,
}

impl<'l, 't> Body<'l, 't> {
    pub(crate) fn new(layout: &'l Layout<'t>) -> Self {
        Self {
            layout,
            records: layout.body.clone(),
            units: layout.columns.iter().map(|column| column.unit).collect(),
            under_header: layout.header_line.is_some(),
            rows: 0,
            repeated: 0,
        }
    }

    /// Unit that the heading of a column or a row of units names.
    pub(crate) fn unit(&self, column: Option<usize>) -> Option<ValueUnit> {
        column.and_then(|column| self.units.get(column).copied().flatten())
    }

    /// The next thing that is not to be passed over in silence.
    pub(crate) fn next(&mut self) -> Result<Option<Step<'t>>, Refusal> {
        while let Some((class, record)) = self.next_record()? {
            let line = record.line;
            let step = match class {
                Class::Blank => continue,
                Class::Units => match self.contradiction(&record) {
                    Some(units) => Step::Note(Warning::new(line, Code::MixedUnits, &units)),
                    None => continue,
                },
                Class::RepeatedHeader => Step::Note(Warning::new(line, Code::RepeatedHeader, "")),
                Class::Rejected(why) => {
                    let label = self.layout.column(self.key_role());
                    Step::Rejected(Rejected::new(line, why, shown(&record, label)))
                }
                Class::Row => Step::Row(Row { line, record }),
            };
            return Ok(Some(step));
        }
        Ok(None)
    }

    fn next_record(&mut self) -> Result<Option<(Class, Record<'t>)>, Refusal> {
        let Some(record) = self.records.next() else {
            return Ok(None);
        };
        let class = self.classify(&record);
        match class {
            Class::Blank => {}
            Class::Units => self.take_units(&record),
            Class::RepeatedHeader => {
                self.under_header = true;
                self.repeated += 1;
            }
            Class::Rejected(_) | Class::Row => {
                self.under_header = false;
                self.rows += 1;
            }
        }
        if self.rows.max(self.repeated) > MAX_ROWS {
            return Err(Refusal::TooManyRows { limit: MAX_ROWS });
        }
        Ok(Some((class, record)))
    }

    /// In the order in which faults take precedence.
    fn classify(&self, record: &Record<'_>) -> Class {
        if record.is_unclosed {
            return Class::Rejected(Why::UnclosedQuote);
        }
        if record.has_nul {
            return Class::Rejected(Why::NulByte);
        }
        if record.has_long_cell {
            return Class::Rejected(Why::CellTooLong);
        }
        if layout::is_blank(record) {
            return Class::Blank;
        }
        if self.layout.is_header(record) {
            return Class::RepeatedHeader;
        }
        let label = self.layout.column(self.key_role());
        let label_text = words::clean_label(label.map_or("", |column| record.cell(column)));
        if label_text.is_empty() {
            return self.without_label(record);
        }
        let alone = record
            .cells
            .iter()
            .enumerate()
            .all(|(i, cell)| Some(i) == label || words::is_blank(cell))
            && record.cell_count <= KEPT_CELLS;
        if alone && label_text.contains(words::is_blank_char) {
            return Class::Rejected(Why::NotARow);
        }
        Class::Row
    }

    /// A row without a label: units of the columns, a value that belongs to nothing, or mere text.
    fn without_label(&self, record: &Record<'_>) -> Class {
        let mut filled = record.cells.iter().filter(|cell| !words::is_blank(cell));
        if self.under_header && filled.all(|cell| bare_unit(cell).is_some()) {
            return Class::Units;
        }
        let is_text = |index: usize| {
            let role = self.layout.columns.get(index).and_then(|column| column.role);
            matches!(role, None | Some(Role::Name | Role::Comment))
        };
        let only_text = record
            .cells
            .iter()
            .enumerate()
            .all(|(i, cell)| is_text(i) || words::is_blank(cell));
        Class::Rejected(if only_text { Why::NotARow } else { Why::NoLabel })
    }

    /// The unit that a heading names stays; a row of units fills in the others.
    fn take_units(&mut self, record: &Record<'_>) {
        self.under_header = false;
        for (index, unit) in self.units.iter_mut().enumerate() {
            let named = self.layout.columns.get(index).and_then(|column| column.unit);
            *unit = named.or_else(|| bare_unit(record.cell(index)));
        }
    }

    /// Two units of one column, where its heading and the row of units do not agree.
    fn contradiction(&self, record: &Record<'_>) -> Option<String> {
        self.layout.columns.iter().enumerate().find_map(|(index, column)| {
            let (named, below) = (column.unit?, bare_unit(record.cell(index))?);
            (named != below).then(|| format!("{named}, {below}"))
        })
    }

    const fn key_role(&self) -> Role {
        match self.layout.kind {
            Kind::Report => Role::Label,
            Kind::Points => Role::Feature,
        }
    }
}

/// What a text about a rejected record shows: its label, else its first cell with something in it.
fn shown<'r>(record: &'r Record<'_>, label: Option<usize>) -> &'r str {
    let label = label.map_or("", |column| record.cell(column));
    if words::is_blank(label) {
        record
            .cells
            .iter()
            .find(|cell| !words::is_blank(cell))
            .map_or("", AsRef::as_ref)
    } else {
        label
    }
}

/// What a first walk through the table finds out.
pub(crate) struct Survey {
    /// What the value cells prove of the decimal mark.
    pub(crate) evidence: Evidence,
    /// The reservations about columns.
    pub(crate) columns: Vec<Warning>,
}

/// Walks through the table once, looking at the cells of `roles` for the decimal mark. Rows without a label are rows
/// here: their numbers too show how this file writes them.
pub(crate) fn survey(layout: &Layout<'_>, roles: &[Role]) -> Result<Survey, Refusal> {
    let values: Vec<usize> = roles.iter().filter_map(|role| layout.column(*role)).collect();
    let mut has_text = vec![false; layout.columns.len()];
    let mut evidence = Evidence::default();
    let mut body = Body::new(layout);
    while let Some((class, record)) = body.next_record()? {
        if matches!(class, Class::Row | Class::Rejected(Why::NoLabel)) {
            values.iter().for_each(|column| evidence.take(record.cell(*column)));
        }
        for (cell, has_text) in record.cells.iter().zip(&mut has_text) {
            *has_text |= !words::is_blank(cell);
        }
    }
    let line = layout.header_line.unwrap_or(1);
    let columns = layout.columns.iter().zip(has_text).enumerate();
    let columns = columns
        .filter_map(|(index, (column, has_text))| column.warning(line, index, has_text))
        .collect();
    Ok(Survey { evidence, columns })
}

/// Texts of a row that stand in columns which are not used, or beyond the last heading.
///
/// All in one string: a large file may have millions of such cells.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Extra {
    text: String,
    /// Column from 1, and where its text ends.
    ends: Vec<(u32, u32)>,
}

impl Extra {
    /// Those of `row`, and whether there are more cells than headings.
    pub(crate) fn of(row: &Row<'_>, layout: &Layout<'_>) -> (Self, bool) {
        let mut extra = Self::default();
        let mut beyond = row.record.cell_count > KEPT_CELLS;
        for (index, cell) in row.record.cells.iter().enumerate() {
            let column = layout.columns.get(index);
            if column.is_some_and(|column| column.role.is_some()) || words::is_blank(cell) {
                continue;
            }
            beyond |= column.is_none();
            extra.text.push_str(words::trim(cell));
            if let (Ok(column), Ok(end)) = (u32::try_from(index + 1), u32::try_from(extra.text.len())) {
                extra.ends.push((column, end));
            }
        }
        extra.text.shrink_to_fit();
        extra.ends.shrink_to_fit();
        (extra, beyond)
    }

    /// Column (from 1) and text of each.
    pub fn iter(&self) -> impl Iterator<Item = (u32, &str)> {
        let starts = std::iter::once(0).chain(self.ends.iter().map(|(_, end)| *end));
        self.ends.iter().zip(starts).map(|((column, end), start)| {
            let range = usize::try_from(start).unwrap_or(0)..usize::try_from(*end).unwrap_or(0);
            (*column, self.text.get(range).unwrap_or_default())
        })
    }

    /// Whether there is none.
    pub const fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }
}

impl serde::Serialize for Extra {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        /// One text of a column that is not used.
        #[derive(serde::Serialize)]
        struct Item<'e> {
            column: u32,
            text: &'e str,
        }
        serializer.collect_seq(self.iter().map(|(column, text)| Item { column, text }))
    }
}
