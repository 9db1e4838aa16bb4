//! What can be measured on a feature and between two, as far as kinds and directions allow.

use crate::exercise::geometry::{distance_kind, dot};
use crate::exercise::model::{Axis, Feature, Quantity, Shape};
use crate::units::decimal_to_f64;

/// Sine of the angle within which two directions count as parallel or square: a tenth of a degree.
const NEAR: f64 = 0.001_75;

/// The axis that a direction runs along, either way.
pub(super) fn along_axis(direction: [f64; 3]) -> Option<Axis> {
    [Axis::X, Axis::Y, Axis::Z]
        .into_iter()
        .find(|axis| direction[axis.index()].abs() >= 1.0 - NEAR * NEAR / 2.0)
}

const fn coordinate(axis: Axis) -> Quantity {
    match axis {
        Axis::X => Quantity::X,
        Axis::Y => Quantity::Y,
        Axis::Z => Quantity::Z,
    }
}

/// The quantities that a characteristic of the feature can be of.
#[must_use]
pub fn of_feature(shape: &Shape) -> Vec<Quantity> {
    match shape {
        Shape::Point { normal, .. } => along_axis(*normal).map(coordinate).into_iter().collect(),
        Shape::Line { normal, .. } => {
            let mut all: Vec<Quantity> = line_coordinate(shape, *normal).into_iter().collect();
            if normal[2].abs() < 1.0 - NEAR && line_lies_in_plan(shape) {
                all.push(Quantity::Angle);
            }
            all.push(Quantity::Straightness);
            all
        }
        Shape::Plane { normal, .. } => {
            let rest = [
                Quantity::Flatness,
                Quantity::Parallelism,
                Quantity::Perpendicularity,
                Quantity::Angle,
            ];
            along_axis(*normal).map(coordinate).into_iter().chain(rest).collect()
        }
        Shape::Circle { .. } => {
            vec![
                Quantity::X,
                Quantity::Y,
                Quantity::Diameter,
                Quantity::Roundness,
                Quantity::Position,
            ]
        }
        Shape::Slot { .. } => vec![
            Quantity::X,
            Quantity::Y,
            Quantity::Length,
            Quantity::Width,
            Quantity::Angle,
            Quantity::Position,
        ],
        Shape::Cylinder { axis, .. } => {
            let plan = in_plan(*axis);
            let rest = [Quantity::Diameter, Quantity::Perpendicularity, Quantity::Cylindricity];
            let position = (plan.len() == 2).then_some(Quantity::Position);
            plan.into_iter().chain(rest).chain(position).collect()
        }
        Shape::Cone { axis, .. } => in_plan(*axis)
            .into_iter()
            .chain([Quantity::Angle, Quantity::Diameter])
            .collect(),
        Shape::Sphere { .. } => {
            vec![
                Quantity::X,
                Quantity::Y,
                Quantity::Z,
                Quantity::Diameter,
                Quantity::Form,
            ]
        }
    }
}

/// The coordinates that say where an axis stands in plan view: one along which it runs is none of its own.
fn in_plan(axis: [f64; 3]) -> Vec<Quantity> {
    let along = along_axis(axis).map(coordinate);
    [Quantity::X, Quantity::Y]
        .into_iter()
        .filter(|q| along != Some(*q))
        .collect()
}

/// The coordinate of a line: across its direction, in the plane that its direction and normal span.
fn line_coordinate(shape: &Shape, normal: [f64; 3]) -> Option<Quantity> {
    along_axis(direction(shape)?)?;
    along_axis(normal).map(coordinate)
}

fn line_lies_in_plan(shape: &Shape) -> bool {
    direction(shape).is_some_and(|d| d[2].abs() < 1.0 - NEAR)
}

/// Direction of lines and slots, axis of cylinders and cones; the others have none in this sense.
fn direction(shape: &Shape) -> Option<[f64; 3]> {
    match shape {
        Shape::Line { from, to, .. } => {
            let way = [0, 1, 2].map(|i| decimal_to_f64(to[i] - from[i]));
            let length = dot(way, way).sqrt();
            Some(way.map(|c| c / length))
        }
        Shape::Slot { angle, .. } => {
            let (sin, cos) = decimal_to_f64(*angle).to_radians().sin_cos();
            Some([cos, sin, 0.0])
        }
        Shape::Cylinder { axis, .. } | Shape::Cone { axis, .. } => Some(*axis),
        _ => None,
    }
}

