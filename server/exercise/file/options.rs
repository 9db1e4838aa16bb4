//! The keys that only some characteristics have: criterion, datum, material condition, one axis of a distance.

use super::characteristic::Subject;
use super::datums::AXES;
use super::problem::Sink;
use super::quantities;
use super::section::Section;
use super::sheet::Sheet;
use super::value::Found;
use crate::exercise::geometry;
use crate::exercise::model::{Axis, Criterion, Quantity, Shape};

/// What they say, with the defaults where they are absent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Options {
    pub(super) criterion: Option<Criterion>,
    pub(super) datum: Option<char>,
    pub(super) maximum_material: bool,
    pub(super) along: Option<Axis>,
}

/// `None` where the quantity is not known or one of the keys is wrong.
pub(super) fn read(
    section: &Section<'_>,
    of: Option<Found<Quantity>>,
    subject: &Subject,
    sheet: &Sheet,
    sink: &mut Sink<'_>,
) -> Option<Options> {
    let criterion = section.get::<&str>("criterion", sink).map(|word| {
        Some(Found {
            value: word.among("criterion", &CRITERIA, sink)?,
            at: word.at,
        })
    });
    let datum = section
        .get::<&str>("datum", sink)
        .map(|word| datum_letter(word, sheet, sink));
    let condition = section.get::<&str>("material_condition", sink).map(|word| {
        Some(Found {
            value: word.among("material condition", &[("mmc", ())], sink)?,
            at: word.at,
        })
    });
    let along = section.get::<&str>("along", sink).map(|word| {
        Some(Found {
            value: word.among("axis", &AXES, sink)?,
            at: word.at,
        })
    });
    let of = of?;
    let criterion = check_criterion(of.value, criterion, sink)?;
    let datum = check_datum(section, of, datum, subject, sheet, sink)?;
    let maximum_material = check_condition(of.value, condition, sink)?;
    let along = check_along(of.value, along, subject, sink)?;
    let wrong_type = ["criterion", "datum", "material_condition", "along"];
    let lost = wrong_type.iter().any(|key| section.has(key) && !section.is_text(key));
    (!lost).then_some(Options {
        criterion,
        datum,
        maximum_material,
        along,
    })
}

const CRITERIA: [(&str, Criterion); 2] = [
    ("minimum-zone", Criterion::MinimumZone),
    ("least-squares", Criterion::LeastSquares),
];

/// A key that may be absent (outer `None`) and wrong (inner `None`).
type Key<T> = Option<Option<Found<T>>>;

fn datum_letter(word: Found<&str>, sheet: &Sheet, sink: &mut Sink<'_>) -> Option<Found<char>> {
    let mut letters = word.value.chars();
    let letter = letters.next().filter(|_| letters.next().is_none());
    let known: Vec<char> = sheet.frame.iter().flat_map(|f| f.all().map(|d| d.letter)).collect();
    match letter {
        Some(letter) if known.is_empty() || known.contains(&letter) => Some(Found {
            value: letter,
            at: word.at,
        }),
        _ => {
            let letters: Vec<String> = known.iter().map(char::to_string).collect();
            let what = format!("there is no datum `{}`", super::value::shortened(word.value));
            let mend = format!(
                "The datum frame has {}.",
                super::nearest::list_all(letters.iter().map(String::as_str))
            );
            sink.error(word.at, what, mend);
            None
        }
    }
}

fn check_criterion(of: Quantity, given: Key<Criterion>, sink: &mut Sink<'_>) -> Option<Option<Criterion>> {
    // The zone of these is worked out exactly; the others are peak to valley about the least-squares figure.
    let zone = matches!(of, Quantity::Flatness | Quantity::Roundness | Quantity::Straightness);
    let default = if zone {
        Criterion::MinimumZone
    } else {
        Criterion::LeastSquares
    };
    let given = match given {
        None => return Some(of.is_form().then_some(default)),
        Some(given) => given?,
    };
    if !of.is_form() {
        sink.error(
            given.at,
            format!("{} has no criterion", of.word()),
            "Take it out; it belongs to form.",
        );
        return None;
    }
    if given.value == Criterion::MinimumZone && !zone {
        let what = format!("{} is not evaluated by the minimum zone", of.word());
        sink.error(
            given.at,
            what,
            "Write `criterion = \"least-squares\"`, or leave it out.",
        );
        return None;
    }
    Some(Some(given.value))
}

fn check_datum(
    section: &Section<'_>,
    of: Found<Quantity>,
    given: Key<char>,
    subject: &Subject,
    sheet: &Sheet,
    sink: &mut Sink<'_>,
) -> Option<Option<char>> {
    let shape = subject.features.first().map(|f| &f.shape);
    let plane_angle = of.value == Quantity::Angle && matches!(shape, Some(Shape::Plane { .. }));
    let orientation = matches!(of.value, Quantity::Parallelism | Quantity::Perpendicularity);
    let needed = !subject.is_pair() && (orientation || plane_angle);
    let Some(given) = given else {
        if needed && !section.has("datum") {
            let what = format!("the {} names no datum", of.value.word());
            sink.absent(section.at, what, section.shown("datum"));
            sink.about("datum");
        }
        return (!needed).then_some(None);
    };
    let given = given?;
    if !needed {
        let (what, mend) = if subject.is_pair() {
            (
                "between two features the second one is the reference",
                "Take `datum` out, or change the order of the two.",
            )
        } else {
            (
                "this quantity refers to the whole datum frame or to none",
                "Take `datum` out.",
            )
        };
        sink.error(given.at, what, mend);
        return None;
    }
    if let (Some(frame), Some(shape)) = (&sheet.frame, shape) {
        let normal = geometry::datum_normal(frame, Some(given.value));
        if !quantities::stands_to_datum(shape, normal, of.value) {
            let stand = if of.value == Quantity::Parallelism {
                "parallel"
            } else {
                "square"
            };
            let what = format!(
                "on the print this {} does not stand {stand} to datum {}",
                shape.word(),
                given.value
            );
            sink.error(given.at, what, "Name another datum, or measure its angle.");
            return None;
        }
    }
    Some(Some(given.value))
}

fn check_condition(of: Quantity, given: Key<()>, sink: &mut Sink<'_>) -> Option<bool> {
    let Some(given) = given else { return Some(false) };
    let given = given?;
    if of == Quantity::Position {
        return Some(true);
    }
    sink.error(
        given.at,
        format!("{} has no bonus of size", of.word()),
        "Take it out; it belongs to a position.",
    );
    None
}

fn check_along(of: Quantity, given: Key<Axis>, subject: &Subject, sink: &mut Sink<'_>) -> Option<Option<Axis>> {
    let Some(given) = given else { return Some(None) };
    let given = given?;
    let shapes: Vec<&Shape> = subject.features.iter().map(|f| &f.shape).collect();
    let faces = shapes
        .iter()
        .any(|s| matches!(s, Shape::Line { .. } | Shape::Plane { .. }));
    if of != Quantity::Distance || faces {
        let mend = "Take it out; it belongs to a distance of two centres.";
        sink.error(given.at, "there is nothing to take along an axis", mend);
        return None;
    }
    let high = |s: &&Shape| matches!(s, Shape::Point { .. } | Shape::Sphere { .. });
    if given.value == Axis::Z && !shapes.iter().all(high) {
        sink.error(
            given.at,
            "a centre in plan view has no height",
            "Write `along = \"x\"` or `along = \"y\"`.",
        );
        return None;
    }
    Some(Some(given.value))
}
