//! From the state of every feature to the value of every characteristic.
//!
//! One evaluation serves nominals, references, the forward model and the worked solution, so that all of them mean
//! the same by "distance" or "position". Lengths in the exercise's unit, angles in degrees, points `[x, y, z]`.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::model::{
    Axis, Between, Characteristic, DatumFrame, DistanceKind, Exercise, Feature, Owner, Quantity, Shape,
};
use crate::units::{decimal_from_f64, decimal_to_f64};

/// What one feature is on a plate: its place, sizes, and whatever deviations of form and orientation it has.
#[derive(Debug, Clone, PartialEq)]
pub struct FeatureState {
    /// Centre, touched place, middle of a line or of a face.
    pub at: [f64; 3],
    /// Outward normal of points, lines and planes; axis of the others.
    pub direction: [f64; 3],
    /// Diameter, 0 where there is none.
    pub diameter: f64,
    /// Length over all of a slot, length of a line, longer side of a face, depth of a round feature.
    pub length: f64,
    /// Width of a slot.
    pub width: f64,
    /// Plan-view angle of lines and slots, full angle of cones, angle to its datum of a plane.
    pub angle: f64,
    /// Form and orientation as the surface itself has it.
    pub own: BTreeMap<Quantity, f64>,
}

fn point(at: &[Decimal; 3]) -> [f64; 3] {
    at.map(decimal_to_f64)
}

/// Scalar product.
#[must_use]
pub fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn minus(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

/// Angle of a plan-view direction from X, in [0, 180).
fn plan_angle(dx: f64, dy: f64) -> f64 {
    let a = dy.atan2(dx).to_degrees().rem_euclid(180.0);
    // A direction a hair below 0 is 0, not 180.
    if (180.0 - a) < 1e-9 { 0.0 } else { a }
}

/// Acute angle between two directions in degrees.
#[must_use]
pub fn acute_angle(a: [f64; 3], b: [f64; 3]) -> f64 {
    let cross = [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ];
    dot(cross, cross).sqrt().atan2(dot(a, b).abs()).to_degrees()
}

/// Acute angle between two plan-view angles given in degrees modulo 180.
fn acute_of_angles(a: f64, b: f64) -> f64 {
    let d = (a - b).rem_euclid(180.0);
    d.min(180.0 - d)
}

/// The difference of two angles that mean the same direction every 180 degrees, in (-90, 90].
#[must_use]
pub fn wrap_half_turn(difference: f64) -> f64 {
    let d = difference.rem_euclid(180.0);
    if d > 90.0 { d - 180.0 } else { d }
}

/// An angle of a plan-view direction at the half turn that is nearest to its nominal: 179.98 against 0 is -0.02.
#[must_use]
pub fn at_nearest_half_turn(angle: Decimal, nominal: Decimal) -> Decimal {
    let (turn, quarter) = (Decimal::from(180), Decimal::from(90));
    let mut off = (angle - nominal) % turn;
    if off > quarter {
        off -= turn;
    } else if off <= -quarter {
        off += turn;
    }
    nominal + off
}

/// The state of a feature that is exactly as on the print. `thickness` gives the depth of through features, `datum`
/// the outward normal of the datum that a plane's angle refers to.
#[must_use]
pub fn nominal_state(feature: &Feature, thickness: f64, datum: Option<[f64; 3]>) -> FeatureState {
    let deep = |depth: &Option<Decimal>| depth.map_or(thickness, decimal_to_f64);
    let size = |value: &Decimal| decimal_to_f64(*value);
    match &feature.shape {
        Shape::Point { at, normal } => placed(point(at), *normal),
        Shape::Line { from, to, normal } => line_state(point(from), point(to), *normal),
        Shape::Plane {
            at,
            normal,
            size: [a, b],
        } => FeatureState {
            length: size(a).max(size(b)),
            angle: datum.map_or(0.0, |n| acute_angle(*normal, n)),
            ..placed(point(at), *normal)
        },
        Shape::Circle { at, diameter, depth } => FeatureState {
            diameter: size(diameter),
            length: deep(depth),
            ..placed(point(at), UP)
        },
        Shape::Slot {
            at,
            length,
            width,
            angle,
            ..
        } => FeatureState {
            length: size(length),
            width: size(width),
            angle: size(angle).rem_euclid(180.0),
            ..placed(point(at), UP)
        },
        Shape::Cylinder {
            at,
            axis,
            diameter,
            depth,
        } => FeatureState {
            diameter: size(diameter),
            length: deep(depth),
            ..placed(point(at), *axis)
        },
        Shape::Cone {
            at,
            axis,
            angle,
            diameter,
            depth,
        } => FeatureState {
            diameter: size(diameter),
            angle: size(angle),
            length: deep(depth),
            ..placed(point(at), *axis)
        },
        Shape::Sphere { at, diameter } => FeatureState {
            diameter: size(diameter),
            ..placed(point(at), UP)
        },
    }
}

const UP: [f64; 3] = [0.0, 0.0, 1.0];

fn placed(at: [f64; 3], direction: [f64; 3]) -> FeatureState {
    FeatureState {
        at,
        direction,
        diameter: 0.0,
        length: 0.0,
        width: 0.0,
        angle: 0.0,
        own: BTreeMap::new(),
    }
}

fn line_state(from: [f64; 3], to: [f64; 3], normal: [f64; 3]) -> FeatureState {
    let d = minus(to, from);
    let middle = [0, 1, 2].map(|i| f64::midpoint(from[i], to[i]));
    FeatureState {
        length: dot(d, d).sqrt(),
        angle: plan_angle(d[0], d[1]),
        ..placed(middle, normal)
    }
}

/// The outward normal of the datum that planes refer to, by the letter of the characteristic or the primary's.
#[must_use]
pub fn datum_normal(frame: &DatumFrame, letter: Option<char>) -> [f64; 3] {
    let datum = letter.and_then(|l| frame.by_letter(l)).unwrap_or(&frame.primary);
    let (axis, sign) = datum.face.normal();
    let mut n = [0.0; 3];
    n[axis.index()] = sign;
    n
}

/// Whether two features that are parallel or perpendicular have like directions rather than square ones: a face is told
/// by its normal, all others by their own direction.
#[must_use]
pub fn must_be_alike(of: Quantity, face: bool, to_a_face: bool) -> bool {
    (face == to_a_face) == (of == Quantity::Parallelism)
}

/// All features as on the print, in the order of the file.
#[must_use]
pub fn nominal_states(exercise: &Exercise) -> Vec<FeatureState> {
    let thickness = decimal_to_f64(exercise.body.thickness);
    let of_plane = |i: usize| {
        let angle = |c: &&Characteristic| c.owner == Owner::Feature(i) && c.of == Quantity::Angle;
        exercise.characteristics.iter().find(angle).and_then(|c| c.datum)
    };
    let state =
        |(i, f): (usize, &Feature)| nominal_state(f, thickness, Some(datum_normal(&exercise.datum_frame, of_plane(i))));
    exercise.features.iter().enumerate().map(state).collect()
}

/// What a characteristic is read off: enough to evaluate it before or after the exercise is complete.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    /// Feature or pair.
    pub owner: Owner,
    /// Quantity.
    pub of: Quantity,
    /// One axis of a distance.
    pub along: Option<Axis>,
}