/// Why a quantity cannot be planted on a feature, or nothing where it can.
///
/// Places move a centre along x and y (a ball's along z too) and a surface along the axes that its normal has a part
/// in; a position follows from them.
pub(super) fn can_be_planted(shape: &Shape, quantity: Quantity) -> bool {
    match (quantity.axis(), shape.normal()) {
        (Some(axis), Some(normal)) => normal[axis.index()].abs() > NEAR,
        (None, _) if quantity == Quantity::Position => false,
        _ => of_feature(shape).contains(&quantity),
    }
}

/// All quantities that can be planted on a feature.
pub(super) fn plantable(shape: &Shape) -> Vec<Quantity> {
    Quantity::ALL
        .iter()
        .map(|(_, q)| *q)
        .filter(|q| can_be_planted(shape, *q))
        .collect()
}

/// How two directions stand to each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stand {
    Parallel,
    Square,
    Other,
}

/// How two features with directions stand: `None` where one has none.
fn stand(first: &Shape, second: &Shape) -> Option<Stand> {
    // A face is told by its normal, all others by their own direction.
    let told = |shape: &Shape| match shape {
        Shape::Plane { normal, .. } => Some((*normal, true)),
        Shape::Cone { .. } => None,
        other => direction(other).map(|d| (d, false)),
    };
    let ((a, a_face), (b, b_face)) = (told(first)?, told(second)?);
    let cosine = dot(a, b).abs();
    let (like, across) = (cosine >= 1.0 - NEAR * NEAR / 2.0, cosine <= NEAR);
    Some(match (like, across, a_face == b_face) {
        (true, _, true) | (_, true, false) => Stand::Parallel,
        (_, true, true) | (true, _, false) => Stand::Square,
        _ => Stand::Other,
    })
}

/// The quantities that two features can have between them.
pub(super) fn of_pair(first: &Feature, second: &Feature) -> Vec<Quantity> {
    let (a, b) = (&first.shape, &second.shape);
    let in_line = |s: &Shape| matches!(s, Shape::Line { .. } | Shape::Slot { .. });
    let face = |s: &Shape| matches!(s, Shape::Plane { .. });
    let mut all = Vec::new();
    if distance_kind(a, b).is_some() && !lines_cross(a, b) {
        all.push(Quantity::Distance);
    }
    if (in_line(a) && in_line(b)) || (face(a) && face(b)) {
        all.push(Quantity::Angle);
    }
    match stand(a, b) {
        Some(Stand::Parallel) => all.push(Quantity::Parallelism),
        Some(Stand::Square) => all.push(Quantity::Perpendicularity),
        Some(Stand::Other) | None => {}
    }
    if coaxial(a, b) {
        all.push(Quantity::Coaxiality);
    }
    all
}

/// Two lines on parallel faces that do not run the same way have no distance to speak of.
fn lines_cross(a: &Shape, b: &Shape) -> bool {
    matches!((a, b), (Shape::Line { .. }, Shape::Line { .. })) && stand(a, b) != Some(Stand::Parallel)
}

/// Round features that stand along Z on the same place of the print.
fn coaxial(a: &Shape, b: &Shape) -> bool {
    let (Some(p), Some(q)) = (upright(a), upright(b)) else {
        return false;
    };
    (p[0] - q[0]).hypot(p[1] - q[1]) < 1e-6
}

/// Centre of a round feature whose axis is along Z.
fn upright(shape: &Shape) -> Option<[f64; 2]> {
    match shape {
        Shape::Circle { at, .. } | Shape::Sphere { at, .. } => Some([at[0], at[1]].map(decimal_to_f64)),
        Shape::Cylinder { at, axis, .. } | Shape::Cone { at, axis, .. } if along_axis(*axis) == Some(Axis::Z) => {
            Some([at[0], at[1]].map(decimal_to_f64))
        }
        _ => None,
    }
}

/// Whether a face or axis stands to a datum face as an orientation says.
pub(super) fn stands_to_datum(shape: &Shape, datum_normal: [f64; 3], quantity: Quantity) -> bool {
    let (own, face) = match shape {
        Shape::Plane { normal, .. } => (*normal, true),
        Shape::Cylinder { axis, .. } => (*axis, false),
        _ => return true,
    };
    let cosine = dot(own, datum_normal).abs();
    let (like, across) = (cosine >= 1.0 - NEAR * NEAR / 2.0, cosine <= NEAR);
    match quantity {
        Quantity::Parallelism => {
            if face {
                like
            } else {
                across
            }
        }
        Quantity::Perpendicularity => {
            if face {
                across
            } else {
                like
            }
        }
        _ => true,
    }
}
