//! How a characteristic follows from what is read off its features, to first order.
//!
//! Where a value has no slope at its nominal (a position of 0 grows either way), it has one on every plate that is off,
//! and which one depends on where it is off: then there are several, and the one with the largest uncertainty counts.

use nalgebra::Vector3;

use super::sensitivity::{ANGLE, AT, DIAMETER, LENGTH, Slopes, TIPS, TOLD, WIDTH};
use crate::exercise::geometry::{FeatureState, datum_normal, must_be_alike};
use crate::exercise::model::{Characteristic, DatumFrame, Quantity, Shape};

/// Coefficients on entries of the first feature and of the second.
pub(super) type Read = [Vec<(usize, f64)>; 2];

/// The slopes that a value can have.
pub(super) enum Reads {
    /// One of these.
    OneOf(Vec<Read>),
    /// Any of these, in the mean.
    MeanOf(Vec<Read>),
    /// Any combination of these two with squares that add up to 1: a distance in a plane from where both are 0.
    Around(Read, Read),
}

/// A feature of a characteristic.
pub(super) struct Part<'a> {
    pub(super) shape: &'a Shape,
    pub(super) printed: &'a FeatureState,
    pub(super) slopes: &'a Slopes,
}

impl Part<'_> {
    fn told(&self) -> Vector3<f64> {
        Vector3::from(self.slopes.nominal.told())
    }

    fn is_face(&self) -> bool {
        self.slopes.nominal.is_face()
    }
}

/// What an orientation or an angle refers to: a datum, or a second feature whose entries it moves with.
struct Base {
    told: Vector3<f64>,
    is_face: bool,
    moves: bool,
}

const DEGREES: f64 = 180.0 / std::f64::consts::PI;

/// Directions nearer than this to each other are parallel.
const PARALLEL: f64 = 1e-6;

pub(super) fn reads(c: &Characteristic, datums: &DatumFrame, first: &Part<'_>, second: Option<&Part<'_>>) -> Reads {
    if c.of.is_form() {
        return form(first);
    }
    if let Some(axis) = c.of.axis() {
        return one(AT + axis.index(), 1.0);
    }
    let base = || match second {
        Some(second) => Base {
            told: second.told(),
            is_face: second.is_face(),
            moves: true,
        },
        None => Base {
            told: Vector3::from(datum_normal(datums, c.datum)),
            is_face: true,
            moves: false,
        },
    };
    match c.of {
        Quantity::Diameter => one(DIAMETER, 1.0),
        Quantity::Length => one(LENGTH, 1.0),
        Quantity::Width => one(WIDTH, 1.0),
        Quantity::Angle if first.is_face() => turning(first.told(), &base()),
        Quantity::Angle => Reads::OneOf(vec![[
            vec![(ANGLE, 1.0)],
            second.map_or_else(Vec::new, |_| vec![(ANGLE, -1.0)]),
        ]]),
        Quantity::Position => position(first),
        Quantity::Coaxiality => around(2.0, true),
        Quantity::Distance => distance(c, first, second),
        _ => orientation(c.of, first, &base()),
    }
}

/// The highest less the lowest residual, whichever two a plate makes so: in the mean over all pairs of n touches of a
/// figure with p parameters 2 (n - p) / (n - 1) of the variance of a touch. (That noise makes form larger as well as
/// uncertain is not in it.)
fn form(part: &Part<'_>) -> Reads {
    let touches = part.slopes.nominal.tips.len();
    let residual = |i: usize| TIPS + 3 * touches + i;
    let pairs = (0..touches).flat_map(|i| (i + 1..touches).map(move |j| (i, j)));
    let read = |(i, j)| [vec![(residual(i), 1.0), (residual(j), -1.0)], Vec::new()];
    Reads::MeanOf(pairs.map(read).collect())
}

fn one(entry: usize, factor: f64) -> Reads {
    Reads::OneOf(vec![[vec![(entry, factor)], Vec::new()]])
}

/// A distance in plan view, of one place or of the difference of two.
fn around(factor: f64, of_two: bool) -> Reads {
    let read = |axis: usize| {
        let second = if of_two { vec![(AT + axis, -factor)] } else { Vec::new() };
        [vec![(AT + axis, factor)], second]
    };
    Reads::Around(read(0), read(1))
}

/// 2 sqrt(dx^2 + dy^2); of a slot twice the offset across its width.
fn position(part: &Part<'_>) -> Reads {
    if !matches!(part.shape, Shape::Slot { .. }) {
        return around(2.0, false);
    }
    let (sin, cos) = part.printed.angle.to_radians().sin_cos();
    Reads::OneOf(vec![[vec![(AT, -2.0 * sin), (AT + 1, 2.0 * cos)], Vec::new()]])
}