impl From<&Characteristic> for Asked {
    fn from(c: &Characteristic) -> Self {
        Self {
            owner: c.owner,
            of: c.of,
            along: c.along,
        }
    }
}

/// The value of one characteristic on features in the given `states`; `nominal` are the same features as printed.
/// `None` where the feature has no such quantity (which `check` refuses before anything is evaluated).
#[must_use]
pub fn value(
    features: &[Feature],
    between: &[Between],
    nominal: &[FeatureState],
    states: &[FeatureState],
    asked: Asked,
) -> Option<f64> {
    match asked.owner {
        Owner::Feature(i) => of_feature(features.get(i)?, nominal.get(i)?, states.get(i)?, asked.of),
        Owner::Between(i) => {
            let [a, b] = between.get(i)?.features;
            let pair = Pair {
                shapes: [&features.get(a)?.shape, &features.get(b)?.shape],
                nominal: [nominal.get(a)?, nominal.get(b)?],
                states: [states.get(a)?, states.get(b)?],
            };
            pair.value(asked)
        }
    }
}

fn of_feature(feature: &Feature, nominal: &FeatureState, state: &FeatureState, of: Quantity) -> Option<f64> {
    Some(match of {
        Quantity::X => state.at[0],
        Quantity::Y => state.at[1],
        Quantity::Z => state.at[2],
        Quantity::Diameter => state.diameter,
        Quantity::Length => state.length,
        Quantity::Width => state.width,
        Quantity::Angle => state.angle,
        Quantity::Position => position(feature, nominal, state.at),
        Quantity::Distance | Quantity::Coaxiality => return None,
        _ => state.own.get(&of).copied().unwrap_or(0.0),
    })
}

/// Position of a feature whose centre is at `at`: 2 sqrt(dx^2 + dy^2); of a slot twice the offset across its width
/// (ISO 1101, ASME Y14.5 give the zone; the reading for slots is this project's format).
#[must_use]
pub fn position(feature: &Feature, nominal: &FeatureState, at: [f64; 3]) -> f64 {
    let (dx, dy) = (at[0] - nominal.at[0], at[1] - nominal.at[1]);
    if matches!(feature.shape, Shape::Slot { .. }) {
        let (sin, cos) = nominal.angle.to_radians().sin_cos();
        2.0 * (dy * cos - dx * sin).abs()
    } else {
        2.0 * dx.hypot(dy)
    }
}

