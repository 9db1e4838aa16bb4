//! What happens to a table that is pasted or uploaded beside the fields of the form: its values go into the fields,
//! and where both say something else of the same number, nobody but the pair can say which counts.

use super::assemble::{self, Field, Problem};
use super::model::Report;
use super::table::{self, MustAsk, ReadOptions, Reading, Refusal, Table};
use crate::exercise::model::Exercise;
use crate::units::LengthUnit;

/// The form after a table was put into it.
#[derive(Debug, Clone, PartialEq)]
pub struct Filled {
    /// The fields, those of the table put in.
    pub fields: Vec<Field>,
    /// How many values the table gave.
    pub values: usize,
    /// What was read with a reservation.
    pub notes: Vec<Problem>,
}

/// Why a table could not be put in. The fields stay as they were.
#[derive(Debug, Clone, PartialEq)]
pub enum NotFilled {
    /// The file is refused as a whole.
    Refused(Refusal),
    /// It holds probed points, not a report.
    Points,
    /// A person has to say something first.
    Ask(MustAsk, Vec<Reading>),
    /// Lines to be mended.
    Problems(Vec<Problem>),
}

/// Reads a table and puts its values into the fields.
///
/// # Errors
/// When the table cannot be read, has to be asked about, or says something else than what is typed already.
pub fn fill(
    exercise: &Exercise,
    fields: &[Field],
    bytes: &[u8],
    options: &ReadOptions,
    unit: Option<LengthUnit>,
) -> Result<Filled, NotFilled> {
    let table = match table::read(bytes, options).map_err(NotFilled::Refused)? {
        Table::Report(table) => table,
        Table::Points(_) => return Err(NotFilled::Points),
    };
    if let Some(question) = table.head.must_ask {
        return Err(NotFilled::Ask(question, table.head.readings));
    }
    let assembled = assemble::assemble(exercise, &table, unit).map_err(NotFilled::Problems)?;
    let merged = merge(fields, &assembled.report);
    let values = assembled.report.items.iter().filter(|i| i.measured.is_some()).count();
    merged
        .map(|fields| Filled {
            fields,
            values,
            notes: assembled.notes,
        })
        .map_err(NotFilled::Problems)
}

fn merge(fields: &[Field], report: &Report) -> Result<Vec<Field>, Vec<Problem>> {
    let mut merged = Vec::new();
    let mut problems = Vec::new();
    for item in &report.items {
        let typed = fields.iter().find(|f| f.no == item.no.as_str()).cloned();
        let typed = typed.unwrap_or_else(|| Field {
            no: item.no.to_string(),
            ..Field::default()
        });
        let measured = item.measured.as_ref().map_or("", |r| r.as_str());
        let call = assemble::call_word(item.call);
        for (what, here, there) in [
            ("value", typed.measured.trim(), measured),
            ("call", typed.call.trim(), call),
        ] {
            if !here.is_empty() && !there.is_empty() && here != there {
                let text = format!(
                    "Number {}: the {what} typed here is {here}, in the table it is {there}. Clear the one that does not count.",
                    item.no
                );
                problems.push(Problem {
                    line: None,
                    no: Some(item.no.to_string()),
                    text,
                });
            }
        }
        let kept = |here: String, there: &str| if there.is_empty() { here } else { there.to_owned() };
        merged.push(Field {
            no: typed.no,
            measured: kept(typed.measured, measured),
            call: kept(typed.call, call),
        });
    }
    if problems.is_empty() { Ok(merged) } else { Err(problems) }
}
