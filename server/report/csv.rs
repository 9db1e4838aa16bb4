//! The report table: one row for each characteristic.

use std::collections::BTreeSet;

use serde::Serialize;

use crate::units::ValueUnit;

use super::call::Call;
use super::table::cell::{self, Cell, Number};
use super::table::decimal::Verdict;
use super::table::layout::Layout;
use super::table::rows::{self, Body, Row, Step};
use super::table::{
    Code, DecimalMark, Extra, Head, MustAsk, ReadOptions, Reading, Refusal, Rejected, Role, Warning, Why, clean_label,
    words,
};

/// A report as it stands in the file. Nothing is converted, rounded or filled in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ReportTable {
    /// What was detected, and what was not read.
    #[serde(flatten)]
    pub head: Head,
    /// The rows, in the order of the file. A label may occur more than once: a person chooses.
    pub rows: Vec<ReportRow>,
}

/// One row of a report. Every number is an exact decimal string: decimal point, places as written, no exponent.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ReportRow {
    /// Line on which it begins.
    pub line: u32,
    /// Number of the characteristic, or its name where the file has no numbers.
    pub label: String,
    /// Name of the characteristic beside its number.
    pub name: Option<String>,
    /// Nominal value.
    pub nominal: Option<String>,
    /// Unit that the nominal's cell or column names.
    pub nominal_unit: Option<ValueUnit>,
    /// Lower deviation.
    pub minus: Option<String>,
    /// Unit that its cell or column names.
    pub minus_unit: Option<ValueUnit>,
    /// Upper deviation.
    pub plus: Option<String>,
    /// Unit that its cell or column names.
    pub plus_unit: Option<ValueUnit>,
    /// Measured value; `None` where it was not measured.
    pub measured: Option<String>,
    /// Unit of the row: of the measured cell, else of the unit column, else of the measured column; `None` where the
    /// file names none, and it is that of the exercise.
    pub unit: Option<ValueUnit>,
    /// The pair's call.
    pub call: Option<Call>,
    /// Comment.
    pub comment: Option<String>,
    /// Texts of columns that are not used.
    #[serde(skip_serializing_if = "Extra::is_empty")]
    pub extra: Extra,
}

/// Columns whose numbers show the decimal mark.
pub(super) const VALUE_ROLES: [Role; 5] = [Role::Nominal, Role::Minus, Role::Plus, Role::Tolerance, Role::Measured];

/// Reads the rows, or asks for the decimal mark.
pub(super) fn read(layout: &Layout<'_>, mut head: Head, options: &ReadOptions) -> Result<ReportTable, Refusal> {
    let survey = rows::survey(layout, &VALUE_ROLES)?;
    head.warnings = survey.columns;
    let verdict = options
        .decimal
        .map_or_else(|| survey.evidence.verdict(), Verdict::Settled);
    match verdict {
        Verdict::Settled(mark) => {
            head.detect.decimal = Some(mark);
            let mut reader = Reader::new(layout, mark, options.unit);
            reader.all(&mut head).map(|rows| ReportTable { head, rows })
        }
        Verdict::Ask(marks) => {
            head.must_ask = Some(MustAsk::DecimalMark);
            note_what_is_no_row(layout, &mut head)?;
            for mark in marks {
                let values = values(layout, *mark)?;
                head.readings.push(Reading {
                    decimal: Some(*mark),
                    delimiter: None,
                    values,
                });
            }
            Ok(ReportTable { head, rows: Vec::new() })
        }
    }
}

/// Where a question keeps the rows back, what is no row can be told all the same.
pub(super) fn note_what_is_no_row(layout: &Layout<'_>, head: &mut Head) -> Result<(), Refusal> {
    let mut body = Body::new(layout);
    while let Some(step) = body.next()? {
        match step {
            Step::Row(_) => {}
            Step::Rejected(rejected) => head.rejected.push(rejected),
            Step::Note(warning) => head.warnings.push(warning),
        }
    }
    Ok(())
}