struct Pair<'a> {
    shapes: [&'a Shape; 2],
    nominal: [&'a FeatureState; 2],
    states: [&'a FeatureState; 2],
}

impl Pair<'_> {
    fn value(&self, asked: Asked) -> Option<f64> {
        let [first, second] = self.states;
        let d = minus(first.at, second.at);
        Some(match asked.of {
            Quantity::Distance => match (asked.along, distance_kind(self.shapes[0], self.shapes[1])) {
                (Some(axis), _) => d[axis.index()].abs(),
                (None, Some(DistanceKind::Centres)) => d[0].hypot(d[1]),
                (None, _) => dot(d, reference_normal(self.shapes, self.nominal)?).abs(),
            },
            Quantity::Angle => self.angle(first, second),
            Quantity::Coaxiality => 2.0 * d[0].hypot(d[1]),
            Quantity::Parallelism | Quantity::Perpendicularity => {
                let turned = |s: [&FeatureState; 2]| self.angle(s[0], s[1]);
                let off = (turned(self.states) - turned(self.nominal)).to_radians();
                first.length * off.sin().abs() + first.own.get(&asked.of).copied().unwrap_or(0.0)
            }
            _ => return None,
        })
    }

    /// Acute angle of two lines or slots in plan view, or of two faces.
    fn angle(&self, first: &FeatureState, second: &FeatureState) -> f64 {
        if matches!(self.shapes, [Shape::Plane { .. }, Shape::Plane { .. }]) {
            let nominal = acute_angle(self.nominal[0].direction, self.nominal[1].direction);
            // A face's own angle is to its datum; what it deviates there turns it against the other as well.
            let off = |i: usize, s: &FeatureState| s.angle - self.nominal[i].angle;
            (nominal + off(0, first) - off(1, second)).abs()
        } else if matches!(self.shapes, [Shape::Cylinder { .. }, _] | [_, Shape::Cylinder { .. }]) {
            acute_angle(self.nominal[0].direction, self.nominal[1].direction)
        } else {
            acute_of_angles(first.angle, second.angle)
        }
    }
}

/// The normal along which the distance of two parallel faces is taken: that of the second, which is the reference of
/// the two, or of the first where the second has none.
fn reference_normal(shapes: [&Shape; 2], nominal: [&FeatureState; 2]) -> Option<[f64; 3]> {
    if shapes[1].normal().is_some() {
        Some(nominal[1].direction)
    } else {
        shapes[0].normal().map(|_| nominal[0].direction)
    }
}

/// How the surfaces of a distance stand to each other; `None` where no distance of the two is defined.
#[must_use]
pub fn distance_kind(first: &Shape, second: &Shape) -> Option<DistanceKind> {
    let face = |s: &Shape| match s {
        Shape::Line { normal, from, to } => {
            let (a, b) = (point(from), point(to));
            Some((*normal, [0, 1, 2].map(|i| f64::midpoint(a[i], b[i]))))
        }
        Shape::Plane { normal, at, .. } => Some((*normal, point(at))),
        _ => None,
    };
    let centre = |s: &Shape| {
        matches!(
            s,
            Shape::Circle { .. }
                | Shape::Sphere { .. }
                | Shape::Cylinder { .. }
                | Shape::Slot { .. }
                | Shape::Point { .. }
        )
    };
    if centre(first) && centre(second) {
        return Some(DistanceKind::Centres);
    }
    let ((n1, p1), (n2, p2)) = (face(first)?, face(second)?);
    let along = dot(n1, n2);
    if along.abs() < 1.0 - 1e-6 {
        return None;
    }
    Some(if along > 0.0 {
        DistanceKind::Step
    } else if dot(minus(p1, p2), n1) > 0.0 {
        DistanceKind::Outside
    } else {
        DistanceKind::Inside
    })
}

/// Nominal of a characteristic as the print has it: exact where the geometry is, otherwise rounded to `decimals`.
#[must_use]
pub fn nominal_value(
    features: &[Feature],
    between: &[Between],
    nominal: &[FeatureState],
    asked: Asked,
    decimals: u32,
) -> Option<Decimal> {
    if asked.of.is_geometrical() {
        return Some(Decimal::ZERO);
    }
    let exact = decimal_from_f64(value(features, between, nominal, nominal, asked)?)?;
    // Ten places are far below any print and far above binary noise: what needs more is irrational.
    let short = exact.round_dp(10).normalize();
    Some(if short.scale() > 9 {
        exact.round_dp(decimals)
    } else {
        short
    })
}

/// Expanded uncertainty, k = 2, of a careful pair for one characteristic that states none of its own, in the unit of
/// the value. `None` for an angle between features, which must state its own.
#[must_use]
pub fn lab_uncertainty(
    base: Decimal,
    per_length: Decimal,
    nominal: Decimal,
    feature: Option<&FeatureState>,
    asked: Asked,
) -> Option<Decimal> {
    let at_length = |length: Decimal| base + per_length * length.abs();
    Some(match asked.of {
        Quantity::Angle => {
            let length = feature.map(|f| f.length).filter(|l| *l > 0.0)?;
            decimal_from_f64((decimal_to_f64(base) / length).to_degrees())?
        }
        Quantity::Position => {
            let at = feature?.at;
            Decimal::TWO * at_length(decimal_from_f64(at[0].abs().max(at[1].abs()))?)
        }
        Quantity::Coaxiality => Decimal::TWO * base,
        of if of.is_geometrical() => base,
        _ => at_length(nominal),
    })
}
