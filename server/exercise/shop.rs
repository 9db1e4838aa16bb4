//! What the shop is asked to make of one plate: the print with what is planted in this copy.
//!
//! As with everything that a plate really is, nothing here may reach a student before the truth of the plate is released.

use rust_decimal::{Decimal, RoundingStrategy};

use super::geometry::{FeatureState, nominal_states};
use super::model::{Exercise, Feature, Quantity, Shape};
use super::plate::Plate;
use crate::units::{decimal_from_f64, decimal_to_f64};

/// One quantity of a feature, in the unit of the exercise or in degrees.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToMake {
    /// Which.
    pub of: Quantity,
    /// As on the print.
    pub print: Decimal,
    /// As this copy is to be.
    pub make: Decimal,
}

/// A feature as it is to be made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FeatureToMake {
    /// Index of the feature.
    pub feature: usize,
    /// Place, sizes, angle; and form or orientation where they are planted.
    pub values: Vec<ToMake>,
    /// How deep a hole or slot goes; `None` for what goes through and for what has no depth.
    pub depth: Option<Decimal>,
}

/// Every feature of a plate as it is to be made, in the order of the print, in the places of the exercise: what comes out of a
/// construction (the middle of a slanted edge) is rounded like everything else, which is far within what a shop can keep.
#[must_use]
pub fn to_make(exercise: &Exercise, plate: &Plate) -> Vec<FeatureToMake> {
    let of = |((feature, f), state): ((usize, &Feature), &FeatureState)| FeatureToMake {
        feature,
        values: values(exercise, f, state, plate),
        depth: depth(&f.shape).map(|d| rounded(exercise, d)),
    };
    let states = nominal_states(exercise);
    exercise.features.iter().enumerate().zip(&states).map(of).collect()
}

/// In the places of the exercise.
#[must_use]
pub fn rounded(exercise: &Exercise, value: Decimal) -> Decimal {
    value.round_dp_with_strategy(exercise.decimals, RoundingStrategy::MidpointAwayFromZero)
}

/// What is planted between two features: index of the pair, quantity, amount.
#[must_use]
pub fn between(exercise: &Exercise, plate: &Plate) -> Vec<(usize, Quantity, Decimal)> {
    let of = |(i, key)| {
        plate
            .planted
            .get(key)
            .into_iter()
            .flatten()
            .map(move |(q, v)| (i, *q, *v))
    };
    exercise
        .between
        .iter()
        .enumerate()
        .map(|(i, b)| (i, &b.key))
        .flat_map(of)
        .collect()
}

fn values(exercise: &Exercise, feature: &Feature, state: &FeatureState, plate: &Plate) -> Vec<ToMake> {
    let planted = plate.planted.get(&feature.key);
    let by = |of: Quantity| planted.and_then(|p| p.get(&of)).copied().unwrap_or_default();
    let mut values: Vec<ToMake> = on_the_print(&feature.shape)
        .into_iter()
        .map(|(of, print)| ToMake {
            of,
            print: rounded(exercise, print),
            make: rounded(exercise, print + by(of)),
        })
        .collect();
    for (of, amount) in planted.into_iter().flatten() {
        if !values.iter().any(|v| v.of == *of) {
            let print = beside(*of, state);
            values.push(ToMake {
                of: *of,
                print: rounded(exercise, print),
                make: rounded(exercise, print + amount),
            });
        }
    }
    values
}

/// The nominal of what no shape has among its own figures: the angle of a face to its datum; form and orientation are 0.
fn beside(of: Quantity, state: &FeatureState) -> Decimal {
    if of == Quantity::Angle {
        decimal_from_f64(state.angle).unwrap_or_default()
    } else {
        Decimal::ZERO
    }
}

/// Quantities of a shape that a machinist sets, with their nominals.
fn on_the_print(shape: &Shape) -> Vec<(Quantity, Decimal)> {
    use Quantity::{Angle, Diameter, Length, Width, X, Y, Z};
    let [x, y, z] = [X, Y, Z];
    match shape {
        Shape::Point { at, normal } | Shape::Plane { at, normal, .. } => along_normal(at, *normal),
        Shape::Line { from, to, normal } => {
            let middle = [0, 1, 2].map(|i| (from[i] + to[i]) / Decimal::TWO);
            let mut values = along_normal(&middle, *normal);
            values.extend(plan_angle(from, to).map(|a| (Angle, a)));
            values
        }
        Shape::Circle { at, diameter, .. } | Shape::Cylinder { at, diameter, .. } => {
            vec![(x, at[0]), (y, at[1]), (z, at[2]), (Diameter, *diameter)]
        }
        Shape::Sphere { at, diameter } => vec![(x, at[0]), (y, at[1]), (z, at[2]), (Diameter, *diameter)],
        Shape::Cone {
            at, angle, diameter, ..
        } => {
            vec![
                (x, at[0]),
                (y, at[1]),
                (z, at[2]),
                (Diameter, *diameter),
                (Angle, *angle),
            ]
        }
        Shape::Slot {
            at,
            length,
            width,
            angle,
            ..
        } => vec![
            (x, at[0]),
            (y, at[1]),
            (z, at[2]),
            (Length, *length),
            (Width, *width),
            (Angle, *angle),
        ],
    }
}

