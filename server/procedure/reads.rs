//! How every characteristic is read off the features as a procedure places them.
//!
//! p is a feature's true place in the correct part frame, p' the one that the procedure reports. Form does not see the
//! frame; orientations and angles to a datum turn with it; position is computed anew from p', after temperature, against
//! the nominal place; in-plane angles turn with the frame; distances of round features are taken in plan from p', those
//! of parallel faces along their normal.

use super::edit::Edit;
use super::model::{Model, Truth};
use crate::exercise::geometry::{FeatureState, datum_normal, distance_kind, dot, wrap_half_turn};
use crate::exercise::model::{Characteristic, DistanceKind, Exercise, Feature, Owner, Quantity, Shape, Side};
use crate::units::decimal_to_f64;

/// Buffers of a prediction, to be used again for the next one.
#[derive(Debug, Clone, Default)]
pub struct Work {
    /// Values in sheet order.
    pub values: Vec<f64>,
    /// p' of every feature.
    pub(super) places: Vec<[f64; 3]>,
    /// What x and y would be under exchanged columns, where the sheet does not have the other one.
    pub(super) crossed: Vec<f64>,
}

/// What a feature is on the print, as far as a procedure sees it.
#[derive(Debug, Clone)]
pub(super) struct Part {
    pub(super) at: [f64; 3],
    /// Outward normal of a measured surface.
    pub(super) normal: Option<[f64; 3]>,
}

impl Part {
    pub(super) fn new(feature: &Feature, nominal: &FeatureState) -> Self {
        Self {
            at: nominal.at,
            normal: feature.shape.normal(),
        }
    }
}

/// What of the procedure enters a value.
#[derive(Debug, Clone, Copy)]
pub(super) enum Kind {
    /// One coordinate of p'.
    Coordinate(usize),
    /// A size: an error of the tip's diameter enters with this sign.
    Size(f64),
    /// Plan-view angle of a line or slot.
    PlanAngle,
    /// Angle of a face to a datum: outward normals of both.
    FaceAngle { normal: [f64; 3], datum: [f64; 3] },
    /// Sees nothing of the procedure.
    Constant,
    /// A length that sees the temperature only: form, and orientation of one feature to another.
    Length,
    /// Orientation to a datum.
    Orientation { datum: [f64; 3], zone: Zone },
    /// Position; of a slot with the direction across its width.
    Position { across: Option<[f64; 2]> },
    /// Distance of centres in plan view.
    Centres([usize; 2]),
    /// Distance along one axis.
    Along([usize; 2], usize),
    /// Distance of parallel faces: an error of the tip's diameter enters with this sign.
    Faces(f64),
    /// Twice the distance of two axes.
    Coaxial([usize; 2]),
}

/// The surface or axis over which an orientation is evaluated.
#[derive(Debug, Clone, Copy)]
pub(super) enum Zone {
    /// A face: its normal, its two directions and its extents in them.
    Face {
        normal: [f64; 3],
        directions: [[f64; 3]; 2],
        size: [f64; 2],
    },
    /// An axis and its length.
    Axis { direction: [f64; 3], length: f64 },
}

/// A characteristic as it is read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Read {
    /// The feature, or the first of the pair.
    pub(super) feature: usize,
    pub(super) kind: Kind,
}

/// Prepares a characteristic.
pub(super) fn compile(exercise: &Exercise, nominal: &[FeatureState], c: &Characteristic) -> Read {
    match c.owner {
        Owner::Feature(i) => {
            let kind = exercise
                .features
                .get(i)
                .zip(nominal.get(i))
                .map(|(f, s)| of_feature(exercise, f, s, c));
            Read {
                feature: i,
                kind: kind.unwrap_or(Kind::Constant),
            }
        }
        Owner::Between(i) => {
            let pair = exercise.between.get(i).map_or([0, 0], |b| b.features);
            Read {
                feature: pair[0],
                kind: of_pair(exercise, pair, c),
            }
        }
    }
}

