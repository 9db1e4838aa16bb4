//! What the shop is asked to make of one plate: the print with what is planted in this copy.
//!
//! As with everything that a plate really is, nothing here may reach a student before the truth of the plate is released.

use rust_decimal::Decimal;

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

/// Every feature of a plate as it is to be made, in the order of the print.
#[must_use]
pub fn to_make(exercise: &Exercise, plate: &Plate) -> Vec<FeatureToMake> {
    let of = |(feature, f): (usize, &Feature)| FeatureToMake {
        feature,
        values: values(f, plate),
        depth: depth(&f.shape),
    };
    exercise.features.iter().enumerate().map(of).collect()
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

fn values(feature: &Feature, plate: &Plate) -> Vec<ToMake> {
    let planted = plate.planted.get(&feature.key);
    let by = |of: Quantity| planted.and_then(|p| p.get(&of)).copied().unwrap_or_default();
    let mut values: Vec<ToMake> = on_the_print(&feature.shape)
        .into_iter()
        .map(|(of, print)| ToMake {
            of,
            print,
            make: print + by(of),
        })
        .collect();
    for (of, amount) in planted.into_iter().flatten() {
        if !values.iter().any(|v| v.of == *of) {
            values.push(ToMake {
                of: *of,
                print: Decimal::ZERO,
                make: *amount,
            });
        }
    }
    values
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
planted = { hole = { x = 0.12, diameter = -0.031, roundness = 0.015 } }
"#;

    /// Our own example: the print and what is planted, added up by hand.
    #[test]
    fn what_is_made_is_the_print_and_what_is_planted() {
        let exercise = read_exercise("exercise.toml", PRINT).0.unwrap();
        let plates = read_plates("plates.toml", PLATES, &exercise).0.unwrap();
        let made = to_make(&exercise, &plates.plates[0]);
        let shown: Vec<Vec<String>> = made
            .iter()
            .map(|f| {
                let value =
                    |v: &ToMake| format!("{} {} from {}", v.of.word(), show_number(v.make), show_number(v.print));
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
                vec!["x 80 from 80"]
            ]
        );
        assert_eq!(made[0].depth, Some(Decimal::from(6)));
    }
}
