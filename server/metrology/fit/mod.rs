//! Figures fitted to points. Orthogonal-distance least squares (Gaussian association; ISO 10360-6 tests such software;
//! C. M. Shakarji, J. Res. Natl. Inst. Stand. Technol. 103 (1998) 633-641, for the shapes), one file per figure, and
//! the zone fits of form in `zone`.
//!
//! Points are `[x, y]` or `[x, y, z]` in one length unit, whichever it is: all lengths that come back are in it. What
//! the points cannot determine is an error with the numbers in it. No input makes a fit panic, return NaN or not end.

mod axial;
mod centred;
mod circle2d;
mod circle3d;
mod cone;
mod cylinder;
mod determined;
mod error;
mod line2d;
mod line3d;
mod parallel;
mod plane;
mod shape;
mod slot;
mod solver;
mod sphere;
mod symmetric;
/// Zone fits: form by minimum zone, circumscribed and inscribed circles.
pub mod zone;

pub(in crate::metrology) use centred::{LARGEST, count, usable};
pub use circle2d::{Circle2, arc_covered, circle2d};
pub use circle3d::{Circle3, circle3d};
pub use cone::{Cone, cone};
pub use cylinder::{Cylinder, cylinder};
pub use error::{Figure, FitError};
pub use line2d::{Line2, line2d};
pub use line3d::{Line3, line3d};
pub use parallel::{ParallelLines, parallel_lines};
pub use plane::{Plane, plane};
pub use slot::{Slot, slot};
pub use sphere::{Sphere, sphere};

/// (J^T J)^-1 at the solution, for independent point noise of unit variance: times that variance it is the covariance
/// of the parameters. Lengths in the unit of the points, angles in radians.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Covariance<const N: usize> {
    /// What the rows and columns are.
    pub parameters: [&'static str; N],
    /// The matrix, symmetric.
    pub matrix: [[f64; N]; N],
}

/// A figure fitted to points by least squares.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit<F, const N: usize> {
    /// The figure, in the unit and axes of the points.
    pub figure: F,
    /// Distance of each point from the figure, in the order of the points, with the sign that the figure says.
    pub residuals: Vec<f64>,
    /// Form error about the least-squares figure: largest minus smallest residual (of a line in space, twice the
    /// largest distance).
    pub form: f64,
    /// Covariance for unit noise.
    pub covariance: Covariance<N>,
    /// Number of parameters that the points determine: all N of them, or there would be no fit.
    pub rank: usize,
    /// Other figures that these points fit about as well; where there are any, only a nominal can choose.
    pub alternatives: Vec<F>,
}

impl<F, const N: usize> Fit<F, N> {
    fn new(figure: F, residuals: Vec<f64>, covariance: Covariance<N>) -> Self {
        let (low, high) = extremes(&residuals);
        Fit {
            figure,
            residuals,
            form: high - low,
            covariance,
            rank: N,
            alternatives: Vec::new(),
        }
    }

    /// Largest residual, with its sign.
    #[must_use]
    pub fn max_residual(&self) -> f64 {
        extremes(&self.residuals).1
    }

    /// Smallest residual, with its sign.
    #[must_use]
    pub fn min_residual(&self) -> f64 {
        extremes(&self.residuals).0
    }

    /// Sum of squared residuals.
    #[must_use]
    pub fn sum_of_squares(&self) -> f64 {
        self.residuals
            .chunks(1024)
            .map(|block| block.iter().map(|r| r * r).sum::<f64>())
            .sum()
    }

    /// Root mean square residual, over the number of points.
    #[must_use]
    pub fn rms(&self) -> f64 {
        (self.sum_of_squares() / count(self.residuals.len())).sqrt()
    }
}

fn extremes(values: &[f64]) -> (f64, f64) {
    let nothing = (f64::INFINITY, f64::NEG_INFINITY);
    let wider = |(low, high): (f64, f64), v: f64| (if v < low { v } else { low }, if v > high { v } else { high });
    // Side by side, so that one comparison need not wait for the other.
    let (fours, rest) = values.as_chunks::<4>();
    let mut lanes = [nothing; 4];
    for four in fours {
        for (lane, v) in lanes.iter_mut().zip(four) {
            *lane = wider(*lane, *v);
        }
    }
    let all = rest.iter().fold(nothing, |all, v| wider(all, *v));
    let join = |all, lane: (f64, f64)| wider(wider(all, lane.0), lane.1);
    if fours.is_empty() {
        all
    } else {
        lanes.into_iter().fold(all, join)
    }
}
