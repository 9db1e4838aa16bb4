//! What a drawing says of a characteristic: the dimension with its tolerance as typed, with the limits that follow from a
//! class of ISO 286-1, or the tolerance frame of ISO 1101.

use rust_decimal::Decimal;

use super::glyphs::Glyph;
use super::row::{Piece, Row};
use crate::exercise::model::{Characteristic, Exercise, Feature, Owner, Quantity, Shape};
use crate::metrology::tolerance::Tolerance;
use crate::units::{show_length, show_number, show_signed};

/// How much is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Say {
    /// Classes of ISO 286-1 with the limits that follow.
    Limits,
    /// Classes alone, where room is short; the table has the limits.
    Classes,
}

/// Letters that features have as datums of others.
pub(super) type Letters = std::collections::BTreeMap<usize, char>;

/// The row of a characteristic.
pub(super) fn row(exercise: &Exercise, letters: &Letters, say: Say, c: &Characteristic) -> Row {
    let run = if c.of.is_geometrical() {
        vec![frame(exercise, letters, c)]
    } else {
        let mut run = before(exercise, c);
        run.extend(dimension(exercise, say, c));
        run.extend(after(exercise, c));
        run
    };
    Row {
        nos: vec![c.no.to_string()],
        run,
    }
}

fn feature<'a>(exercise: &'a Exercise, c: &Characteristic) -> Option<&'a Feature> {
    match c.owner {
        Owner::Feature(i) => exercise.features.get(i),
        Owner::Between(_) => None,
    }
}

fn before(exercise: &Exercise, c: &Characteristic) -> Vec<Piece> {
    let words = |w: &str| vec![Piece::Words(w.to_owned())];
    match c.of {
        Quantity::Diameter => diameter(feature(exercise, c)),
        Quantity::Length => words("length"),
        Quantity::Width => words("width"),
        Quantity::X | Quantity::Y | Quantity::Z => {
            vec![Piece::Text(c.of.axis().map_or(' ', |a| a.letter()).to_string())]
        }
        _ => Vec::new(),
    }
}

/// What stands before a diameter.
pub(super) fn diameter(feature: Option<&Feature>) -> Vec<Piece> {
    let sphere = feature.is_some_and(|f| matches!(f.shape, Shape::Sphere { .. }));
    let mark = Piece::Mark(Glyph::Diameter);
    if sphere {
        vec![Piece::Text("S".to_owned()), mark]
    } else {
        vec![mark]
    }
}

fn after(exercise: &Exercise, c: &Characteristic) -> Vec<Piece> {
    let to = |what: String| vec![Piece::Words(format!("to {what}"))];
    match (c.of, feature(exercise, c).map(|f| &f.shape)) {
        (Quantity::Angle, Some(Shape::Line { .. } | Shape::Slot { .. })) => to("X".to_owned()),
        (Quantity::Angle, Some(Shape::Plane { .. })) => c.datum.map_or_else(Vec::new, |d| to(d.to_string())),
        (Quantity::Diameter | Quantity::Width, Some(shape)) => depth(shape),
        _ => Vec::new(),
    }
}

/// How deep a hole or slot is; nothing for what goes through, and for what stands on the plate its height.
pub(super) fn depth(shape: &Shape) -> Vec<Piece> {
    match shape {
        Shape::Circle { depth: Some(d), .. }
        | Shape::Slot { depth: Some(d), .. }
        | Shape::Cylinder { depth: Some(d), .. }
        | Shape::Cone { depth: Some(d), .. } => {
            vec![Piece::Mark(Glyph::Depth), Piece::Text(show_number(d.normalize()))]
        }
        _ => Vec::new(),
    }
}

/// Nominal and tolerance of a size, place or angle.
pub(super) fn dimension(exercise: &Exercise, say: Say, c: &Characteristic) -> Vec<Piece> {
    let unit = if c.of.is_angle() { "°" } else { "" };
    let nominal = nominal(exercise, c.nominal, c.of);
    let stack = |upper: Decimal, lower: Decimal| {
        let places = upper.normalize().scale().max(lower.normalize().scale());
        let signed = |v: Decimal| {
            format!(
                "{}{unit}",
                if v.is_zero() {
                    "0".to_owned()
                } else {
                    show_signed(v, places)
                }
            )
        };
        Piece::Stack([signed(upper), signed(lower)])
    };
    let limits = |upper: Decimal, lower: Decimal| {
        let places = exercise
            .decimals
            .max(upper.normalize().scale())
            .max(lower.normalize().scale());
        Piece::Stack([upper, lower].map(|v| format!("{}{unit}", show_length(v, places))))
    };
    if c.tolerance_is_general {
        return vec![Piece::Text(nominal)];
    }
    match (&c.tolerance, c.limits.lower, c.limits.upper) {
        (Tolerance::PlusMinus(amount), ..) => vec![Piece::Text(format!("{nominal} ±{amount}{unit}"))],
        (Tolerance::Deviations { upper, lower }, ..) => vec![Piece::Text(nominal), stack(*upper, *lower)],
        (Tolerance::Limits { upper, lower }, ..) => vec![limits(*upper, *lower)],
        (Tolerance::Max(most), ..) => vec![Piece::Text(format!("{most}{unit}")), Piece::Words("max.".to_owned())],
        (Tolerance::IsoClass(class), ..) if say == Say::Classes => vec![Piece::Text(format!("{nominal} {class}"))],
        (Tolerance::IsoClass(class), Some(lower), Some(upper)) => vec![
            Piece::Text(format!("{nominal} {class}")),
            Piece::Text("(".to_owned()),
            limits(upper, lower),
            Piece::Text(")".to_owned()),
        ],
        (Tolerance::General(_), Some(lower), Some(upper)) if upper - c.nominal == c.nominal - lower => {
            vec![Piece::Text(format!(
                "{nominal} ±{}{unit}",
                (upper - c.nominal).normalize()
            ))]
        }
        (_, Some(lower), Some(upper)) => vec![Piece::Text(nominal), stack(upper - c.nominal, lower - c.nominal)],
        _ => vec![Piece::Text(format!("{nominal} {}", c.tolerance.shown()))],
    }
}

