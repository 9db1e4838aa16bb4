//! What the repeatability of the datum touches does to coordinates, through the 3-2-1 frame that is built from them.

use crate::exercise::geometry::FeatureState;
use crate::exercise::model::{Axis, Characteristic, Datum, DatumFrame, Feature, Quantity, Shape};
use crate::units::decimal_to_f64;

/// Square of the degrees in a radian.
const DEGREES: f64 = (180.0 / std::f64::consts::PI) * (180.0 / std::f64::consts::PI);

/// Variances of the frame. Lengths in the exercise's unit, rotations in radians.
///
/// The primary plane is a least-squares plane through the middle of its touches; the secondary line has its direction
/// from its touches in plan and passes their middle; the tertiary sets the rest at its own middle.
#[derive(Debug)]
pub(super) struct FrameNoise<'a> {
    frame: &'a DatumFrame,
    /// Of one touch.
    touch: f64,
    /// Covariance of the primary plane's slopes along x and y: xx, yy, xy.
    slopes: [f64; 3],
    /// Of the rotation about Z.
    turn: f64,
}

impl<'a> FrameNoise<'a> {
    /// `repeatability` is the standard deviation of one touch.
    pub(super) fn new(frame: &'a DatumFrame, repeatability: f64) -> Self {
        let touch = repeatability * repeatability;
        let [xx, yy, xy] = scatter(&frame.primary);
        let determinant = (xx * yy - xy * xy).max(f64::MIN_POSITIVE);
        let slopes = [yy, xx, -xy].map(|entry| touch * entry / determinant);
        let line = scatter_along(&frame.secondary).max(f64::MIN_POSITIVE);
        Self {
            frame,
            touch,
            slopes,
            turn: touch / line,
        }
    }

    /// The frame's share of the variance of a feature's own characteristic, in the square of its unit.
    pub(super) fn share(&self, c: &Characteristic, features: &[Feature], states: &[FeatureState]) -> f64 {
        let (Some(feature), Some(state)) = (features.first(), states.first()) else {
            return 0.0;
        };
        if let Some(axis) = c.of.axis() {
            return self.coordinate(axis, state.at);
        }
        match (c.of, &feature.shape) {
            (Quantity::Position, Shape::Slot { .. }) => {
                let (sin, cos) = state.angle.to_radians().sin_cos();
                let [x, y] = [Axis::X, Axis::Y].map(|axis| self.coordinate(axis, state.at));
                4.0 * (x * sin * sin + y * cos * cos)
            }
            // 2 sqrt(dx^2 + dy^2) of a plate whose hole is off along one axis: twice that deviation.
            (Quantity::Position, _) => {
                4.0 * self
                    .coordinate(Axis::X, state.at)
                    .max(self.coordinate(Axis::Y, state.at))
            }
            (Quantity::Angle, Shape::Line { .. } | Shape::Slot { .. }) => self.turn * DEGREES,
            (Quantity::Angle, Shape::Plane { .. }) => self.tilt(c.datum) * DEGREES,
            (Quantity::Parallelism | Quantity::Perpendicularity, shape) => {
                self.tilt(c.datum) * lever(c.of, shape, state)
            }
            _ => 0.0,
        }
    }

    /// Variance of one coordinate at a place.
    fn coordinate(&self, axis: Axis, p: [f64; 3]) -> f64 {
        let Some(datum) = self.frame.setting(axis) else {
            return 0.0;
        };
        let middle = datum.middle();
        let off = [0, 1, 2].map(|i| p[i] - middle[i]);
        let from_middle = self.touch / count(datum);
        let [xx, yy, xy] = self.slopes;
        match axis {
            Axis::Z => from_middle + xx * off[0] * off[0] + yy * off[1] * off[1] + 2.0 * xy * off[0] * off[1],
            Axis::X => from_middle + self.turn * off[1] * off[1] + xx * off[2] * off[2],
            Axis::Y => from_middle + self.turn * off[0] * off[0] + yy * off[2] * off[2],
        }
    }

    /// Variance of the rotation that an orientation to a datum sees, at the least: about the better of two axes.
    fn tilt(&self, datum: Option<char>) -> f64 {
        if datum == Some(self.frame.primary.letter) {
            self.slopes[0].min(self.slopes[1])
        } else {
            self.turn
        }
    }
}

/// Square of the length over which an orientation counts, at the least: a face that stands up does so over its
/// shorter side.
fn lever(of: Quantity, shape: &Shape, state: &FeatureState) -> f64 {
    match shape {
        Shape::Plane { size, .. } if of == Quantity::Perpendicularity => decimal_to_f64(size[0].min(size[1])).powi(2),
        _ => state.length.powi(2),
    }
}

fn count(datum: &Datum) -> f64 {
    datum.touches.iter().fold(0.0, |n, _| n + 1.0_f64).max(1.0)
}

/// Scatter of the primary's touches about their middle: xx, yy, xy.
fn scatter(datum: &Datum) -> [f64; 3] {
    let middle = datum.middle();
    datum
        .touches
        .iter()
        .map(|t| datum.touch_point(t))
        .fold([0.0; 3], |[xx, yy, xy], p| {
            let (x, y) = (p[0] - middle[0], p[1] - middle[1]);
            [xx + x * x, yy + y * y, xy + x * y]
        })
}

/// Scatter of the secondary's touches along the line that they give in plan.
fn scatter_along(datum: &Datum) -> f64 {
    let along = if datum.sets == Axis::X { 1 } else { 0 };
    let middle = datum.middle();
    datum
        .touches
        .iter()
        .map(|t| (datum.touch_point(t)[along] - middle[along]).powi(2))
        .sum()
}
