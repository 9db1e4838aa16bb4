//! `[datum_frame]`: three faces, what each sets, and where it is touched.

use rust_decimal::Decimal;
use toml::de::DeTable;

use super::body_space::BodySpace;
use super::problem::Sink;
use super::section::{Key, Section};
use super::value::Found;
use crate::exercise::model::{Axis, Datum, DatumFrame, Face};
use crate::units::decimal_to_f64;

const DATUM: &str = "in a datum";

/// Letters are the author's choice; one line shows them all.
pub(super) const FRAME_KEYS: &[Key] = &[(
    "A",
    "A = { face = \"top\", sets = \"z\", at = 0, touches = [[15, 15], [125, 15], [125, 75]] }",
)];

const KEYS: &[Key] = &[
    ("face", "face = \"top\""),
    ("sets", "sets = \"z\""),
    ("at", "at = 0"),
    ("touches", "touches = [[15, 15], [125, 15], [125, 75], [15, 75]]"),
];

/// Words for the axes.
pub(super) const AXES: [(&str, Axis); 3] = [("x", Axis::X), ("y", Axis::Y), ("z", Axis::Z)];

/// Touches that lie within this share of their longest extent across it are nearly on one line.
const NEARLY_COLLINEAR: f64 = 0.05;

/// Touches of the secondary datum nearer to each other than this share of the body do not fix a direction.
const TOO_CLOSE: f64 = 0.05;

/// A datum with the places of its values.
struct Read {
    datum: Datum,
    letter_at: usize,
    sets_at: usize,
    at_at: usize,
    touches_at: Vec<usize>,
    list_at: usize,
}

pub(super) fn read(section: &Section<'_>, space: Option<&BodySpace>, sink: &mut Sink<'_>) -> Option<DatumFrame> {
    let mut entries: Vec<_> = section.entries().collect();
    entries.sort_by_key(|(key, _)| key.at);
    if entries.len() != 3 {
        let at = entries.get(3).map_or(section.at, |(key, _)| key.at);
        sink.absent(
            at,
            format!("there are {} datums where three make a frame", entries.len()),
            section.shown("A"),
        );
    }
    let mut datums = Vec::new();
    // Which is which is not known where one is missing.
    let touches = if entries.len() == 3 { [3, 2, 1] } else { [1, 1, 1] };
    for ((key, _), least) in entries.iter().zip(touches) {
        let Some(letter) = letter(*key, sink) else { continue };
        let Some(found) = section.get::<&DeTable<'_>>(key.value, sink) else {
            continue;
        };
        let inner = Section::new(found.value, found.at, DATUM, KEYS);
        datums.extend(datum(letter, key.at, &inner, least, sink));
    }
    for read in &datums {
        check_face(read, space, sink);
    }
    let [primary, secondary, tertiary]: [Read; 3] = datums.try_into().ok()?;
    check_axes([&primary, &secondary, &tertiary], sink);
    check_spread(&primary, &secondary, space, sink);
    Some(DatumFrame {
        primary: primary.datum,
        secondary: secondary.datum,
        tertiary: tertiary.datum,
    })
}

fn letter(key: Found<&str>, sink: &mut Sink<'_>) -> Option<char> {
    let mut letters = key.value.chars();
    match (letters.next(), letters.next()) {
        (Some(letter), None) if letter.is_ascii_uppercase() => Some(letter),
        _ => {
            let what = format!("`{}` is no letter of a datum", super::value::shortened(key.value));
            sink.error(key.at, what, "It is one capital letter, A to Z.");
            None
        }
    }
}

fn datum(letter: char, letter_at: usize, section: &Section<'_>, least: usize, sink: &mut Sink<'_>) -> Option<Read> {
    section.refuse_unknown(sink);
    let face = section
        .need::<&str>("face", sink)
        .and_then(|f| f.among("face of the body", &Face::ALL, sink));
    let sets: Option<Found<&str>> = section.need("sets", sink);
    let axis = sets.and_then(|s| s.among("axis", &AXES, sink));
    let at: Option<Found<Decimal>> = section.need("at", sink);
    let touches: Option<Found<Vec<Found<[Decimal; 2]>>>> = section.need("touches", sink);
    let (face, sets, axis, at, touches) = (face?, sets?, axis?, at?, touches?);
    let (across, _) = face.normal();
    if across != axis {
        let what = format!(
            "the {} face stands across {} and cannot set {}",
            face.word(),
            across.letter(),
            axis.letter()
        );
        let word = AXES.iter().find(|(_, a)| *a == across).map_or("", |(w, _)| w);
        sink.error(sets.at, what, format!("Write `sets = \"{word}\"`, or another face."));
        return None;
    }
    if touches.value.len() < least {
        let rank = ["tertiary", "secondary", "primary"].get(least - 1).unwrap_or(&"");
        let touched = if touches.value.len() == 1 { "touch" } else { "touches" };
        let what = format!("datum {letter} has {} {touched}", touches.value.len());
        sink.error(
            touches.at,
            what,
            format!("The {rank} datum needs at least {least} of them."),
        );
        return None;
    }
    Some(Read {
        letter_at,
        sets_at: sets.at,
        at_at: at.at,
        touches_at: touches.value.iter().map(|t| t.at).collect(),
        list_at: touches.at,
        datum: Datum {
            letter,
            face,
            sets: axis,
            at: at.value,
            touches: touches.value.iter().map(|t| t.value).collect(),
        },
    })
}

