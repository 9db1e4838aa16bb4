//! From a table of rows, or from the fields of the form, to a report on one exercise.
//!
//! All ways in end here, so that a number typed, pasted or uploaded means the same. Nothing is guessed: a number that
//! is not on the print, the same number twice, a value that is no number or whose unit does not fit is a `Problem`
//! that says where it stands and how to mend it, and then there is no report.

use std::collections::BTreeMap;

use serde::Serialize;

use super::call::Call;
use super::csv::{ReportRow, ReportTable};
use super::model::{Report, ReportItem};
use super::table::{self, Code, Delimiter, ReadOptions, Refusal, Role, Table, Why};
use crate::exercise::model::{Characteristic, Exercise};
use crate::exercise::names::BalloonNo;
use crate::units::{LengthUnit, Reading, ValueUnit};

/// Something to be mended before the report can be taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// Line of the file or of the pasted text; `None` for the whole, and in the form.
    pub line: Option<u32>,
    /// Balloon number, where it is known.
    pub no: Option<String>,
    /// What is wrong and how to mend it.
    pub text: String,
}

/// A report with what was noticed on the way.
#[derive(Debug, Clone, PartialEq)]
pub struct Assembled {
    /// The report.
    pub report: Report,
    /// What was read with a reservation, in words.
    pub notes: Vec<Problem>,
}

/// Lays the rows of a table over the exercise. `unit` is the unit of rows that state none; `None` is the exercise's.
///
/// # Errors
/// All problems of the table, in the order of its lines.
pub fn assemble(exercise: &Exercise, table: &ReportTable, unit: Option<LengthUnit>) -> Result<Assembled, Vec<Problem>> {
    let mut sheet = Sheet {
        exercise,
        unit,
        report: Report::blank(exercise),
        seen: BTreeMap::new(),
        unknown: 0,
        problems: Vec::new(),
    };
    let mut notes = Vec::new();
    for rejected in &table.head.rejected {
        let found = Problem {
            line: Some(rejected.line),
            no: None,
            text: rejected.text.clone(),
        };
        if rejected.why == Why::NotARow {
            notes.push(found);
        } else {
            sheet.problems.push(found);
        }
    }
    for row in &table.rows {
        sheet.take(row);
    }
    sheet.say_if_foreign();
    // A repeated number is a problem of its own above; the reader's reservation would say it twice.
    let told = |w: &&table::Warning| {
        !matches!(
            w.code,
            Code::MissingValue | Code::DuplicateLabel | Code::FormulaLikeText
        )
    };
    notes.extend(table.head.warnings.iter().filter(told).map(|w| Problem {
        line: Some(w.line),
        no: None,
        text: w.text.clone(),
    }));
    sheet.problems.sort_by_key(|p| p.line);
    if sheet.problems.is_empty() {
        Ok(Assembled {
            report: sheet.report,
            notes,
        })
    } else {
        Err(sheet.problems)
    }
}

struct Sheet<'a> {
    exercise: &'a Exercise,
    unit: Option<LengthUnit>,
    report: Report,
    seen: BTreeMap<BalloonNo, u32>,
    /// Rows whose number is not on the print.
    unknown: usize,
    problems: Vec<Problem>,
}

impl Sheet<'_> {
    fn take(&mut self, row: &ReportRow) {
        match self.item(row) {
            Ok(Some((index, item))) => {
                if let Some(place) = self.report.items.get_mut(index) {
                    *place = item;
                }
            }
            Ok(None) => {}
            Err(text) => self.problems.push(Problem {
                line: Some(row.line),
                no: Some(row.label.clone()),
                text,
            }),
        }
    }

    fn item(&mut self, row: &ReportRow) -> Result<Option<(usize, ReportItem)>, String> {
        let found = row
            .label
            .parse::<BalloonNo>()
            .ok()
            .and_then(|no| self.exercise.characteristic(&no));
        let Some((index, characteristic)) = found else {
            self.unknown += 1;
            return Err(format!(
                "There is no number {} on this print; it has {}. Correct the number or take the line out.",
                shown(&row.label),
                numbers(self.exercise)
            ));
        };
        if let Some(first) = self.seen.insert(characteristic.no.clone(), row.line) {
            return Err(format!(
                "Number {} stands twice, at lines {first} and {}. Keep the one that counts.",
                characteristic.no, row.line
            ));
        }
        let measured = row
            .measured
            .as_deref()
            .map(|text| self.in_unit(characteristic, text, row.unit))
            .transpose()?;
        Ok(Some((
            index,
            ReportItem {
                no: characteristic.no.clone(),
                measured,
                call: row.call,
            },
        )))
    }

    /// The value in the unit of the exercise. Lengths that state another unit are converted exactly.
    fn in_unit(&self, c: &Characteristic, text: &str, stated: Option<ValueUnit>) -> Result<Reading, String> {
        let reading: Reading = text.parse().map_err(|e| format!("Number {}: {e}", c.no))?;
        let own = length_value_unit(self.exercise.units);
        if c.of.is_angle() {
            return match stated {
                None | Some(ValueUnit::Degree) => Ok(reading),
                Some(ValueUnit::Radian) => Err(format!(
                    "Number {} is in radians; this print has decimal degrees. Write it in degrees.",
                    c.no
                )),
                Some(unit) => Err(format!(
                    "Number {} is an angle and cannot be in {unit}. Write it in degrees.",
                    c.no
                )),
            };
        }
        match stated.or(self.unit.map(length_value_unit)) {
            None => Ok(reading),
            Some(unit) if unit == own => Ok(reading),
            Some(unit @ (ValueUnit::Degree | ValueUnit::Radian)) => Err(format!(
                "Number {} is a length and cannot be in {unit}. Write it in {own}.",
                c.no
            )),
            Some(unit) => unit
                .convert(reading.decimal(), own)
                .map(Reading::from_decimal)
                .map_err(|_| format!("Number {} is out of range in {unit}. Write it in {own}.", c.no)),
        }
    }

    /// One message in place of many where the whole table is for another print.
    fn say_if_foreign(&mut self) {
        if self.seen.is_empty() && self.unknown > 1 {
            let text = format!(
                "None of the numbers is on the print of {}, which has {}. This looks like a report of another exercise: choose the right file, or the right exercise.",
                self.exercise.code,
                numbers(self.exercise)
            );
            self.problems = vec![Problem {
                line: None,
                no: None,
                text,
            }];
        }
    }
}

