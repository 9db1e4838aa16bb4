//! The nominal geometry of a feature by its kind.

use rust_decimal::Decimal;

use super::nearest::list_all;
use super::problem::Sink;
use super::section::Section;
use super::value::Found;
use crate::exercise::model::{Shape, Side};
use crate::units::decimal_to_f64;

/// Kind of a feature.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Point,
    Line,
    Plane,
    Circle,
    Slot,
    Cylinder,
    Cone,
    Sphere,
}

pub(super) const KINDS: [(&str, Kind); 8] = [
    ("point", Kind::Point),
    ("line", Kind::Line),
    ("plane", Kind::Plane),
    ("circle", Kind::Circle),
    ("slot", Kind::Slot),
    ("cylinder", Kind::Cylinder),
    ("cone", Kind::Cone),
    ("sphere", Kind::Sphere),
];

impl Kind {
    fn word(self) -> &'static str {
        KINDS
            .iter()
            .find(|(_, kind)| *kind == self)
            .map_or("", |(word, _)| word)
    }

    /// Keys of its geometry.
    fn keys(self) -> &'static [&'static str] {
        match self {
            Self::Point => &["at", "normal"],
            Self::Line => &["from", "to", "normal"],
            Self::Plane => &["at", "normal", "size"],
            Self::Circle => &["at", "diameter", "depth"],
            Self::Slot => &["at", "length", "width", "angle", "depth"],
            Self::Cylinder => &["at", "axis", "diameter", "depth"],
            Self::Cone => &["at", "axis", "angle", "diameter", "depth"],
            Self::Sphere => &["at", "diameter"],
        }
    }

    /// Side of the material where the author states none; `None` where there are no sides.
    pub(super) fn default_side(self) -> Option<Side> {
        match self {
            Self::Point | Self::Line | Self::Plane => None,
            Self::Sphere => Some(Side::Outside),
            Self::Circle | Self::Slot | Self::Cylinder | Self::Cone => Some(Side::Inside),
        }
    }
}

/// Keys that every feature can have.
const COMMON: [&str; 5] = ["key", "name", "kind", "points", "characteristic"];

/// Reports keys that other kinds have and this one has not.
pub(super) fn refuse_misplaced(section: &Section<'_>, kind: Kind, sink: &mut Sink<'_>) {
    let sided = if kind.default_side().is_some() {
        Some("side")
    } else {
        None
    };
    let suits = |key: &str| COMMON.contains(&key) || kind.keys().contains(&key) || sided == Some(key);
    for (key, _) in section.entries() {
        if super::feature::KEYS.iter().any(|(known, _)| *known == key.value) && !suits(key.value) {
            let what = format!("a {} has no `{}`", kind.word(), key.value);
            let keys = list_all(kind.keys().iter().copied().chain(sided));
            sink.error(key.at, what, format!("What describes it are {keys}."));
        }
    }
}

pub(super) fn read(section: &Section<'_>, kind: Kind, sink: &mut Sink<'_>) -> Option<Shape> {
    match kind {
        Kind::Line => line(section, sink),
        Kind::Point => {
            let (at, normal) = (place(section, "at", sink), normal(section, sink));
            Some(Shape::Point {
                at: at?,
                normal: normal?,
            })
        }
        Kind::Plane => {
            let (at, normal, size) = (place(section, "at", sink), normal(section, sink), size(section, sink));
            Some(Shape::Plane {
                at: at?,
                normal: normal?,
                size: size?,
            })
        }
        Kind::Circle => {
            let (at, diameter, depth) = (
                place(section, "at", sink),
                diameter(section, sink),
                depth(section, sink),
            );
            Some(Shape::Circle {
                at: at?,
                diameter: diameter?,
                depth: depth?,
            })
        }
        Kind::Slot => slot(section, sink),
        Kind::Cylinder => {
            let (at, axis) = (place(section, "at", sink), axis(section, sink));
            let (diameter, depth) = (diameter(section, sink), depth(section, sink));
            Some(Shape::Cylinder {
                at: at?,
                axis: axis?,
                diameter: diameter?,
                depth: depth?,
            })
        }
        Kind::Cone => cone(section, sink),
        Kind::Sphere => {
            let (at, diameter) = (place(section, "at", sink), diameter(section, sink));
            Some(Shape::Sphere {
                at: at?,
                diameter: diameter?,
            })
        }
    }
}

