//! The exercise turned by a quarter about Z, so that what runs along Y runs along X: the section across is the section of it.

use rust_decimal::Decimal;

use super::paper::Point;
use crate::exercise::model::{Exercise, Shape};

/// The part turned clockwise, seen from above: X becomes what Y was, and Y what -X was. Coordinates of characteristics are
/// those of the print still.
pub(super) fn turned(exercise: &Exercise) -> Exercise {
    let mut new = exercise.clone();
    for corner in &mut new.body.outline {
        *corner = [corner[1], -corner[0]];
    }
    for feature in &mut new.features {
        feature.shape = shape(&feature.shape);
    }
    new
}

/// A place of the turned part where it is on the part itself.
pub(super) fn back(p: Point) -> Point {
    [-p[1], p[0]]
}

fn place(p: [Decimal; 3]) -> [Decimal; 3] {
    [p[1], -p[0], p[2]]
}

fn way(d: [f64; 3]) -> [f64; 3] {
    [d[1], -d[0], d[2]]
}

fn shape(shape: &Shape) -> Shape {
    let mut new = shape.clone();
    match &mut new {
        Shape::Point { at, normal } => (*at, *normal) = (place(*at), way(*normal)),
        Shape::Line { from, to, normal } => (*from, *to, *normal) = (place(*from), place(*to), way(*normal)),
        Shape::Plane { at, normal, size } => {
            (*at, *normal) = (place(*at), way(*normal));
            // Of a level face the extents are along X and Y; of the others the first one is level.
            if normal[2].abs() > 1.0 - 1e-6 {
                size.swap(0, 1);
            }
        }
        Shape::Circle { at, .. } | Shape::Sphere { at, .. } => *at = place(*at),
        Shape::Slot { at, angle, .. } => (*at, *angle) = (place(*at), *angle - Decimal::from(90)),
        Shape::Cylinder { at, axis, .. } | Shape::Cone { at, axis, .. } => (*at, *axis) = (place(*at), way(*axis)),
    }
    new
}
