//! The points table: one row for each probed point.

use rust_decimal::Decimal;
use serde::Serialize;

use crate::units::ValueUnit;

use super::csv::{Notes, note_what_is_no_row};
use super::table::cell::{self, Cell};
use super::table::decimal::Verdict;
use super::table::layout::Layout;
use super::table::rows::{self, Body, Row, Step};
use super::table::{
    Code, DecimalMark, Extra, Head, MustAsk, ReadOptions, Reading, Refusal, Rejected, Role, Why, clean_label,
};

/// Probed points as they stand in the file: tip centres in the machine's frame, in the unit that the report names.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PointTable {
    /// What was detected, and what was not read.
    #[serde(flatten)]
    pub head: Head,
    /// The points, in the order of the file.
    pub points: Vec<PointRow>,
}

/// One probed point. Every number is an exact decimal string: decimal point, places as written, no exponent.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PointRow {
    /// Line on which it begins.
    pub line: u32,
    /// Feature key or datum letter.
    pub feature: String,
    /// Tip centre.
    pub x: String,
    /// Tip centre.
    pub y: String,
    /// Tip centre.
    pub z: String,
    /// Direction from the surface towards the tip. Use it only where i, j and k are all there.
    pub i: Option<String>,
    /// Its Y part.
    pub j: Option<String>,
    /// Its Z part.
    pub k: Option<String>,
    /// Unit that the headings of x, y and z or a row of units name, to be held against that of the report.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub heading_unit: Option<ValueUnit>,
    /// Texts of columns that are not used.
    #[serde(skip_serializing_if = "Extra::is_empty")]
    pub extra: Extra,
}

/// Columns whose numbers show the decimal mark.
pub(super) const VALUE_ROLES: [Role; 6] = [Role::X, Role::Y, Role::Z, Role::I, Role::J, Role::K];

const COORDINATES: [Role; 3] = [Role::X, Role::Y, Role::Z];
const DIRECTION: [Role; 3] = [Role::I, Role::J, Role::K];

/// Reads the points, or asks for the decimal mark.
pub(super) fn read(layout: &Layout<'_>, mut head: Head, options: &ReadOptions) -> Result<PointTable, Refusal> {
    let survey = rows::survey(layout, &VALUE_ROLES)?;
    head.warnings = survey.columns;
    match options
        .decimal
        .map_or_else(|| survey.evidence.verdict(), Verdict::Settled)
    {
        Verdict::Settled(mark) => {
            head.detect.decimal = Some(mark);
            all(layout, mark, &mut head).map(|points| PointTable { head, points })
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
            Ok(PointTable {
                head,
                points: Vec::new(),
            })
        }
    }
}

/// x, y, z of each point by `mark`, row by row.
pub(super) fn values(layout: &Layout<'_>, mark: DecimalMark) -> Result<Vec<Option<String>>, Refusal> {
    let mut values = Vec::new();
    let mut body = Body::new(layout);
    while let Some(step) = body.next()? {
        let Step::Row(row) = step else { continue };
        for role in COORDINATES {
            values.push(match cell::read(row.cell(layout.column(role)), mark) {
                Cell::Number(number) => Some(number.text),
                Cell::Nothing | Cell::Fault(_) => None,
            });
        }
    }
    Ok(values)
}

fn all(layout: &Layout<'_>, mark: DecimalMark, head: &mut Head) -> Result<Vec<PointRow>, Refusal> {
    let mut points = Vec::new();
    let mut body = Body::new(layout);
    while let Some(step) = body.next()? {
        match step {
            Step::Rejected(rejected) => head.rejected.push(rejected),
            Step::Note(warning) => head.warnings.push(warning),
            Step::Row(row) => {
                let mut notes = Notes {
                    line: row.line,
                    warnings: Vec::new(),
                };
                match point(&row, layout, &body, mark, &mut notes) {
                    Ok(point) => {
                        head.warnings.append(&mut notes.in_order());
                        points.push(point);
                    }
                    Err((why, cell)) => head.rejected.push(Rejected::new(row.line, why, &cell)),
                }
            }
        }
    }
    Ok(points)
}

fn point(
    row: &Row<'_>,
    layout: &Layout<'_>,
    body: &Body<'_, '_>,
    mark: DecimalMark,
    notes: &mut Notes,
) -> Result<PointRow, (Why, String)> {
    let mut number = |role: Role| {
        let text = row.cell(layout.column(role));
        match cell::read(text, mark) {
            Cell::Nothing => Ok(None),
            Cell::Fault(why) => Err((why, text.to_owned())),
            Cell::Number(number) if number.unit.is_some() => Err((Why::UnitInCell, text.to_owned())),
            Cell::Number(number) => {
                if number.underflow {
                    notes.add(Code::UnderflowToZero, text);
                }
                Ok(Some(number.text))
            }
        }
    };
    let mut needed = |role: Role| number(role)?.ok_or((Why::MissingValue, String::new()));
    let (x, y, z) = (needed(Role::X)?, needed(Role::Y)?, needed(Role::Z)?);
    let direction = [number(Role::I)?, number(Role::J)?, number(Role::K)?];
    note_direction(&direction, notes);
    let feature = clean_label(row.cell(layout.column(Role::Feature)));
    notes.formula_like(&feature);
    let (extra, has_more_cells) = Extra::of(row, layout);
    if has_more_cells {
        notes.add(Code::ExtraCells, "");
    }
    let units = COORDINATES.map(|role| body.unit(layout.column(role)));
    if units.iter().flatten().any(|unit| Some(*unit) != units[0]) {
        notes.add(Code::MixedUnits, "x, y, z");
    }
    let [i, j, k] = direction;
    let heading_unit = units[0].filter(|_| units.iter().all(|unit| *unit == units[0]));
    Ok(PointRow {
        line: row.line,
        feature,
        x,
        y,
        z,
        i,
        j,
        k,
        heading_unit,
        extra,
    })
}

/// A direction has three parts, and its length is 1 within 0.001.
fn note_direction(direction: &[Option<String>; 3], notes: &mut Notes) {
    let parts: Vec<&String> = direction.iter().flatten().collect();
    if parts.is_empty() {
        return;
    }
    if parts.len() < DIRECTION.len() {
        notes.add(Code::PartOfDirection, "");
    } else if !is_unit_length(&parts) {
        notes.add(Code::NotUnitLength, "");
    }
}

/// Compares squares, so that 0.999 and 1.001 are within the limit exactly.
fn is_unit_length(parts: &[&String]) -> bool {
    /// Squares of 0.999 and 1.001, in millionths.
    const LIMITS: (i64, i64) = (998_001, 1_002_001);
    let square = parts.iter().try_fold(Decimal::ZERO, |sum, part| {
        let part: Decimal = part.parse().ok()?;
        sum.checked_add(part.checked_mul(part)?)
    });
    square.is_some_and(|square| (Decimal::new(LIMITS.0, 6)..=Decimal::new(LIMITS.1, 6)).contains(&square))
}