/// The measured values by `mark`, row by row.
pub(super) fn values(layout: &Layout<'_>, mark: DecimalMark) -> Result<Vec<Option<String>>, Refusal> {
    let measured = layout.column(Role::Measured);
    let mut values = Vec::new();
    let mut body = Body::new(layout);
    while let Some(step) = body.next()? {
        if let Step::Row(row) = step {
            values.push(match cell::read(row.cell(measured), mark) {
                Cell::Number(number) => Some(number.text),
                Cell::Nothing | Cell::Fault(_) => None,
            });
        }
    }
    Ok(values)
}

struct Reader<'l, 't> {
    layout: &'l Layout<'t>,
    mark: DecimalMark,
    /// Unit of rows that name none.
    default_unit: Option<ValueUnit>,
    /// Labels that had a row.
    seen: BTreeSet<String>,
}

/// A number of a row and its unit, both where there are any.
type Value = (Option<String>, Option<ValueUnit>);

/// Why a row is rejected, and the cell that is to blame.
type Fault = (Why, String);

impl<'l, 't> Reader<'l, 't> {
    const fn new(layout: &'l Layout<'t>, mark: DecimalMark, default_unit: Option<ValueUnit>) -> Self {
        Self {
            layout,
            mark,
            default_unit,
            seen: BTreeSet::new(),
        }
    }

    fn all(&mut self, head: &mut Head) -> Result<Vec<ReportRow>, Refusal> {
        let mut rows = Vec::new();
        let mut body = Body::new(self.layout);
        while let Some(step) = body.next()? {
            match step {
                Step::Rejected(rejected) => head.rejected.push(rejected),
                Step::Note(warning) => head.warnings.push(warning),
                Step::Row(row) => {
                    let mut notes = Notes {
                        line: row.line,
                        warnings: Vec::new(),
                    };
                    match self.row(&row, &body, &mut notes) {
                        Ok(row) => {
                            head.warnings.append(&mut notes.in_order());
                            rows.push(row);
                        }
                        // What was not read has no reservations.
                        Err((why, cell)) => head.rejected.push(Rejected::new(row.line, why, &cell)),
                    }
                }
            }
        }
        Ok(rows)
    }

    fn row(&mut self, row: &Row<'t>, body: &Body<'_, '_>, notes: &mut Notes) -> Result<ReportRow, Fault> {
        let text = |role: Role| row.cell(self.layout.column(role));
        let measured = measured(text(Role::Measured), self.mark)?;
        let in_column = unit_of_column(text(Role::Unit))?;
        let label = clean_label(text(Role::Label));
        let (nominal, nominal_unit) = self.value(row, body, Role::Nominal, notes);
        let (minus, plus) = self.deviations(row, body, notes);
        let in_cell = measured.as_ref().and_then(|number| number.unit);
        let of_heading = body.unit(self.layout.column(Role::Measured));
        let unit = in_cell.or(in_column).or(of_heading).or(self.default_unit);
        if let Some(units) = two_units(&[in_cell, in_column], unit, &[nominal_unit, minus.1, plus.1]) {
            notes.add(Code::MixedUnits, &units);
        }
        match &measured {
            None => notes.add(Code::MissingValue, &label),
            Some(number) if number.underflow => notes.add(Code::UnderflowToZero, text(Role::Measured)),
            Some(_) => {}
        }
        let call = Call::parse_word(text(Role::Call));
        if call.is_none() && !words::is_blank(text(Role::Call)) {
            notes.add(Code::UnknownCall, text(Role::Call));
        }
        let (name, comment) = (some_text(text(Role::Name)), some_text(text(Role::Comment)));
        for text in [Some(&label), name.as_ref(), comment.as_ref()].into_iter().flatten() {
            notes.formula_like(text);
        }
        let (extra, has_more_cells) = Extra::of(row, self.layout);
        if has_more_cells {
            notes.add(Code::ExtraCells, "");
        }
        if !self.seen.insert(label.clone()) {
            notes.add(Code::DuplicateLabel, &label);
        }
        Ok(ReportRow {
            line: row.line,
            label,
            name,
            nominal,
            nominal_unit,
            minus: minus.0,
            minus_unit: minus.1,
            plus: plus.0,
            plus_unit: plus.1,
            measured: measured.map(|number| number.text),
            unit,
            call,
            comment,
            extra,
        })
    }

