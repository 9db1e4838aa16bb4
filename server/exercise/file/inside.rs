//! Whether a feature can be on its body.

use rust_decimal::Decimal;

use super::body_space::BodySpace;
use super::neighbours;
use super::problem::Sink;
use super::section::Section;
use crate::exercise::model::{Feature, Shape, Side};
use crate::units::decimal_to_f64;

const IN_BODY: &str =
    "The top face is z = 0, with negative z below it. Mend the place, or the outline and the thickness of the body.";

/// Reports what lies outside the body, is bigger than it, or goes deeper than it is thick.
pub(super) fn check(section: &Section<'_>, feature: &Feature, space: &BodySpace, sink: &mut Sink<'_>) {
    let outside = feature.side == Some(Side::Outside);
    match &feature.shape {
        Shape::Point { at, .. } => place(section, "at", at, space, sink),
        Shape::Line { from, to, .. } => {
            place(section, "from", from, space, sink);
            place(section, "to", to, space, sink);
        }
        Shape::Plane { at, size, .. } => {
            place(section, "at", at, space, sink);
            face_size(section, size, space, sink);
        }
        Shape::Circle { at, diameter, depth } => {
            Hole::new(at, diameter, depth, outside).check(section, space, sink);
        }
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
        } => {
            let hole = Hole::new(at, diameter, depth, outside);
            if is_vertical(*axis) {
                hole.check(section, space, sink);
            } else {
                hole.check_slanted(section, *axis, space, sink);
            }
            cone_ends(section, feature, space, sink);
        }
        Shape::Slot {
            at,
            length,
            width,
            angle,
            depth,
        } => {
            let hole = Hole::new(at, width, depth, outside);
            hole.check_depth(section, space, sink);
            if hole.check_place(section, space, sink) {
                slot_ends(section, at, [*length, *width], *angle, outside, space, sink);
            }
        }
        Shape::Sphere { at, diameter } => {
            Hole::new(at, diameter, &None, true).check_bigger(section, space, sink);
            ball(section, at, space, sink);
        }
    }
}

fn face_size(section: &Section<'_>, size: &[Decimal; 2], space: &BodySpace, sink: &mut Sink<'_>) {
    if decimal_to_f64(size[0].max(size[1])) > space.diagonal() {
        let what = format!("the face is {} by {}, longer than the body", size[0], size[1]);
        sink.error(section.value_at("size"), what, IN_BODY);
    }
}

/// The middle of a ball can stand above the top face.
fn ball(section: &Section<'_>, at: &[Decimal; 3], space: &BodySpace, sink: &mut Sink<'_>) {
    let p = at.map(decimal_to_f64);
    if !space.plan.holds([p[0], p[1]]) || p[2] < -space.thickness {
        report_place(section, "at", at, sink);
    }
}

fn is_vertical(axis: [f64; 3]) -> bool {
    axis[0].hypot(axis[1]) < 1e-6
}

/// A place that a tip touches: in the body's plan, not below it. Above the top face there can be a boss.
fn place(section: &Section<'_>, key: &str, at: &[Decimal; 3], space: &BodySpace, sink: &mut Sink<'_>) {
    let p = at.map(decimal_to_f64);
    let above = p[2] > space.plan.tolerance();
    if !space.plan.holds([p[0], p[1]]) || (!above && !space.holds_height(p[2])) {
        report_place(section, key, at, sink);
    } else if above && !space.raised {
        let what = format!("z = {} is above the top face, which is z = 0", at[2]);
        sink.warn(
            section.value_at(key),
            what,
            "What lies below the top face has negative z; leave it if this is on a boss.",
        );
    }
}

fn report_place(section: &Section<'_>, key: &str, at: &[Decimal; 3], sink: &mut Sink<'_>) {
    let [x, y, z] = at;
    sink.error(
        section.value_at(key),
        format!("the place x = {x}, y = {y}, z = {z} is outside the body"),
        IN_BODY,
    );
}

/// A round feature along Z, or the width of a slot.
struct Hole<'a> {
    at: &'a [Decimal; 3],
    diameter: Decimal,
    depth: Option<Decimal>,
    outside: bool,
}

impl<'a> Hole<'a> {
    fn new(at: &'a [Decimal; 3], diameter: &Decimal, depth: &Option<Decimal>, outside: bool) -> Self {
        Self {
            at,
            diameter: *diameter,
            depth: *depth,
            outside,
        }
    }

    fn check(&self, section: &Section<'_>, space: &BodySpace, sink: &mut Sink<'_>) {
        self.check_depth(section, space, sink);
        if !self.check_place(section, space, sink) || !self.check_bigger(section, space, sink) {
            return;
        }
        let p = self.at.map(decimal_to_f64);
        let (centre, radius) = ([p[0], p[1]], decimal_to_f64(self.diameter) / 2.0);
        if !space.plan.holds_circle(centre, radius) {
            let what = format!("a diameter of {} at this place reaches over the outline", self.diameter);
            sink.warn(
                section.value_at("at"),
                what,
                "Leave it if the print has it so, and probe the part that is there.",
            );
        } else if !self.outside {
            neighbours::to_side(section, centre, radius, space, sink);
        }
    }

