//! What the pair's set-up record says beside the numbers.
//!
//! The record moves the prior odds of the families that it speaks of, by the factors of `Priors::record`, and names
//! amounts: a tip other than the print's, a plate that is not at 20 degrees Celsius. It never decides alone: what the
//! numbers say outweighs it as soon as they say anything. Faults that it does not speak of keep their odds.

use rust_decimal::Decimal;

use super::scene::Scene;
use crate::exercise::model::{Axis, Exercise, Face};
use crate::procedure::fault::{Fault, QuarterTurn};
use crate::report::setup_record::ROOM;
use crate::units::decimal_to_f64;

/// Reference temperature in degrees Celsius (ISO 1).
const REFERENCE: f64 = 20.0;
/// Widths of their prior beyond which named amounts are a mistake of typing.
const FARTHEST: f64 = 10.0;

/// Factor on the prior odds of a fault; 1 where the record says nothing of it.
pub(super) fn factor(scene: &Scene<'_>, fault: &Fault) -> f64 {
    let factors = scene.priors.record;
    match agrees(scene, fault) {
        Some(true) => factors.agrees,
        Some(false) => factors.differs,
        None => 1.0,
    }
}

/// Whether the record agrees with the print where a fault would change it.
fn agrees(scene: &Scene<'_>, fault: &Fault) -> Option<bool> {
    let record = scene.record?;
    let exercise = scene.exercise;
    match fault {
        Fault::WrongUnit { .. } => record.unit.map(|unit| unit == exercise.units),
        Fault::TipWrong { .. } => record.tip.map(|tip| tip == exercise.measurement.tip_diameter),
        Fault::Temperature { .. } => kelvin(scene).map(|k| k.abs() <= scene.priors.record.kelvin),
        Fault::MistakenSurface { datum, name } => {
            let mut declared = exercise.mistaken_surfaces.iter();
            let at = declared.find(|m| m.instead_of == *datum && m.name == *name)?.at;
            match touched(scene, *datum)? {
                (asked, Some(face)) if face == asked => Some(true),
                (_, Some(face)) => lies_on(exercise, face, decimal_to_f64(at)).then_some(false),
                // Another surface than a face of the body: a step, a pocket.
                (_, None) => Some(false),
            }
        }
        Fault::OppositeCorner { axis } => match on_axis(scene, axis.axis())? {
            (asked, Some(face)) if face == asked => Some(true),
            (asked, Some(face)) => is_opposite(asked, face).then_some(false),
            (_, None) => None,
        },
        Fault::PartTurned { angle_deg } => {
            let turned = |axis| {
                let (asked, face) = on_axis(scene, axis)?;
                let face = face?;
                Some(match angle_deg {
                    QuarterTurn::Two => is_opposite(asked, face),
                    QuarterTurn::One | QuarterTurn::Three => {
                        let across = face.normal().0;
                        across != Axis::Z && across != axis
                    }
                })
            };
            // Both sides at once: one far face alone is another corner.
            (turned(Axis::X)? && turned(Axis::Y)?).then_some(false)
        }
        _ => None,
    }
}

/// The face that the print asks for at a datum, and the one that was touched.
fn touched(scene: &Scene<'_>, letter: char) -> Option<(Face, Option<Face>)> {
    let datum = scene.exercise.datum_frame.by_letter(letter)?;
    let said = scene.record?.touched.iter().find(|t| t.letter == letter)?;
    Some((datum.face, said.face))
}

fn on_axis(scene: &Scene<'_>, axis: Axis) -> Option<(Face, Option<Face>)> {
    let letter = scene.exercise.datum_frame.setting(axis)?.letter;
    touched(scene, letter)
}

fn is_opposite(a: Face, b: Face) -> bool {
    a != b && a.normal().0 == b.normal().0
}

/// Whether a coordinate is that of a face of the body.
fn lies_on(exercise: &Exercise, face: Face, at: f64) -> bool {
    let (axis, sign) = face.normal();
    let outline = exercise.body.outline.iter();
    let sides: Vec<f64> = match axis {
        Axis::X => outline.map(|p| decimal_to_f64(p[0])).collect(),
        Axis::Y => outline.map(|p| decimal_to_f64(p[1])).collect(),
        Axis::Z => vec![0.0, -decimal_to_f64(exercise.body.thickness)],
    };
    let farthest = sides.into_iter().map(|v| sign * v).fold(f64::NEG_INFINITY, f64::max);
    (sign * at - farthest).abs() < 1e-6
}

/// By how much the plate is said to be warmer than 20 degrees Celsius.
fn kelvin(scene: &Scene<'_>) -> Option<f64> {
    let temperature = scene.record?.temperature?;
    let [low, high] = ROOM.map(Decimal::from);
    // Others were typed by mistake.
    (low..=high)
        .contains(&temperature)
        .then(|| decimal_to_f64(temperature) - REFERENCE)
}

/// Faults with the amounts that the record names: tip in use less the print's, growth from 20 degrees Celsius.
pub(super) fn amounts(scene: &Scene<'_>) -> Vec<Fault> {
    let mut named = Vec::new();
    let asked = scene.exercise.measurement.tip_diameter;
    if let Some(tip) = scene.record.and_then(|r| r.tip).filter(|tip| *tip != asked) {
        let amount = decimal_to_f64(tip - asked);
        if amount.abs() < FARTHEST * scene.priors.tip_mm * scene.mm {
            named.push(Fault::TipWrong { amount });
        }
    }
    if let Some(kelvin) = kelvin(scene).filter(|k| k.abs() > scene.priors.record.kelvin) {
        let ppm = scene.exercise.body.material.expansion() * 1e6 * kelvin;
        if ppm.abs() < FARTHEST * scene.priors.ppm {
            named.push(Fault::Temperature { ppm });
        }
    }
    named
}