fn length_value_unit(unit: LengthUnit) -> ValueUnit {
    match unit {
        LengthUnit::Mm => ValueUnit::Millimetre,
        LengthUnit::Inch => ValueUnit::Inch,
    }
}

/// A label for a message: at most 40 characters of it.
fn shown(label: &str) -> String {
    let short: String = label.chars().take(40).collect();
    if short.len() < label.len() {
        format!("\u{201c}{short}\u{2026}\u{201d}")
    } else {
        format!("\u{201c}{short}\u{201d}")
    }
}

/// The numbers of an exercise in short: `1 to 18`, or all of them where they do not run.
fn numbers(exercise: &Exercise) -> String {
    let all: Vec<&str> = exercise.characteristics.iter().map(|c| c.no.as_str()).collect();
    let runs = all.iter().enumerate().all(|(i, no)| *no == (i + 1).to_string());
    match (runs, all.last()) {
        (true, Some(last)) if all.len() > 2 => format!("1 to {last}"),
        _ => all.join(", "),
    }
}

/// One line of the form as it was typed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Field {
    /// Balloon number.
    pub no: String,
    /// Text of the value field.
    pub measured: String,
    /// Word of the call field.
    pub call: String,
}

/// What came of the fields of a form.
#[derive(Debug, Clone, PartialEq)]
pub enum FromForm {
    /// A report.
    Report(Assembled),
    /// Problems, each with its balloon number.
    Problems(Vec<Problem>),
    /// The decimal mark has to be told first; the ways in which the values could be read.
    AskDecimalMark(Vec<table::Reading>),
}

/// Reads the fields of a form by the same rules as a file: a table is written of them and read. `options` holds the
/// answer on the decimal mark where one was asked for.
#[must_use]
pub fn from_form(exercise: &Exercise, fields: &[Field], options: &ReadOptions) -> FromForm {
    let text = written(fields);
    let columns = Some(vec![Some(Role::Label), Some(Role::Measured), Some(Role::Call)]);
    let options = ReadOptions {
        columns,
        delimiter: Delimiter::new(','),
        ..options.clone()
    };
    match table::read(text.as_bytes(), &options) {
        Ok(Table::Report(table)) if table.head.must_ask.is_some() => FromForm::AskDecimalMark(table.head.readings),
        Ok(Table::Report(table)) => match assemble(exercise, &table, None) {
            Ok(assembled) => FromForm::Report(assembled),
            Err(problems) => FromForm::Problems(problems.into_iter().map(|p| at_field(p, fields)).collect()),
        },
        Ok(Table::Points(_)) => FromForm::Problems(vec![]),
        Err(Refusal::EmptyFile) => FromForm::Report(Assembled {
            report: Report::blank(exercise),
            notes: Vec::new(),
        }),
        Err(refusal) => FromForm::Problems(vec![Problem {
            line: None,
            no: None,
            text: refusal.to_string(),
        }]),
    }
}

/// The fields as a table; every field takes exactly one line, so that line and field can be told from each other.
fn written(fields: &[Field]) -> String {
    let cell = |text: &str| {
        let one_line: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        format!("\"{}\"", one_line.replace('"', "\"\""))
    };
    fields
        .iter()
        .map(|f| format!("{},{},{}\r\n", cell(&f.no), cell(&f.measured), cell(&f.call)))
        .collect()
}

/// A problem at a line of the written table is one at a field.
fn at_field(problem: Problem, fields: &[Field]) -> Problem {
    let index = problem
        .line
        .and_then(|l| usize::try_from(l).ok())
        .and_then(|l| l.checked_sub(1));
    let no = index.and_then(|i| fields.get(i)).map(|f| f.no.clone());
    Problem {
        line: None,
        no: no.or(problem.no),
        text: problem.text,
    }
}

/// A call word of the form, which offers three and none.
#[must_use]
pub fn call_word(call: Option<Call>) -> &'static str {
    call.map_or("", Call::as_str)
}
