//! The lines of a graded report in words and figures, with the truth of the plate: for instructors, and for students
//! where `grading::feedback` lets everything out.

use rust_decimal::Decimal;

use super::sheet::{self, SheetRow};
use crate::exercise::drawing::{PlaceRule, place_rule};
use crate::exercise::model::{Characteristic, Exercise};
use crate::grading::grade::{GradedItem, Line};
use crate::report::call::Call;
use crate::report::model::Report;
use crate::units::{MINUS, Reading, decimal_from_f64, show_length, show_signed};

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
    /// Word of the pair's call; empty for none.
    pub call: &'static str,
    /// Word that the rule makes of the pair's number.
    pub by_own: &'static str,
    /// Word that the rule makes of the plate.
    pub by_plate: &'static str,
    /// Whether the call is right for the pair's own number, in a word; empty where there is nothing to judge.
    pub for_own: &'static str,
    /// Whether the call is right for the plate, in a word.
    pub for_plate: &'static str,
    /// Picture of the value between its limits, with the plate's.
    pub place: String,
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
    let sheet = sheet::rows(exercise);
    let lines = exercise.characteristics.iter().zip(items);
    sheet
        .into_iter()
        .zip(lines)
        .map(|(sheet, (c, item))| row(exercise, sheet, c, item, report))
        .collect()
}

fn place(exercise: &Exercise, c: &Characteristic, item: &GradedItem, written: Option<&Reading>) -> String {
    let reference = item.reference.zip(item.reference_expanded_uncertainty);
    place_rule(&PlaceRule {
        limits: c.limits,
        guard: None,
        value: written.map(Reading::decimal),
        expanded: Some(c.u_lab),
        reference: reference.and_then(|(x, u)| decimal_from_f64(x).zip(decimal_from_f64(u))),
        decimals: exercise.decimals,
    })
}

/// The pair's own value between its limits, without the plate's: for those who may not see that.
#[must_use]
pub fn own_place(exercise: &Exercise, item: &GradedItem, report: &Report) -> String {
    let Some((_, c)) = exercise.characteristic(&item.no) else {
        return String::new();
    };
    let written = report.item(&item.no).and_then(|i| i.measured.as_ref());
    let alone = GradedItem {
        reference: None,
        ..item.clone()
    };
    place(exercise, c, &alone, written)
}

/// `right`, `wrong` or nothing.
fn verdict(score: Option<f64>, call: Option<Call>) -> &'static str {
    match (score, call) {
        (Some(score), Some(_)) if score > 0.0 => "right",
        (Some(_), Some(_)) => "wrong",
        _ => "",
    }
}

fn row(exercise: &Exercise, sheet: SheetRow, c: &Characteristic, item: &GradedItem, report: &Report) -> GradedRow {
    let places = exercise.decimals;
    let written = report.item(&item.no).and_then(|i| i.measured.as_ref());
    let off = item
        .measured
        .zip(item.reference)
        .and_then(|(m, r)| decimal_from_f64(m - r));
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
        call: word(item.call),
        by_own: word(item.call_by_own_value),
        by_plate: word(item.call_by_reference),
        for_own: verdict(item.call_for_own_value_score, item.call),
        for_plate: match (
            item.in_doubt,
            item.measured,
            verdict(item.call_for_plate_score, item.call),
        ) {
            (Some(true), Some(_), "right") => "either",
            (_, _, word) => word,
        },
        place: place(exercise, c, item, written),
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