    /// Whether the middle lies in the body's plan and at a height that can be.
    fn check_place(&self, section: &Section<'_>, space: &BodySpace, sink: &mut Sink<'_>) -> bool {
        let p = self.at.map(decimal_to_f64);
        let height = space.holds_height(p[2]) || (self.outside && p[2] > 0.0);
        if !space.plan.holds([p[0], p[1]]) || !height {
            report_place(section, "at", self.at, sink);
            return false;
        }
        true
    }

    fn check_bigger(&self, section: &Section<'_>, space: &BodySpace, sink: &mut Sink<'_>) -> bool {
        let room = space.length(0).min(space.length(1));
        if decimal_to_f64(self.diameter) > room {
            let what = format!("the diameter {} is bigger than the body", self.diameter);
            sink.error(
                section.value_at("diameter"),
                what,
                format!("The body is {room} across at its narrower side."),
            );
            return false;
        }
        true
    }

    fn check_depth(&self, section: &Section<'_>, space: &BodySpace, sink: &mut Sink<'_>) {
        let Some(depth) = self.depth else { return };
        let bottom = decimal_to_f64(self.at[2] - depth);
        let room = decimal_to_f64(self.at[2]) + space.thickness;
        if bottom < -space.thickness - space.plan.tolerance() && room >= 0.0 {
            let what = format!("a depth of {depth} from z = {} goes beyond the thickness", self.at[2]);
            sink.error(
                section.value_at("depth"),
                what,
                format!("There are {room} down to the bottom face."),
            );
        }
    }

    /// With any other axis one of its ends must lie in the body.
    fn check_slanted(&self, section: &Section<'_>, axis: [f64; 3], space: &BodySpace, sink: &mut Sink<'_>) {
        let p = self.at.map(decimal_to_f64);
        let depth = self.depth.map_or_else(|| space.diagonal(), decimal_to_f64);
        if self.outside {
            if !space.plan.holds([p[0], p[1]]) {
                report_place(section, "at", self.at, sink);
            }
        } else if !space.holds(p) {
            report_place(section, "at", self.at, sink);
        } else if self.depth.is_some() {
            let end = |sign: f64| [0, 1, 2].map(|i| p[i] + sign * axis[i] * depth);
            if !space.holds(end(-1.0)) && !space.holds(end(1.0)) {
                let what = format!("a depth of {depth} goes out of the body on the other side");
                sink.error(
                    section.value_at("depth"),
                    what,
                    "Shorten it, or leave `depth` out for a hole that goes through.",
                );
            }
        }
        self.check_bigger_than_side(section, space, sink);
    }

    fn check_bigger_than_side(&self, section: &Section<'_>, space: &BodySpace, sink: &mut Sink<'_>) {
        if !self.outside && decimal_to_f64(self.diameter) > space.diagonal() {
            let what = format!("the diameter {} is bigger than the body", self.diameter);
            sink.error(section.value_at("diameter"), what, "Make it smaller.");
        }
    }
}

/// An inside cone narrows into the material and must not come to its point before its depth.
fn cone_ends(section: &Section<'_>, feature: &Feature, space: &BodySpace, sink: &mut Sink<'_>) {
    let (
        Shape::Cone {
            angle,
            diameter,
            depth: Some(depth),
            ..
        },
        Some(Side::Inside),
    ) = (&feature.shape, feature.side)
    else {
        return;
    };
    let point = decimal_to_f64(*diameter) / 2.0 / (decimal_to_f64(*angle) / 2.0).to_radians().tan();
    if decimal_to_f64(*depth) > point + space.plan.tolerance() {
        let what = format!("the cone is {depth} deep and comes to its point before that");
        sink.error(
            section.value_at("depth"),
            what,
            format!("Its point is {point:.3} below its diameter."),
        );
    }
}

fn slot_ends(
    section: &Section<'_>,
    at: &[Decimal; 3],
    [length, width]: [Decimal; 2],
    angle: Decimal,
    outside: bool,
    space: &BodySpace,
    sink: &mut Sink<'_>,
) {
    if decimal_to_f64(length) > space.diagonal() {
        sink.error(
            section.value_at("length"),
            format!("the slot is {length} long, longer than the body"),
            "Shorten it.",
        );
        return;
    }
    let p = at.map(decimal_to_f64);
    let (sin, cos) = decimal_to_f64(angle).to_radians().sin_cos();
    let half = decimal_to_f64(length - width) / 2.0;
    let end = |sign: f64| [p[0] + sign * half * cos, p[1] + sign * half * sin];
    let radius = decimal_to_f64(width) / 2.0;
    let ends = [end(1.0), end(-1.0)];
    if ends.iter().any(|e| !space.plan.holds_circle(*e, radius)) {
        let what = "the slot reaches over the outline";
        sink.warn(
            section.value_at("at"),
            what,
            "Leave it if the print has it so, and probe the part that is there.",
        );
        return;
    }
    let nearest = if space.plan.to_edge(ends[0]) < space.plan.to_edge(ends[1]) {
        ends[0]
    } else {
        ends[1]
    };
    if !outside {
        neighbours::to_side(section, nearest, radius, space, sink);
    }
}