/// Along an axis, along the normal of the reference face, or between centres in plan view.
fn distance(c: &Characteristic, first: &Part<'_>, second: Option<&Part<'_>>) -> Reads {
    let Some(second) = second else { return one(AT, 0.0) };
    let along = |direction: Vector3<f64>| {
        let read = |sign: f64| (0..3).map(|i| (AT + i, sign * direction[i])).collect();
        Reads::OneOf(vec![[read(1.0), read(-1.0)]])
    };
    if let Some(axis) = c.along {
        let mut direction = Vector3::zeros();
        direction[axis.index()] = 1.0;
        return along(direction);
    }
    if let Some(normal) = second.shape.normal().or_else(|| first.shape.normal())
        && !matches!(
            (first.shape, second.shape),
            (Shape::Point { .. }, _) | (_, Shape::Point { .. })
        )
    {
        return along(Vector3::from(normal));
    }
    let mut apart = Vector3::from(first.printed.at) - Vector3::from(second.printed.at);
    apart.z = 0.0;
    apart.try_normalize(PARALLEL).map_or_else(|| around(1.0, true), along)
}

/// Two directions square to a unit vector and to each other.
fn across(direction: Vector3<f64>) -> [Vector3<f64>; 2] {
    let least = direction.map(f64::abs).imin();
    let mut other = Vector3::zeros();
    other[least] = 1.0;
    let first = direction.cross(&other).normalize();
    [first, direction.cross(&first)]
}

fn on_told(coefficients: Vector3<f64>) -> Vec<(usize, f64)> {
    (0..3).map(|i| (TOLD + i, coefficients[i])).collect()
}

fn on_base(base: &Base, coefficients: Vector3<f64>) -> Vec<(usize, f64)> {
    if base.moves { on_told(coefficients) } else { Vec::new() }
}

/// The angle between two directions, in degrees.
fn turning(a: Vector3<f64>, base: &Base) -> Reads {
    let b = base.told;
    let sine = a.cross(&b).norm();
    if sine < PARALLEL {
        // It grows whichever way one of them turns.
        let sign = a.dot(&b).signum();
        let read = |t: Vector3<f64>| [on_told(t * DEGREES), on_base(base, -t * sign * DEGREES)];
        let [t, u] = across(a).map(read);
        return Reads::Around(t, u);
    }
    let cosine = a.dot(&b);
    let (of_a, of_b) = ((a * cosine - b) / sine, (b * cosine - a) / sine);
    Reads::OneOf(vec![[on_told(of_a * DEGREES), on_base(base, of_b * DEGREES)]])
}

fn orientation(of: Quantity, part: &Part<'_>, base: &Base) -> Reads {
    let (a, b) = (part.told(), base.told);
    let alike = must_be_alike(of, part.is_face(), base.is_face);
    if part.is_face() {
        return zone(part, base, alike);
    }
    let length = part.printed.length;
    if alike {
        let sign = a.dot(&b).signum();
        let read = |t: Vector3<f64>| [on_told(t * length), on_base(base, -t * sign * length)];
        let [t, u] = across(a).map(read);
        Reads::Around(t, u)
    } else {
        Reads::OneOf(vec![[on_told(b * length), on_base(base, a * length)]])
    }
}

/// The height of one touch above another across the zone: that of the two which a plate makes the highest and lowest.
fn zone(part: &Part<'_>, base: &Base, alike: bool) -> Reads {
    let (a, b) = (part.told(), base.told);
    let across = if alike { b } else { a };
    let tips: Vec<Vector3<f64>> = part.slopes.nominal.tips.iter().map(|p| Vector3::from(*p)).collect();
    let mut found = Vec::new();
    for (i, p) in tips.iter().enumerate() {
        for (j, q) in tips.iter().enumerate().skip(i + 1) {
            let between = p - q;
            let mut first: Vec<(usize, f64)> = Vec::new();
            for axis in 0..3 {
                first.push((TIPS + 3 * i + axis, across[axis]));
                first.push((TIPS + 3 * j + axis, -across[axis]));
            }
            let second = if alike {
                on_base(base, between)
            } else {
                // The direction across turns with the face, but stays square to the base.
                let level = between - across * between.dot(&across);
                first.extend(on_told(level - b * level.dot(&b)));
                on_base(base, -a * level.dot(&b))
            };
            found.push([first, second]);
        }
    }
    Reads::OneOf(found)
}
