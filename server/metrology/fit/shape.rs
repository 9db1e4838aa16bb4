//! The shape of a cloud of points: principal axes and how far it reaches along each.

use nalgebra::Vector3;

use super::centred::{Centred, count};
use super::error::{Figure, FitError};
use super::symmetric::eigen;

/// Below this share of the extent a cloud has no width or thickness that a fit could use.
const THIN: f64 = 1e-9;

/// Principal axes, narrowest first, with root mean square distances along each, local units.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shape {
    pub(super) axes: [Vector3<f64>; 3],
    pub(super) spreads: [f64; 3],
}

impl Shape {
    pub(super) fn of(points: &Centred<3>) -> Self {
        let mut moments = [[0.0; 3]; 3];
        for p in points.iter() {
            for i in 0..3 {
                for j in 0..=i {
                    moments[i][j] += p[i] * p[j];
                }
            }
        }
        let axes = eigen(&moments).vectors.map(Vector3::from);
        // A second pass along the axes: the small eigenvalues have lost half their digits, this has not.
        let mut squares = [0.0; 3];
        for p in points.iter() {
            let p = Vector3::from(p);
            for (square, axis) in squares.iter_mut().zip(&axes) {
                *square += p.dot(axis).powi(2);
            }
        }
        let n = count(points.len());
        Shape {
            axes,
            spreads: squares.map(|s| (s / n).sqrt()),
        }
    }

    /// Fails where the points lie on a line.
    pub(super) fn not_straight(&self, figure: Figure, points: &Centred<3>) -> Result<(), FitError> {
        if self.spreads[1] > THIN.max(2.0 * points.rounding) {
            return Ok(());
        }
        let width = self.spreads[1] * points.scale;
        Err(FitError::Collinear {
            figure,
            given: points.len(),
            width,
            length: self.length(points),
        })
    }

    /// Fails where the points lie in a plane.
    pub(super) fn not_flat(&self, figure: Figure, points: &Centred<3>) -> Result<(), FitError> {
        if self.spreads[0] > THIN.max(2.0 * points.rounding) {
            return Ok(());
        }
        let thickness = self.spreads[0] * points.scale;
        Err(FitError::Coplanar {
            figure,
            given: points.len(),
            thickness,
            length: self.length(points),
        })
    }

    fn length(&self, points: &Centred<3>) -> f64 {
        let along = |p: [f64; 3]| Vector3::from(p).dot(&self.axes[2]);
        let (low, high) = points
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| {
                (low.min(along(p)), high.max(along(p)))
            });
        (high - low) * points.scale
    }
}

/// A vector turned so that its component largest by size is positive: the sign that reports of directions use.
pub(in crate::metrology) fn turned_positive<const D: usize>(v: [f64; D]) -> [f64; D] {
    let mut largest = 0.0_f64;
    for &component in &v {
        if component.abs() > largest.abs() * (1.0 + 1e-12) {
            largest = component;
        }
    }
    if largest < 0.0 { v.map(|c| -c) } else { v }
}

/// Two unit vectors that with a unit vector make a right-handed frame: u, v, then `w`.
pub(super) fn across(w: &Vector3<f64>) -> (Vector3<f64>, Vector3<f64>) {
    let u = w.cross(&Vector3::ith(w.iamin(), 1.0)).normalize();
    (u, w.cross(&u))
}