/// A nominal in the places of the exercise; of an angle in its own.
pub(super) fn nominal(exercise: &Exercise, value: Decimal, of: Quantity) -> String {
    if of.is_angle() {
        format!("{}°", show_number(value.normalize()))
    } else {
        show_length(value, exercise.decimals)
    }
}

/// A theoretically exact dimension (ISO 1101): in a box, without a tolerance.
pub(super) fn exact(exercise: &Exercise, value: Decimal) -> Piece {
    Piece::Frame(vec![vec![Piece::Text(show_length(value, exercise.decimals))]])
}

/// The datum symbol of a feature that others are judged from.
pub(super) fn datum_letter(letter: char) -> Row {
    Row {
        nos: Vec::new(),
        run: vec![
            Piece::Mark(Glyph::Triangle),
            Piece::Frame(vec![vec![Piece::Text(letter.to_string())]]),
        ],
    }
}

fn frame(exercise: &Exercise, letters: &Letters, c: &Characteristic) -> Piece {
    let mut zone = Vec::new();
    if is_round_zone(exercise, c) {
        zone.push(Piece::Mark(Glyph::Diameter));
    }
    let most = match c.tolerance {
        Tolerance::Max(most) => most.to_string(),
        _ => c
            .limits
            .upper
            .map_or_else(|| c.tolerance.shown(), |u| u.normalize().to_string()),
    };
    zone.push(Piece::Text(most));
    if c.maximum_material {
        zone.push(Piece::Ringed("M"));
    }
    let mut cells = vec![vec![Piece::Mark(symbol(c.of))], zone];
    cells.extend(
        datums(exercise, letters, c)
            .into_iter()
            .map(|d| vec![Piece::Text(d.to_string())]),
    );
    Piece::Frame(cells)
}

/// Zones of axes are round; those of slots and faces lie between two planes.
fn is_round_zone(exercise: &Exercise, c: &Characteristic) -> bool {
    let round = |f: &Feature| {
        matches!(
            f.shape,
            Shape::Circle { .. } | Shape::Cylinder { .. } | Shape::Cone { .. }
        )
    };
    match c.of {
        Quantity::Coaxiality => true,
        Quantity::Position | Quantity::Perpendicularity => feature(exercise, c).is_some_and(round),
        _ => false,
    }
}

fn datums(exercise: &Exercise, letters: &Letters, c: &Characteristic) -> Vec<char> {
    if c.of == Quantity::Position {
        return exercise.datum_frame.all().iter().map(|d| d.letter).collect();
    }
    let other = match c.owner {
        Owner::Between(i) => exercise.between.get(i).and_then(|b| letters.get(&b.features[1])),
        Owner::Feature(_) => None,
    };
    c.datum.or_else(|| other.copied()).into_iter().collect()
}

const fn symbol(of: Quantity) -> Glyph {
    match of {
        Quantity::Straightness => Glyph::Straightness,
        Quantity::Flatness => Glyph::Flatness,
        Quantity::Roundness => Glyph::Roundness,
        Quantity::Cylindricity => Glyph::Cylindricity,
        Quantity::Parallelism => Glyph::Parallelism,
        Quantity::Perpendicularity => Glyph::Perpendicularity,
        Quantity::Coaxiality => Glyph::Coaxiality,
        Quantity::Position => Glyph::Position,
        _ => Glyph::Profile,
    }
}

/// Letters for the features that others are judged from, after those of the datum frame; I, O and Q are left out (ISO 5459).
pub(super) fn letters(exercise: &Exercise) -> Letters {
    let used: Vec<char> = exercise.datum_frame.all().iter().map(|d| d.letter).collect();
    let mut free = ('A'..='W').filter(|l| !used.contains(l) && !matches!(l, 'I' | 'O' | 'Q'));
    let mut letters = Letters::new();
    for c in exercise.characteristics.iter().filter(|c| c.of.is_geometrical()) {
        if let Owner::Between(i) = c.owner
            && let Some(pair) = exercise.between.get(i)
            && !letters.contains_key(&pair.features[1])
            && let Some(letter) = free.next()
        {
            letters.insert(pair.features[1], letter);
        }
    }
    letters
}