fn of_feature(exercise: &Exercise, feature: &Feature, nominal: &FeatureState, c: &Characteristic) -> Kind {
    let datum = datum_normal(&exercise.datum_frame, c.datum);
    match c.of {
        Quantity::X => Kind::Coordinate(0),
        Quantity::Y => Kind::Coordinate(1),
        Quantity::Z => Kind::Coordinate(2),
        Quantity::Diameter | Quantity::Length | Quantity::Width => {
            Kind::Size(if feature.side == Some(Side::Outside) { -1.0 } else { 1.0 })
        }
        Quantity::Angle => match feature.shape {
            Shape::Line { .. } | Shape::Slot { .. } => Kind::PlanAngle,
            Shape::Plane { normal, .. } => Kind::FaceAngle { normal, datum },
            _ => Kind::Constant,
        },
        Quantity::Parallelism | Quantity::Perpendicularity => {
            zone(feature, nominal).map_or(Kind::Length, |zone| Kind::Orientation { datum, zone })
        }
        Quantity::Position => {
            let slot = matches!(feature.shape, Shape::Slot { .. });
            let across = slot.then(|| {
                let (sin, cos) = nominal.angle.to_radians().sin_cos();
                [-sin, cos]
            });
            Kind::Position { across }
        }
        _ => Kind::Length,
    }
}

fn zone(feature: &Feature, nominal: &FeatureState) -> Option<Zone> {
    match &feature.shape {
        Shape::Plane { normal, size, .. } => {
            let (normal, size) = (*normal, size.map(decimal_to_f64));
            Some(Zone::Face {
                normal,
                directions: face_directions(normal),
                size,
            })
        }
        Shape::Cylinder { axis, .. } => Some(Zone::Axis {
            direction: *axis,
            length: nominal.length,
        }),
        _ => None,
    }
}

