//! Faults in words: what probably happened, how to see it at the machine, what to do next time.
//!
//! The sentences go to students as well, before the truth of a plate is out: they name axes, faces, features and balloon
//! numbers, never an amount or a direction. [`amount`] says the amount, for instructors.

mod setup;
mod tip;
mod writing;

use crate::exercise::model::{Axis, Exercise};
use crate::exercise::names::{BalloonNo, FeatureKey};
use crate::procedure::fault::{Fault, PlanAxis};
use crate::units::{LengthUnit, show_f64};

/// The three sentences of a fault.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words {
    /// What probably happened.
    pub happened: String,
    /// How to see it at the machine.
    pub look: String,
    /// What to do next time.
    pub next_time: String,
}

impl Words {
    fn new(happened: impl Into<String>, look: impl Into<String>, next_time: impl Into<String>) -> Self {
        Self {
            happened: happened.into(),
            look: look.into(),
            next_time: next_time.into(),
        }
    }

    /// The sentences joined.
    #[must_use]
    pub fn text(&self) -> String {
        format!("{} {} {}", self.happened, self.look, self.next_time)
    }
}

/// The words of a fault.
#[must_use]
pub fn words(exercise: &Exercise, fault: &Fault) -> Words {
    setup::words(exercise, fault)
        .or_else(|| tip::words(exercise, fault))
        .unwrap_or_else(|| writing::words(exercise, fault))
}

/// A few words for a line of the marks and for lists.
#[must_use]
pub fn title(exercise: &Exercise, fault: &Fault) -> String {
    match fault {
        Fault::OriginShift { axis, .. } => format!("origin off along {}", axis.letter()),
        Fault::MistakenSurface { datum, name } => format!("{name} touched for datum {datum}"),
        Fault::OppositeCorner { axis } => format!("origin at the far end of {}", plan(*axis)),
        Fault::FrameRotated { .. } => format!("datum {} skewed", exercise.datum_frame.secondary.letter),
        Fault::FrameTilted { .. } => format!("datum {} skewed", exercise.datum_frame.primary.letter),
        Fault::PartTurned { angle_deg } => format!("plate clamped turned by {} degrees", angle_deg.degrees()),
        Fault::AxesExchanged {} => "X and Y exchanged".to_owned(),
        Fault::AxisReversed { axis } => format!("direction of {} reversed", axis.letter()),
        Fault::TipIgnoredOnDatum { datum } => format!("tip radius left in at datum {datum}"),
        Fault::TipIgnoredOnSize {} => "tip diameter left in sizes".to_owned(),
        Fault::TipIgnoredOnSurface {} => "tip radius left in at measured faces".to_owned(),
        Fault::TipWrong { .. } => "another tip diameter in use".to_owned(),
        Fault::WrongUnit { .. } => "values in the other unit".to_owned(),
        Fault::Temperature { .. } => format!("plate warmer or colder than {}", setup::reference_temperature(exercise)),
        Fault::RadiusForDiameter { items } => format!("radius for diameter, {}", numbers(items)),
        Fault::DeviationForValue { items } => format!("deviation for value, {}", numbers(items)),
        Fault::NominalsCopied { items } => format!("nominal values, {}", numbers(items)),
        Fault::FeaturesExchanged { a, b } => format!("{} and {} exchanged", feature(exercise, a), feature(exercise, b)),
        Fault::WrongPlate { serial } => format!("values of plate {serial}"),
        Fault::DigitsTransposed { item, .. } => format!("digits exchanged in number {item}"),
        Fault::DecimalSlipped { item, .. } => format!("decimal point slipped in number {item}"),
        Fault::SignDropped { item } => format!("sign of number {item}"),
        Fault::GrossError { item, .. } => format!("number {item} far off"),
    }
}

