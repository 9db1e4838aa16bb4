//! The lines of a print as every sheet shows them: lab sheet, entry, result and the instructor's pages.

use crate::exercise::model::{Characteristic, Exercise, Owner};
use crate::metrology::tolerance::Tolerance;
use crate::units::{show_length, show_number};
use rust_decimal::Decimal;

/// One line of the print in words and figures.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetRow {
    /// Balloon number.
    pub no: String,
    /// Name of the feature, or of both.
    pub name: String,
    /// Quantity.
    pub of: &'static str,
    /// Letter of the datum of an orientation; empty without one.
    pub datum: String,
    /// Nominal, in the places of the exercise.
    pub nominal: String,
    /// Tolerance as on the print.
    pub tolerance: String,
    /// Limits in figures.
    pub limits: String,
    /// Unit of the value.
    pub unit: &'static str,
    /// Whether the value is in degrees.
    pub angle: bool,
    /// Points that the sheet asks for.
    pub points: String,
}

/// All lines in sheet order.
#[must_use]
pub fn rows(exercise: &Exercise) -> Vec<SheetRow> {
    exercise.characteristics.iter().map(|c| row(exercise, c)).collect()
}

fn row(exercise: &Exercise, c: &Characteristic) -> SheetRow {
    let places = exercise.decimals;
    let points = match c.owner {
        Owner::Feature(i) => exercise.features.get(i).map(|f| f.points.to_string()),
        Owner::Between(_) => None,
    };
    SheetRow {
        no: c.no.to_string(),
        name: exercise.owner_name(c),
        of: c.of.word(),
        datum: c.datum.map(String::from).unwrap_or_default(),
        nominal: show_length(c.nominal, places),
        tolerance: tolerance(c),
        limits: limits(c, places),
        unit: if c.of.is_angle() {
            "degrees"
        } else {
            exercise.units.as_str()
        },
        angle: c.of.is_angle(),
        points: points.unwrap_or_default(),
    }
}

fn tolerance(c: &Characteristic) -> String {
    let bonus = if c.maximum_material { " at maximum material" } else { "" };
    format!(
        "{}{bonus}",
        c.tolerance
            .to_string()
            .replace('-', "\u{2212}")
            .replace("ISO 2768\u{2212}", "ISO 2768-")
    )
}

/// Limits in figures with at least the places of the exercise.
fn limits(c: &Characteristic, places: u32) -> String {
    let show = |v: Decimal| {
        if v.normalize().scale() > places {
            show_number(v.normalize())
        } else {
            show_length(v, places)
        }
    };
    match (c.limits.lower, c.limits.upper) {
        (Some(lower), Some(upper)) => format!("{} to {}", show(lower), show(upper)),
        // What is `max` on the print says it already.
        (None, Some(_)) if matches!(c.tolerance, Tolerance::Max(_)) => String::new(),
        (None, Some(upper)) => format!("up to {}", show(upper)),
        (Some(lower), None) => format!("from {}", show(lower)),
        (None, None) => String::new(),
    }
}
