//! Words for faults of clamping and of setting the frame.

use super::{Words, a_coordinate, face, face_of, plan};
use crate::exercise::model::{Axis, Exercise};
use crate::procedure::fault::{Fault, PlanAxis};
use crate::units::LengthUnit;

pub(super) fn words(exercise: &Exercise, fault: &Fault) -> Option<Words> {
    Some(match fault {
        Fault::OriginShift { axis, .. } => origin(exercise, *axis),
        Fault::MistakenSurface { datum, name } => mistaken(exercise, *datum, name),
        Fault::OppositeCorner { axis } => corner(exercise, *axis),
        Fault::FrameRotated { .. } => rotated(exercise),
        Fault::FrameTilted { about, .. } => tilted(exercise, *about),
        Fault::PartTurned { angle_deg } => Words::new(
            format!(
                "The plate probably lay turned by {} degrees in the clamp when the datums were taken.",
                angle_deg.degrees()
            ),
            "Lay the print beside the machine the way round that it is drawn and look for one hole of the plate: it will not be where the print has it.",
            "Next time, before you clamp, find one feature that has no twin on the print, and turn the plate until it lies as drawn.",
        ),
        Fault::AxesExchanged {} => Words::new(
            "X and Y seem to have changed places: each X value fits the print's Y, and the other way round.",
            "Move the probe to the right by hand and watch which number on the display changes: it should be X.",
            "Next time, check the direction of both axes with a short move before the first value is written down.",
        ),
        Fault::AxisReversed { axis } => reversed(exercise, *axis),
        Fault::Temperature { .. } => Words::new(
            format!(
                "All lengths are off in proportion, as on a plate that was warmer or colder than {}.",
                reference_temperature(exercise)
            ),
            "Lay a thermometer on the plate, and compare what it reads, and the material of the plate, with what is set on the machine.",
            "Next time, let the plate lie on the machine until both have the same temperature, and set temperature and material before you start.",
        ),
        _ => return None,
    })
}

/// The temperature at which lengths are what they are (ISO 1), as the shop has it.
pub(super) const fn reference_temperature(exercise: &Exercise) -> &'static str {
    match exercise.units {
        LengthUnit::Mm => "20 °C",
        LengthUnit::Inch => "68 °F",
    }
}

/// How many coordinates of an axis the sheet asks for.
fn coordinates(exercise: &Exercise, axis: Axis) -> usize {
    let all = exercise.characteristics.iter();
    all.filter(|c| c.of.axis() == Some(axis)).count()
}

/// `the display should read Y 0 there`.
fn should_read(exercise: &Exercise, axis: Axis) -> String {
    let letter = axis.letter();
    match exercise.datum_frame.setting(axis) {
        Some(datum) => format!(
            "the display should read {letter} {} there",
            crate::units::show_number(datum.at.normalize())
        ),
        None => format!("the display should read for {letter} what the print says"),
    }
}

fn origin(exercise: &Exercise, axis: Axis) -> Words {
    let (face, letter) = (face_of(exercise, axis), axis.letter());
    let off = if coordinates(exercise, axis) == 1 {
        format!("The one {letter} value is off")
    } else {
        format!("All {letter} values are off by the same amount")
    };
    Words::new(
        format!("{off}, so the origin along {letter} was probably not on {face}."),
        format!("Touch {face} again: {}.", should_read(exercise, axis)),
        format!(
            "Next time, go back to {face} once the origin is set and read {} there, before you measure anything.",
            axis.letter()
        ),
    )
}

fn mistaken(exercise: &Exercise, datum: char, name: &str) -> Words {
    let right = face(exercise, datum);
    Words::new(
        format!("The {name} was probably touched in place of {right}."),
        format!(
            "Touch {right} again at the places that the sheet shows: {}.",
            exercise.datum_frame.by_letter(datum).map_or_else(
                || "it should read what the print says there".to_owned(),
                |d| should_read(exercise, d.sets)
            )
        ),
        "Next time, put a finger on each datum on the print and then on the plate, and touch only where the sheet shows.",
    )
}

fn corner(exercise: &Exercise, axis: PlanAxis) -> Words {
    let letter = plan(axis);
    let face = face_of(exercise, axis.axis());
    Words::new(
        format!("The origin along {letter} was probably set at the far end of the plate, not at {face}."),
        format!("Move the probe to the zero of {letter} and see at which end of the plate it stands."),
        format!("Next time, find the corner where the print puts its zero, and start {letter} from {face}."),
    )
}

fn rotated(exercise: &Exercise) -> Words {
    let face = face(exercise, exercise.datum_frame.secondary.letter);
    Words::new(
        format!(
            "The line along {face} was probably skewed: every feature is turned by the same small angle about the touches on it."
        ),
        format!("Touch {face} near both of its ends and compare: the display should read the same at both."),
        "Next time, wipe the face, take the touches as far apart as the sheet shows, and check the reading at both ends.",
    )
}

fn tilted(exercise: &Exercise, about: PlanAxis) -> Words {
    let face = face(exercise, exercise.datum_frame.primary.letter);
    let along = match about {
        PlanAxis::X => 'Y',
        PlanAxis::Y => 'X',
    };
    Words::new(
        format!("The plane on {face} was probably tilted: heights grow or fall along {along}."),
        format!("Touch {face} at two places far apart along {along}: both should read the same height."),
        "Next time, look for a chip or a burr under each touch, and check one more place before you go on.",
    )
}

fn reversed(exercise: &Exercise, axis: Axis) -> Words {
    let letter = axis.letter();
    let way = match axis {
        Axis::X => "to the right",
        Axis::Y => "away from you",
        Axis::Z => "up",
    };
    Words::new(
        format!(
            "{letter} seems to run the other way: {} the sign reversed.",
            if coordinates(exercise, axis) == 1 {
                "its value has"
            } else {
                "its values have"
            }
        ),
        format!(
            "Move the probe {way}: the number of {letter} should grow. Then look at {}.",
            a_coordinate(exercise, axis)
        ),
        format!(
            "Next time, check with a short move that {letter} grows {way}, before the first value is written down."
        ),
    )
}