/// The one coordinate that a flat place has; all of them where it is slanted.
fn along_normal(at: &[Decimal; 3], normal: [f64; 3]) -> Vec<(Quantity, Decimal)> {
    let axes = [Quantity::X, Quantity::Y, Quantity::Z];
    let straight = normal.iter().position(|n| n.abs() > 1.0 - 1e-6);
    let of = |i: usize| axes.get(i).copied().zip(at.get(i).copied());
    match straight {
        Some(i) => of(i).into_iter().collect(),
        None => (0..3).filter_map(of).collect(),
    }
}

fn plan_angle(from: &[Decimal; 3], to: &[Decimal; 3]) -> Option<Decimal> {
    let d = [0, 1].map(|i| decimal_to_f64(to[i] - from[i]));
    decimal_from_f64(d[1].atan2(d[0]).to_degrees().rem_euclid(180.0)).map(|a| a.round_dp(4).normalize())
}

const fn depth(shape: &Shape) -> Option<Decimal> {
    match shape {
        Shape::Circle { depth, .. }
        | Shape::Slot { depth, .. }
        | Shape::Cylinder { depth, .. }
        | Shape::Cone { depth, .. } => *depth,
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exercise::file::{read_exercise, read_plates};
    use crate::units::show_number;

    const PRINT: &str = r#"
format = 1
code = "MADE-UP"
title = "Made up"
units = "mm"
decimals = 3
general_tolerance = "±0.1"
[body]
outline = [[0, 0], [80, 0], [80, 60], [0, 60]]
thickness = 10
material = "steel"
[datum_frame]
A = { face = "top", sets = "z", at = 0, touches = [[5, 5], [75, 5], [40, 55]] }
B = { face = "front", sets = "y", at = 0, touches = [[8, -5], [72, -5]] }
C = { face = "left", sets = "x", at = 0, touches = [[30, -5]] }
[measurement]
expanded_uncertainty = 0.008
per_length = 0
repeatability = 0.002
tip_diameter = 3
[[feature]]
key = "hole"
kind = "circle"
at = [20, 30, 0]
diameter = 8
depth = 6
points = 12
[[feature.characteristic]]
no = "1"
of = "x"
[[feature.characteristic]]
no = "2"
of = "roundness"
tolerance = "max 0.02"
[[feature]]
key = "cut"
kind = "line"
from = [60, 60, -5]
to = [67.320508, 40, -5]
normal = [0.9390708, 0.3437238, 0]
[[feature.characteristic]]
no = "4"
of = "angle"
tolerance = "±0.1"
[[feature]]
key = "bevel"
kind = "plane"
at = [40, 58, -2]
normal = [0, 0.5, 0.8660254]
size = [70, 4.6188]
points = 6
[[feature.characteristic]]
no = "5"
of = "angle"
datum = "A"
tolerance = "±0.2"
[[feature]]
key = "end"
kind = "plane"
at = [80, 30, -5]
normal = [1, 0, 0]
size = [60, 10]
[[feature.characteristic]]
no = "3"
of = "x"
"#;

    const PLATES: &str = r#"
format = 1
exercise = "MADE-UP"
[[plate]]
serial = "MADE-UP-01"
kind = "physical"
planted = { hole = { x = 0.12, diameter = -0.031, roundness = 0.015 }, cut = { angle = 0.08 }, bevel = { angle = -0.134 } }
"#;

    /// Our own example: the print and what is planted, added up by hand. The middle of the cut is (127.320508 / 2, 50, -5),
    /// which is 63.660 in the places of the exercise; atan2(-20, 7.320508) is 110.104 degrees modulo 180. The bevel stands at
    /// acos 0.8660254 = 30 degrees to the top.
    #[test]
    fn what_is_made_is_the_print_and_what_is_planted() {
        let exercise = read_exercise("exercise.toml", PRINT).0.unwrap();
        let plates = read_plates("plates.toml", PLATES, &exercise).0.unwrap();
        let made = to_make(&exercise, &plates.plates[0]);
        let shown: Vec<Vec<String>> = made
            .iter()
            .map(|f| {
                let value = |v: &ToMake| {
                    format!(
                        "{} {} from {}",
                        v.of.word(),
                        show_number(v.make.normalize()),
                        show_number(v.print.normalize())
                    )
                };
                f.values.iter().map(value).collect()
            })
            .collect();
        assert_eq!(
            shown,
            [
                vec![
                    "x 20.12 from 20",
                    "y 30 from 30",
                    "z 0 from 0",
                    "diameter 7.969 from 8",
                    "roundness 0.015 from 0"
                ],
                vec![
                    "x 63.66 from 63.66",
                    "y 50 from 50",
                    "z \u{2212}5 from \u{2212}5",
                    "angle 110.184 from 110.104"
                ],
                vec![
                    "x 40 from 40",
                    "y 58 from 58",
                    "z \u{2212}2 from \u{2212}2",
                    "angle 29.866 from 30"
                ],
                vec!["x 80 from 80"]
            ]
        );
        assert_eq!(made[0].depth, Some(Decimal::from(6)));
    }
}
