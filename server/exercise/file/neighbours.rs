//! Holes and slots against each other and against the faces of the body: none may run into another, and the wall that
//! stays must be one that can be made.

use super::body_space::BodySpace;
use super::problem::Sink;
use super::section::Section;
use crate::exercise::model::{Feature, Shape, Side};
use crate::units::{LengthUnit, decimal_to_f64};

/// Thinnest wall in millimetres that is still made and clamped without trouble (common practice, no published source).
const THINNEST_MM: f64 = 1.0;

/// The same in the unit of the exercise.
pub(super) fn thinnest(unit: LengthUnit) -> f64 {
    match unit {
        LengthUnit::Mm => THINNEST_MM,
        LengthUnit::Inch => THINNEST_MM / 25.4,
    }
}

/// A hole or slot, or a pin or boss, that stands along Z: the middle line of its ends in plan view, its radius, and from
/// where to where it goes.
struct Standing<'f> {
    feature: &'f Feature,
    ends: [[f64; 2]; 2],
    radius: f64,
    low: f64,
    high: f64,
}

impl<'f> Standing<'f> {
    fn new(feature: &'f Feature, space: &BodySpace) -> Option<Self> {
        let up = |axis: &[f64; 3]| axis[0].hypot(axis[1]) < 1e-6;
        let (at, across, length, angle, depth) = match &feature.shape {
            Shape::Circle { at, diameter, depth } => (at, diameter, None, None, depth),
            Shape::Cylinder {
                at,
                axis,
                diameter,
                depth,
            }
            | Shape::Cone {
                at,
                axis,
                diameter,
                depth,
                ..
            } if up(axis) => (at, diameter, None, None, depth),
            Shape::Slot {
                at,
                length,
                width,
                angle,
                depth,
            } => (at, width, Some(length), Some(angle), depth),
            _ => return None,
        };
        let [x, y, z] = at.map(decimal_to_f64);
        // What is off the body or bigger than it has its own message.
        let room = space.length(0).min(space.length(1));
        if !space.plan.holds([x, y]) || decimal_to_f64(*across) > room {
            return None;
        }
        let half = length.map_or(0.0, |l| decimal_to_f64(l - across) / 2.0);
        let (sin, cos) = angle.map_or(0.0, |a| decimal_to_f64(*a)).to_radians().sin_cos();
        let end = |sign: f64| [x + sign * half * cos, y + sign * half * sin];
        Some(Self {
            feature,
            ends: [end(-1.0), end(1.0)],
            radius: decimal_to_f64(*across) / 2.0,
            low: depth.map_or(-space.thickness, |d| z - decimal_to_f64(d)),
            high: z,
        })
    }

    fn is_hole(&self) -> bool {
        self.feature.side != Some(Side::Outside)
    }

    /// Between the middle lines in plan view.
    fn apart(&self, other: &Self) -> f64 {
        let here = self.ends.iter().map(|p| to_segment(*p, other.ends));
        let there = other.ends.iter().map(|p| to_segment(*p, self.ends));
        if cross(self.ends, other.ends) {
            return 0.0;
        }
        here.chain(there).fold(f64::INFINITY, f64::min)
    }

    fn meets_in_height(&self, other: &Self, tolerance: f64) -> bool {
        self.high.min(other.high) - self.low.max(other.low) > tolerance
    }
}

fn to_segment(p: [f64; 2], [a, b]: [[f64; 2]; 2]) -> f64 {
    let (along, to) = ([b[0] - a[0], b[1] - a[1]], [p[0] - a[0], p[1] - a[1]]);
    let squared = along[0] * along[0] + along[1] * along[1];
    let share = if squared > 0.0 {
        ((to[0] * along[0] + to[1] * along[1]) / squared).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (to[0] - share * along[0]).hypot(to[1] - share * along[1])
}

fn cross([a, b]: [[f64; 2]; 2], [c, d]: [[f64; 2]; 2]) -> bool {
    let side = |p: [f64; 2], q: [f64; 2], r: [f64; 2]| (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]);
    side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0
}

/// Reports what runs into something before it, and walls that are too thin. What stands on one axis may run into each
/// other: counterbores, countersinks, a pin in its bore.
pub(super) fn check(sections: &[Section<'_>], features: &[Option<&Feature>], space: &BodySpace, sink: &mut Sink<'_>) {
    let tolerance = space.plan.tolerance();
    let mut before: Vec<Standing<'_>> = Vec::new();
    for (section, feature) in sections.iter().zip(features) {
        let Some(standing) = feature.and_then(|f| Standing::new(f, space)) else {
            continue;
        };
        for other in &before {
            let apart = standing.apart(other);
            let alike = standing.is_hole() == other.is_hole();
            if !alike || apart <= tolerance || !standing.meets_in_height(other, tolerance) {
                continue;
            }
            let gap = apart - standing.radius - other.radius;
            pair(section, &standing, other, gap, space, sink);
        }
        if standing.is_hole() {
            floor(section, &standing, space, sink);
        }
        before.push(standing);
    }
}

fn pair(
    section: &Section<'_>,
    here: &Standing<'_>,
    other: &Standing<'_>,
    gap: f64,
    space: &BodySpace,
    sink: &mut Sink<'_>,
) {
    let (a, b) = (&here.feature.name, &other.feature.name);
    let tolerance = space.plan.tolerance();
    if gap < -tolerance {
        let what = format!("{a} and {b} overlap by {}", figure(-gap));
        let mend = "Move one of the two or make it smaller; only what stands on one axis may run into each other.";
        sink.error(section.value_at("at"), what, mend);
    } else if here.is_hole() && gap < space.thinnest - tolerance {
        let what = format!("the wall between {a} and {b} is {}", figure(gap.max(0.0)));
        sink.error(section.value_at("at"), what, thicker(space));
    }
}

/// A blind hole that nearly goes through.
fn floor(section: &Section<'_>, here: &Standing<'_>, space: &BodySpace, sink: &mut Sink<'_>) {
    let left = here.low + space.thickness;
    if left > space.plan.tolerance() && left < space.thinnest - space.plan.tolerance() && section.has("depth") {
        let what = format!("the depth leaves a floor of {} above the bottom face", figure(left));
        sink.error(
            section.value_at("depth"),
            what,
            format!("{} Leave the depth out for a hole that goes through.", thicker(space)),
        );
    }
}

/// A hole within the outline that nearly breaks through a side face.
pub(super) fn to_side(section: &Section<'_>, centre: [f64; 2], radius: f64, space: &BodySpace, sink: &mut Sink<'_>) {
    let wall = space.plan.to_edge(centre) - radius;
    if wall < space.thinnest - space.plan.tolerance() {
        let what = format!("the wall to the side of the body is {}", figure(wall.max(0.0)));
        sink.error(section.value_at("at"), what, thicker(space));
    }
}

fn thicker(space: &BodySpace) -> String {
    if (space.thinnest - THINNEST_MM).abs() < 1e-9 {
        return "A wall needs at least 1 mm.".to_owned();
    }
    format!("A wall needs at least 1 mm, which is {}.", figure(space.thinnest))
}

/// A length for a message.
fn figure(length: f64) -> String {
    let text = format!("{length:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