    /// A nominal or tolerance. One that cannot be read is left out; the row stays.
    fn value(&self, row: &Row<'t>, body: &Body<'_, '_>, role: Role, notes: &mut Notes) -> Value {
        let column = self.layout.column(role);
        let text = row.cell(column);
        let read = if role == Role::Nominal {
            cell::read(text, self.mark)
        } else {
            cell::read_tolerance(text, self.mark)
        };
        match read {
            Cell::Nothing => (None, None),
            Cell::Fault(_) => {
                notes.add(Code::UnreadCell, text);
                (None, None)
            }
            Cell::Number(number) => {
                if number.underflow {
                    notes.add(Code::UnderflowToZero, text);
                }
                (Some(number.text), number.unit.or_else(|| body.unit(column)))
            }
        }
    }

    /// Lower and upper deviation. A symmetric amount gives those that have no cell of their own.
    fn deviations(&self, row: &Row<'t>, body: &Body<'_, '_>, notes: &mut Notes) -> (Value, Value) {
        let mut minus = self.value(row, body, Role::Minus, notes);
        let mut plus = self.value(row, body, Role::Plus, notes);
        let (Some(amount), unit) = self.value(row, body, Role::Tolerance, notes) else {
            return (minus, plus);
        };
        let amount = amount.trim_start_matches('-');
        if minus.0.is_none() && words::is_blank(row.cell(self.layout.column(Role::Minus))) {
            let is_zero = amount.chars().all(|c| matches!(c, '0' | '.'));
            minus = (
                Some(if is_zero {
                    amount.to_owned()
                } else {
                    format!("-{amount}")
                }),
                unit,
            );
        }
        if plus.0.is_none() && words::is_blank(row.cell(self.layout.column(Role::Plus))) {
            plus = (Some(amount.to_owned()), unit);
        }
        (minus, plus)
    }
}

fn measured(text: &str, mark: DecimalMark) -> Result<Option<Number>, Fault> {
    match cell::read(text, mark) {
        Cell::Nothing => Ok(None),
        Cell::Number(number) => Ok(Some(number)),
        Cell::Fault(why) => Err((why, text.to_owned())),
    }
}

/// Unit of the unit column; a blank cell or a dash names none.
fn unit_of_column(text: &str) -> Result<Option<ValueUnit>, Fault> {
    let word = words::trim(text);
    if cell::is_no_value(word) {
        return Ok(None);
    }
    ValueUnit::parse_word(word)
        .map(Some)
        .ok_or_else(|| (Why::UnknownUnit, text.to_owned()))
}

/// Two different units in one row, as a text: measured cell against unit column, or the row's unit against those of
/// nominal and tolerance.
fn two_units(own: &[Option<ValueUnit>], unit: Option<ValueUnit>, others: &[Option<ValueUnit>]) -> Option<String> {
    let unit = unit?;
    let other = own.iter().chain(others).flatten().find(|other| **other != unit)?;
    Some(format!("{unit}, {other}"))
}

/// Text without blanks at its ends; `None` where there is none.
pub(super) fn some_text(text: &str) -> Option<String> {
    (!words::is_blank(text)).then(|| words::trim(text).to_owned())
}

/// The reservations about one row, each of them once.
pub(super) struct Notes {
    pub(super) line: u32,
    pub(super) warnings: Vec<Warning>,
}

impl Notes {
    pub(super) fn add(&mut self, code: Code, cell: &str) {
        if self.warnings.iter().all(|warning| warning.code != code) {
            self.warnings.push(Warning::new(self.line, code, cell));
        }
    }

    /// Text that a spreadsheet would take for a formula.
    pub(super) fn formula_like(&mut self, text: &str) {
        if text.starts_with(['=', '+', '-', '@']) {
            self.add(Code::FormulaLikeText, text);
        }
    }

    /// In the order of the codes.
    pub(super) fn in_order(mut self) -> Vec<Warning> {
        self.warnings.sort_by_key(|warning| warning.code);
        self.warnings
    }
}