fn line(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<Shape> {
    let (from, to) = (place(section, "from", sink), place(section, "to", sink));
    let normal = normal(section, sink);
    let (from, to, normal) = (from?, to?, normal?);
    let way = [0, 1, 2].map(|i| decimal_to_f64(to[i] - from[i]));
    let length = norm(way);
    if length <= 0.0 {
        sink.error(
            section.value_at("to"),
            "the line ends where it begins",
            "Give its two ends.",
        );
        return None;
    }
    let along = (0..3).map(|i| way[i] * normal[i]).sum::<f64>() / length;
    if along.abs() > SQUARE {
        let what = "the normal of the line is not square to its direction";
        sink.error(
            section.value_at("normal"),
            what,
            "It points out of the material, across the line.",
        );
        return None;
    }
    Some(Shape::Line { from, to, normal })
}

/// Cosine within which two directions count as square: a tenth of a degree, for authors who round.
const SQUARE: f64 = 0.001_75;

fn slot(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<Shape> {
    let at = place(section, "at", sink);
    let (length, width) = (above_zero(section, "length", sink), above_zero(section, "width", sink));
    let angle: Option<Found<Decimal>> = section.need("angle", sink);
    let depth = depth(section, sink);
    let (at, length, width, angle, depth) = (at?, length?, width?, angle?, depth?);
    if length <= width {
        let what = format!("the slot is {length} long over all and {width} wide");
        sink.error(
            section.value_at("length"),
            what,
            "Its length goes over both round ends and is more than its width.",
        );
        return None;
    }
    if angle.value.abs() > Decimal::from(360) {
        sink.error(
            angle.at,
            format!("the slot lies at {} degrees", angle.value),
            "Give the angle from X, 0 to 180.",
        );
        return None;
    }
    Some(Shape::Slot {
        at,
        length,
        width,
        angle: angle.value,
        depth,
    })
}

fn cone(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<Shape> {
    let (at, axis) = (place(section, "at", sink), axis(section, sink));
    let angle = section.need::<Decimal>("angle", sink);
    let (diameter, depth) = (diameter(section, sink), depth(section, sink));
    let angle = angle?;
    if angle.value <= Decimal::ZERO || angle.value >= Decimal::from(180) {
        let what = format!("the full angle of the cone is {} degrees", angle.value);
        sink.error(angle.at, what, "It lies between 0 and 180.");
        return None;
    }
    Some(Shape::Cone {
        at: at?,
        axis: axis?,
        angle: angle.value,
        diameter: diameter?,
        depth: depth?,
    })
}

fn place(section: &Section<'_>, key: &str, sink: &mut Sink<'_>) -> Option<[Decimal; 3]> {
    section.need(key, sink).map(|found| found.value)
}

fn above_zero(section: &Section<'_>, key: &str, sink: &mut Sink<'_>) -> Option<Decimal> {
    section
        .need::<Decimal>(key, sink)
        .and_then(|found| found.above_zero(key, sink))
}

fn diameter(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<Decimal> {
    above_zero(section, "diameter", sink)
}

/// `Some(None)` is through.
fn depth(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<Option<Decimal>> {
    if !section.has("depth") {
        return Some(None);
    }
    section
        .get::<Decimal>("depth", sink)
        .and_then(|found| found.above_zero("depth", sink))
        .map(Some)
}

fn size(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<[Decimal; 2]> {
    let found: Found<[Decimal; 2]> = section.need("size", sink)?;
    if found.value.iter().any(|extent| *extent <= Decimal::ZERO) {
        let what = format!("the face measures {} by {}", found.value[0], found.value[1]);
        sink.error(found.at, what, "Both extents must be above zero.");
        return None;
    }
    Some(found.value)
}

fn normal(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<[f64; 3]> {
    unit(section.need("normal", sink)?, "normal", sink)
}

fn axis(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<[f64; 3]> {
    if !section.has("axis") {
        return Some([0.0, 0.0, 1.0]);
    }
    unit(section.get("axis", sink)?, "axis", sink)
}

/// Square of a length within which a direction counts as a unit vector already: the rounding of one that was made so,
/// which keeps what is written equal to what was read.
const UNIT: f64 = 1e-15;

fn unit(found: Found<[f64; 3]>, key: &str, sink: &mut Sink<'_>) -> Option<[f64; 3]> {
    let v = found.value;
    let largest = v.iter().fold(0.0_f64, |m, c| m.max(c.abs()));
    if !(1e-9..=1e9).contains(&largest) {
        let what = format!("`{key}` gives no direction");
        sink.error(found.at, what, "Write it as in [0, 0, 1]; its length does not matter.");
        return None;
    }
    let squared = v.iter().map(|c| c * c).sum::<f64>();
    Some(if (squared - 1.0).abs() < UNIT {
        v
    } else {
        v.map(|c| c / norm(v))
    })
}

fn norm(v: [f64; 3]) -> f64 {
    v.iter().map(|c| c * c).sum::<f64>().sqrt()
}