/// Every touch must hit the face, and the face should be one of the body.
fn check_face(read: &Read, space: Option<&BodySpace>, sink: &mut Sink<'_>) {
    let Some(space) = space else { return };
    let datum = &read.datum;
    if !space.has_face(datum.face, decimal_to_f64(datum.at)) {
        let (axis, face) = (datum.sets.letter(), datum.face.word());
        let what = format!("the body has no {face} face at {axis} = {}", datum.at);
        let mend = match datum.face {
            Face::Top => {
                "Z counts from the top face: write `at = 0`; a lower face within the outline is left as it is."
                    .to_owned()
            }
            Face::Bottom => format!(
                "Z counts from the top face, so that the bottom has minus the thickness: write `at = {}`.",
                -space.thickness
            ),
            _ => "Is `at` the coordinate of the face? A face within the outline is left as it is.".to_owned(),
        };
        sink.warn(read.at_at, what, mend);
    }
    for (touch, at) in datum.touches.iter().zip(&read.touches_at) {
        let p = datum.touch_point(touch);
        if !space.holds(p) {
            let [x, y, z] = p;
            let what = format!(
                "datum {} is touched at x = {x}, y = {y}, z = {z}, which is off the body",
                datum.letter
            );
            sink.error(
                *at,
                what,
                "Give the two other coordinates in the order x, y, z, on the face.",
            );
        } else if !space.on_face(datum.face, p) {
            let what = format!(
                "the touch of datum {} is off the {} face",
                datum.letter,
                datum.face.word()
            );
            sink.error(
                *at,
                what,
                "Give the two other coordinates in the order x, y, z, on the face.",
            );
        }
    }
}

fn check_axes(datums: [&Read; 3], sink: &mut Sink<'_>) {
    let [primary, secondary, tertiary] = datums;
    if primary.datum.sets != Axis::Z {
        let what = format!(
            "the first datum, {}, sets {}",
            primary.datum.letter,
            primary.datum.sets.letter()
        );
        sink.error(
            primary.sets_at,
            what,
            "The primary datum is the top or bottom face and sets z; write it first.",
        );
    }
    for (read, before) in [(secondary, vec![primary]), (tertiary, vec![primary, secondary])] {
        if let Some(same) = before.iter().find(|b| b.datum.sets == read.datum.sets) {
            let (axis, first) = (read.datum.sets.letter(), same.datum.letter);
            let what = format!("datums {first} and {} both set {axis}", read.datum.letter);
            sink.error(
                read.sets_at,
                what,
                "Each datum sets an axis of its own: z, and x and y in either order.",
            );
        }
        if let Some(same) = before.iter().find(|b| b.datum.letter == read.datum.letter) {
            sink.error(
                read.letter_at,
                format!("datum {} stands twice", same.datum.letter),
                "Give it another letter.",
            );
        }
    }
}

/// Three touches on a line fix no plane, two in one place no line.
fn check_spread(primary: &Read, secondary: &Read, space: Option<&BodySpace>, sink: &mut Sink<'_>) {
    let (long, across) = principal_spread(&primary.datum.touches);
    if across <= NEARLY_COLLINEAR * long {
        let what = format!("the touches of datum {} lie nearly on one line", primary.datum.letter);
        sink.error(
            primary.list_at,
            what,
            "Spread them over the face, as near to its corners as is safe.",
        );
    }
    let (Some(space), Axis::X | Axis::Y) = (space, secondary.datum.sets) else {
        return;
    };
    // Only what lies in the plane of the primary datum turns the frame: the first coordinate of a touch.
    let along = secondary.datum.touches.iter().map(|t| decimal_to_f64(t[0]));
    let (low, high) = along.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    if high - low <= TOO_CLOSE * space.length(1 - secondary.datum.sets.index()) {
        let what = format!(
            "the touches of datum {} are too close together to give a direction",
            secondary.datum.letter
        );
        sink.error(
            secondary.list_at,
            what,
            "Put them as far apart along the face as is safe.",
        );
    }
}

/// Spread of places along their longest direction and across it: square roots of the eigenvalues of their scatter.
fn principal_spread(touches: &[[Decimal; 2]]) -> (f64, f64) {
    let points: Vec<[f64; 2]> = touches.iter().map(|t| t.map(decimal_to_f64)).collect();
    let count = points.iter().fold(0.0, |n, _| n + 1.0_f64).max(1.0);
    let mean = [0, 1].map(|i| points.iter().map(|p| p[i]).sum::<f64>() / count);
    let scatter = |i: usize, j: usize| points.iter().map(|p| (p[i] - mean[i]) * (p[j] - mean[j])).sum::<f64>();
    let (xx, yy, xy) = (scatter(0, 0), scatter(1, 1), scatter(0, 1));
    let middle = f64::midpoint(xx, yy);
    let apart = ((xx - yy) / 2.0).hypot(xy);
    ((middle + apart).sqrt(), (middle - apart).max(0.0).sqrt())
}
