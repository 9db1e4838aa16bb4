//! What the repeatability of the datum touches does to a characteristic, through the 3-2-1 frame that they make.

use crate::exercise::geometry::FeatureState;
use crate::exercise::model::{Axis, Characteristic, Datum, DatumFrame, Feature, Quantity, Shape};
use crate::metrology::frame::{self, Datums, Hit, Surface};
use crate::units::decimal_to_f64;

/// Square of the degrees in a radian.
const DEGREES: f64 = (180.0 / std::f64::consts::PI) * (180.0 / std::f64::consts::PI);

/// The frame of the touches as they are on the print, with its covariance.
#[derive(Debug)]
pub(super) struct FrameNoise {
    frame: frame::Frame,
    primary: char,
    /// Variance of one touch.
    touch: f64,
}

impl FrameNoise {
    /// `repeatability` is the standard deviation of one touch. `None` where the touches make no frame.
    pub(super) fn new(datums: &DatumFrame, repeatability: f64) -> Option<Self> {
        let hits = datums.all().map(hits);
        let [primary, secondary, tertiary] = [0, 1, 2].map(|i| surface(datums.all()[i], &hits[i]));
        let faces = Datums::Faces {
            primary,
            secondary,
            tertiary,
        };
        Some(Self {
            frame: frame::frame(&faces, 0.0).ok()?,
            primary: datums.primary.letter,
            touch: repeatability * repeatability,
        })
    }

    /// The frame's share of the variance of a feature's own characteristic, in the square of its unit; where it depends
    /// on what is not stated, the least that it can be.
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
            (Quantity::Angle, Shape::Line { .. } | Shape::Slot { .. }) => self.turn(Axis::Z) * DEGREES,
            (Quantity::Angle, Shape::Plane { .. }) => self.tilt(c.datum) * DEGREES,
            (Quantity::Parallelism | Quantity::Perpendicularity, shape) => {
                self.tilt(c.datum) * lever(c.of, shape, state)
            }
            _ => 0.0,
        }
    }

    /// Variance of one coordinate at a place.
    fn coordinate(&self, axis: Axis, p: [f64; 3]) -> f64 {
        let i = axis.index();
        self.touch * self.frame.point_covariance(p)[(i, i)]
    }

    /// Variance of the rotation about an axis, radians.
    fn turn(&self, axis: Axis) -> f64 {
        let i = 3 + axis.index();
        self.touch * self.frame.covariance.matrix[i][i]
    }

    /// Variance of the rotation that an orientation to a datum sees: to the primary, about the better of two axes.
    fn tilt(&self, datum: Option<char>) -> f64 {
        if datum == Some(self.primary) {
            self.turn(Axis::X).min(self.turn(Axis::Y))
        } else {
            self.turn(Axis::Z)
        }
    }
}

/// Touches as hits of a tip without size.
fn hits(datum: &Datum) -> Vec<Hit> {
    let (axis, sign) = datum.face.normal();
    let mut approach = [0.0; 3];
    approach[axis.index()] = -sign;
    let hit = |touch| Hit {
        tip: datum.touch_point(touch),
        approach: Some(approach),
    };
    datum.touches.iter().map(hit).collect()
}

fn surface<'a>(datum: &Datum, hits: &'a [Hit]) -> Surface<'a> {
    let axis = match datum.sets {
        Axis::X => frame::Axis::X,
        Axis::Y => frame::Axis::Y,
        Axis::Z => frame::Axis::Z,
    };
    Surface {
        hits,
        axis,
        outward: datum.face.normal().1 > 0.0,
        at: decimal_to_f64(datum.at),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exercise::model::Face;

    fn datum(letter: char, face: Face, at: i64, touches: &[[i64; 2]]) -> Datum {
        Datum {
            letter,
            face,
            sets: face.normal().0,
            at: at.into(),
            touches: touches.iter().map(|t| t.map(Into::into)).collect(),
        }
    }

    #[test]
    fn the_frame_moves_as_its_touches_do() {
        let datums = DatumFrame {
            primary: datum('A', Face::Top, 0, &[[10, 10], [110, 10], [110, 70], [10, 70]]),
            secondary: datum('B', Face::Front, 0, &[[10, -8], [110, -8]]),
            tertiary: datum('C', Face::Right, 120, &[[40, -8]]),
        };
        let noise = FrameNoise::new(&datums, 0.002).unwrap();
        let check = |axis, p, expected: f64| {
            let found = noise.coordinate(axis, p) / (0.002 * 0.002);
            assert!(
                (found - expected).abs() < 1e-6,
                "{axis:?} at {p:?}: {found} and not {expected}"
            );
        };
        // By hand, for touches of unit variance; tolerance 1e-6. Scatter of A: 4 x 50^2 along x, 4 x 30^2 along y;
        // scatter of B along x: 2 x 50^2.
        check(Axis::Z, [60.0, 40.0, 0.0], 1.0 / 4.0);
        check(Axis::Z, [110.0, 70.0, 0.0], 1.0 / 4.0 + 1.0 / 4.0 + 1.0 / 4.0);
        check(Axis::Y, [60.0, 80.0, -8.0], 1.0 / 2.0);
        check(Axis::Y, [110.0, 0.0, -8.0], 1.0 / 2.0 + 2500.0 / 5000.0);
        check(Axis::Y, [60.0, 0.0, 22.0], 1.0 / 2.0 + 900.0 / 3600.0);
        check(Axis::X, [120.0, 40.0, -8.0], 1.0);
        check(Axis::X, [0.0, 90.0, -8.0], 1.0 + 2500.0 / 5000.0);
        check(Axis::X, [0.0, 40.0, 42.0], 1.0 + 2500.0 / 10_000.0);
        let turned = noise.turn(Axis::Z) / (0.002 * 0.002);
        assert!((turned - 1.0 / 5000.0).abs() < 1e-9, "{turned}");
    }
}