/// The two directions of a face, in which its `size` is given: the two other axes in the order x, y, z where the normal
/// is along one; otherwise the level one first, then the one up the slope.
#[must_use]
pub(super) fn face_directions(normal: [f64; 3]) -> [[f64; 3]; 2] {
    const UNIT: [[f64; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    let along = |axis: usize| normal[axis].abs() > 1.0 - 1e-9;
    if along(0) {
        [UNIT[1], UNIT[2]]
    } else if along(1) {
        [UNIT[0], UNIT[2]]
    } else if along(2) {
        [UNIT[0], UNIT[1]]
    } else {
        let flat = normal[0].hypot(normal[1]);
        let level = [-normal[1] / flat, normal[0] / flat, 0.0];
        [level, cross(normal, level)]
    }
}

fn of_pair(exercise: &Exercise, pair: [usize; 2], c: &Characteristic) -> Kind {
    let shape = |i: usize| exercise.features.get(i).map(|f| &f.shape);
    let kind = shape(pair[0])
        .zip(shape(pair[1]))
        .and_then(|(a, b)| distance_kind(a, b));
    match (c.of, c.along, kind) {
        (Quantity::Distance, Some(axis), _) => Kind::Along(pair, axis.index()),
        (Quantity::Distance, None, Some(DistanceKind::Centres)) => Kind::Centres(pair),
        (Quantity::Distance, None, Some(DistanceKind::Inside)) => Kind::Faces(1.0),
        (Quantity::Distance, None, Some(DistanceKind::Outside)) => Kind::Faces(-1.0),
        (Quantity::Distance, None, Some(DistanceKind::Step)) => Kind::Faces(0.0),
        (Quantity::Angle, ..) => Kind::Constant,
        (Quantity::Coaxiality, ..) => Kind::Coaxial(pair),
        _ => Kind::Length,
    }
}

/// p' of every feature: placed, in the frame as built, with the tip taken off as the procedure does, at its temperature.
pub(super) fn place_all(model: &Model, truth: &Truth, edit: &Edit, work: &mut Work) {
    work.places.clear();
    for (part, at) in model.parts.iter().zip(&truth.at) {
        let mut p = edit.frame.place(edit.placing.place(*at));
        if let Some(normal) = part.normal {
            edit.tip
                .move_surface(&mut p, edit.frame.turn(edit.placing.turn(normal)));
        }
        work.places.push(p.map(|v| v * edit.scale));
    }
}

/// The model's value of every characteristic, into `work.values`.
pub(super) fn evaluate(model: &Model, truth: &Truth, edit: &Edit, work: &mut Work) {
    place_all(model, truth, edit, work);
    let mut values = std::mem::take(&mut work.values);
    values.clear();
    for (line, own) in model.lines.iter().zip(&truth.own) {
        values.push(value(model, &work.places, edit, line.read, *own));
    }
    work.values = values;
}

fn value(model: &Model, places: &[[f64; 3]], edit: &Edit, read: Read, own: f64) -> f64 {
    let place = |i: usize| places.get(i).copied().unwrap_or_default();
    let apart = |[a, b]: [usize; 2]| {
        let (a, b) = (place(a), place(b));
        [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
    };
    match read.kind {
        Kind::Coordinate(axis) => place(read.feature)[axis],
        Kind::Size(sign) => (own + sign * edit.tip.size) * edit.scale,
        Kind::PlanAngle => own + plan_turn(edit, own),
        Kind::FaceAngle { normal, datum } => own + face_turn(edit, normal, datum),
        Kind::Constant => own,
        Kind::Length => own * edit.scale,
        Kind::Orientation { datum, zone } => (own + zone_width(edit, datum, zone)) * edit.scale,
        Kind::Position { across } => {
            let (p, nominal) = (
                place(read.feature),
                model.parts.get(read.feature).map_or([0.0; 3], |f| f.at),
            );
            let (dx, dy) = (p[0] - nominal[0], p[1] - nominal[1]);
            across.map_or_else(|| 2.0 * dx.hypot(dy), |a| 2.0 * (dx * a[0] + dy * a[1]).abs())
        }
        Kind::Centres(pair) => {
            let d = apart(pair);
            d[0].hypot(d[1])
        }
        Kind::Along(pair, axis) => apart(pair)[axis].abs(),
        Kind::Faces(sign) => (own + sign * edit.tip.faces) * edit.scale,
        Kind::Coaxial(pair) => {
            let d = apart(pair);
            2.0 * d[0].hypot(d[1])
        }
    }
}

/// By how much a direction in plan view turns, in degrees within a quarter turn either way.
fn plan_turn(edit: &Edit, angle: f64) -> f64 {
    let placed = edit.placing.degrees();
    let Some(rotation) = edit.frame.rotation() else {
        return placed;
    };
    let (sin, cos) = (angle + placed).to_radians().sin_cos();
    let d = rotation.apply([cos, sin, 0.0]);
    placed + wrap_half_turn(d[1].atan2(d[0]).to_degrees() - angle - placed)
}

/// By how much the angle of a face to a datum changes when the frame turns, in degrees. The angle is that between the
/// planes, 0 to 90, and goes on smoothly beyond 90.
fn face_turn(edit: &Edit, normal: [f64; 3], datum: [f64; 3]) -> f64 {
    let Some(rotation) = edit.frame.rotation() else {
        return 0.0;
    };
    let (normal, datum) = (edit.placing.turn(normal), edit.placing.turn(datum));
    let before = angle_between(normal, datum);
    let change = angle_between(rotation.apply(normal), datum) - before;
    if before > 90.0 + 1e-9 { -change } else { change }
}

/// Width that a turned frame adds to the zone of an orientation: the extent of the turned face or axis across the zone,
/// which is parallel to the datum, or perpendicular to it.
fn zone_width(edit: &Edit, datum: [f64; 3], zone: Zone) -> f64 {
    let Some(rotation) = edit.frame.rotation() else {
        return 0.0;
    };
    let turned = |v: [f64; 3]| rotation.apply(edit.placing.turn(v));
    let datum = edit.placing.turn(datum);
    match zone {
        Zone::Axis { direction, length } => {
            let c = cross(turned(direction), datum);
            length * dot(c, c).sqrt()
        }
        Zone::Face {
            normal,
            directions,
            size,
        } => {
            let leaning = dot(turned(normal), datum);
            let across = if dot(normal, datum).abs() > 0.5 {
                datum
            } else {
                let n = turned(normal);
                let level = [0, 1, 2].map(|i| n[i] - leaning * datum[i]);
                let length = dot(level, level).sqrt();
                level.map(|v| v / length)
            };
            directions
                .iter()
                .zip(size)
                .map(|(d, s)| s * dot(turned(*d), across).abs())
                .sum()
        }
    }
}

/// Vector product.
pub(super) fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

/// Angle between two unit vectors in degrees, 0 to 180.
fn angle_between(a: [f64; 3], b: [f64; 3]) -> f64 {
    let c = cross(a, b);
    dot(c, c).sqrt().atan2(dot(a, b)).to_degrees()
}
