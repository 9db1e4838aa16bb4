//! The lines of a graded report in words and figures, with the truth of the plate: for instructors, and for students
//! where `grading::feedback` lets everything out.

use rust_decimal::Decimal;

use super::sheet::{self, SheetRow};
use crate::exercise::drawing::{PlaceRule, place_rule};
use crate::exercise::model::{Characteristic, Exercise};
use crate::grading::grade::{GradedItem, Line};
use crate::report::call::Call;
use crate::report::model::Report;
use crate::units::{MINUS, decimal_from_f64, show_length, show_signed};

/// One line.
#[derive(Debug, Clone)]
pub struct GradedRow {
    /// The line of the print.
    pub sheet: SheetRow,
    /// As the pair wrote it, with a real minus sign.
    pub measured: String,
    /// What the plate is.
    pub reference: String,
    /// Twice the standard uncertainty of it.
    pub uncertainty: String,
    /// Measured less reference.
    pub off: String,
    /// `E_n`, or z' under a fitness score.
    pub en: String,
    /// Measurement score in per cent.
    pub score: String,
    /// Place of the value between its limits, as a picture.
    pub place: String,
    /// Word of the pair's call; empty for none.
    pub call: &'static str,
    /// Word that the rule makes of the pair's number.
    pub by_own: &'static str,
    /// Word that the rule makes of the plate.
    pub by_plate: &'static str,
    /// Whether an honest pair may read either side of a limit.
    pub in_doubt: bool,
    /// Value after the stated faults are taken out; empty where it is the same.
    pub corrected: String,
    /// What is particular about the line; empty for nothing.
    pub note: String,
}

fn word(call: Option<Call>) -> &'static str {
    call.map_or("", Call::as_str)
}

fn shown(value: Option<f64>, places: u32) -> String {
    value
        .and_then(decimal_from_f64)
        .map_or_else(String::new, |v| show_length(v, places))
}

/// All lines in sheet order. `report` holds the values as they were written.
#[must_use]
pub fn rows(exercise: &Exercise, items: &[GradedItem], report: &Report) -> Vec<GradedRow> {
    let places = exercise.decimals;
    let sheet = sheet::rows(exercise);
    sheet
        .into_iter()
        .zip(&exercise.characteristics)
        .zip(items)
        .map(|((sheet, c), item)| row(sheet, c, item, report, places))
        .collect()
}

fn row(sheet: SheetRow, c: &Characteristic, item: &GradedItem, report: &Report, places: u32) -> GradedRow {
    let written = report.item(&item.no).and_then(|i| i.measured.as_ref());
    let off = item
        .measured
        .zip(item.reference)
        .and_then(|(m, r)| decimal_from_f64(m - r));
    let decimal = |v: Option<f64>| v.and_then(decimal_from_f64);
    let rule = PlaceRule {
        limits: c.limits,
        guard: None,
        value: decimal(item.measured),
        expanded: Some(c.u_lab),
        reference: decimal(item.reference).zip(decimal(item.reference_expanded_uncertainty)),
        decimals: places,
    };
    GradedRow {
        sheet,
        measured: written
            .map(|r| r.as_str().replace('-', &MINUS.to_string()))
            .unwrap_or_default(),
        reference: shown(item.reference, places + 1),
        uncertainty: shown(item.reference_expanded_uncertainty, places + 1),
        off: off.map_or_else(String::new, |v| show_signed(v, places + 1)),
        en: shown(item.en, 2),
        score: item
            .measurement_score
            .map(|s| shown(Some(s * 100.0), 0))
            .unwrap_or_default(),
        place: place_rule(&rule),
        call: word(item.call),
        by_own: word(item.call_by_own_value),
        by_plate: word(item.call_by_reference),
        in_doubt: item.in_doubt == Some(true),
        corrected: shown(item.corrected, places),
        note: item.note.clone().unwrap_or_default(),
    }
}

/// One reason of a mark, as a receipt shows it.
#[derive(Debug, Clone)]
pub struct ReceiptLine {
    /// The reason.
    pub text: String,
    /// With its sign, padded so that the decimal marks stand below each other.
    pub points: String,
}

/// Figure space and the width of a decimal point in tabular figures.
const FIGURE_SPACE: char = '\u{2007}';

/// The lines of a receipt, points in as many places as the longest needs, at least one.
#[must_use]
pub fn receipt(lines: &[Line]) -> Vec<ReceiptLine> {
    let line = |l: &Line| ReceiptLine {
        text: l.text.clone(),
        points: padded(l.points),
    };
    lines.iter().map(line).collect()
}

/// A mark as a receipt's foot shows it: in line with [`receipt`].
#[must_use]
pub fn total(mark: Option<Decimal>) -> String {
    mark.map_or_else(|| "no mark".to_owned(), padded)
}

/// Places that receipts leave room for.
const PLACES: u32 = 4;

fn padded(points: Decimal) -> String {
    let points = points.normalize();
    let places = points.scale().max(1);
    let missing = PLACES.saturating_sub(places);
    let mut text = show_length(points, places);
    text.extend(std::iter::repeat_n(FIGURE_SPACE, usize::try_from(missing).unwrap_or(0)));
    text
}