/// The amount of a fault for instructors, where it has one: in mm, or in thousandths of an inch below 0.1 inch.
#[must_use]
pub fn amount(exercise: &Exercise, fault: &Fault) -> Option<String> {
    match fault {
        Fault::OriginShift { amount, .. } | Fault::TipWrong { amount } => Some(length(exercise.units, *amount)),
        Fault::FrameRotated { angle_deg } | Fault::FrameTilted { angle_deg, .. } => {
            Some(format!("{}°", show_f64(*angle_deg, 3)))
        }
        Fault::Temperature { ppm } => {
            let kelvin = ppm * 1e-6 / exercise.body.material.expansion();
            let length = length(exercise.units, exercise.units_of_mm(100.0) * ppm * 1e-6);
            let per = if exercise.units == LengthUnit::Mm {
                "100 mm"
            } else {
                "4 inch"
            };
            if kelvin.is_finite() {
                Some(format!("{length} in {per}, as of {} K", show_f64(kelvin, 1)))
            } else {
                Some(format!("{length} in {per}"))
            }
        }
        _ => None,
    }
}

impl Exercise {
    /// A length in mm in the exercise's unit; about four inches for 100 mm.
    fn units_of_mm(&self, mm: f64) -> f64 {
        match self.units {
            LengthUnit::Mm => mm,
            LengthUnit::Inch => mm / 25.0,
        }
    }
}

/// A length for people: 1.503 mm, 0.012 mm, 0.0004 mm; 0.250 inch, 1 thousandth of an inch, 12.5 thousandths of an inch.
#[must_use]
pub fn length(units: LengthUnit, value: f64) -> String {
    match units {
        // A place more where three would leave hardly a digit.
        LengthUnit::Mm if value.abs() < 0.01 => format!("{} mm", show_f64(value, 4)),
        LengthUnit::Mm => format!("{} mm", show_f64(value, 3)),
        LengthUnit::Inch if value.abs() < 0.1 => {
            let shown = show_f64(value * 1000.0, 1);
            let shown = shown.strip_suffix(".0").unwrap_or(&shown);
            let one = matches!(shown.trim_start_matches(['-', '\u{2212}']), "1");
            format!("{shown} {} of an inch", if one { "thousandth" } else { "thousandths" })
        }
        LengthUnit::Inch => format!("{} inch", show_f64(value, 4)),
    }
}

/// `number 5`; `numbers 5 and 7`; `numbers 5, 7 and 9`; `20 numbers from 2 to 27` where there are many.
#[must_use]
pub fn numbers(items: &[BalloonNo]) -> String {
    match items {
        [] => "no number".to_owned(),
        [one] => format!("number {one}"),
        [first, .., last] if items.len() > 6 => format!("{} numbers from {first} to {last}", items.len()),
        [most @ .., last] => {
            let most: Vec<&str> = most.iter().map(BalloonNo::as_str).collect();
            format!("numbers {} and {last}", most.join(", "))
        }
    }
}

/// `s` for many, nothing for one.
pub(super) const fn many<'w>(items: &[BalloonNo], one: &'w str, more: &'w str) -> &'w str {
    if items.len() == 1 { one } else { more }
}

pub(super) const fn plan(axis: PlanAxis) -> char {
    axis.axis().letter()
}

/// `the front face (datum C)`.
pub(super) fn face(exercise: &Exercise, letter: char) -> String {
    match exercise.datum_frame.by_letter(letter) {
        Some(datum) => format!("the {} face (datum {letter})", datum.face.word()),
        None => format!("datum {letter}"),
    }
}

/// The face that sets an axis.
pub(super) fn face_of(exercise: &Exercise, axis: Axis) -> String {
    match exercise.datum_frame.setting(axis) {
        Some(datum) => face(exercise, datum.letter),
        None => format!("the face that sets {}", axis.letter()),
    }
}

pub(super) fn feature(exercise: &Exercise, key: &FeatureKey) -> String {
    exercise
        .feature(key)
        .map_or_else(|| key.to_string(), |(_, f)| f.name.clone())
}

/// The first coordinate of an axis on the sheet that a pair could measure again.
pub(super) fn a_coordinate(exercise: &Exercise, axis: Axis) -> String {
    let found = exercise.characteristics.iter().find(|c| c.of.axis() == Some(axis));
    match found {
        Some(c) => format!("{} of {} (number {})", axis.letter(), exercise.owner_name(c), c.no),
        None => format!("one {} coordinate", axis.letter()),
    }
}

#[cfg(test)]
mod tests;
