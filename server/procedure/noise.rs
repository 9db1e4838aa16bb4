//! The noise of an honest pair.
//!
//! The touches' repeatability goes through the frame into all characteristics together; independent normal noise brings
//! each characteristic's standard deviation to `U_lab` / 2, and there is none of it where the frame's share is already
//! larger. True values differ from the reference by N(0, (`U_ref`/2)^2).
//!
//! To first order the touches act through six numbers: the tilts about x and y and the height of the primary datum, the
//! rotation and the offset of the secondary, the offset of the tertiary. Each is a weighted sum of the touches' errors
//! along their normals (least-squares plane and line through the touches, middle of the tertiary's), and each acts about
//! the middles of the touches as the same displacement does as a fault.

use nalgebra::DMatrix;

use super::edit::Edit;
use super::frame::{Frame, FrameError};
use super::model::{Model, Truth};
use super::reads::{Kind, Work, evaluate};
use crate::exercise::geometry::wrap_half_turn;
use crate::exercise::model::{Axis, Datum, DatumFrame};
use crate::units::decimal_to_f64;

/// Number of parameters of a frame.
pub const FRAME_PARAMETERS: usize = 6;

/// How the touches' errors make the frame's errors: angles in degrees about Z, x, y, then shifts along x, y, z.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TouchNoise {
    /// Standard deviation of one touch.
    pub(super) repeatability: f64,
    /// One row per touch, primary, secondary, tertiary, in the order of the file.
    pub(super) weights: Vec<[f64; FRAME_PARAMETERS]>,
}

/// Sum of squares of touches' distances from their middle, relative to their spread, below which they are one place.
const TOO_CLOSE: f64 = 1e-12;

impl TouchNoise {
    pub(super) fn new(frame: &DatumFrame, repeatability: f64) -> Result<Self, FrameError> {
        let mut weights = primary(&frame.primary)?;
        weights.extend(secondary(&frame.secondary)?);
        weights.extend(middle(&frame.tertiary));
        Ok(Self { repeatability, weights })
    }

    /// Covariance of the frame's six parameters, row by row.
    fn covariance(&self) -> [[f64; FRAME_PARAMETERS]; FRAME_PARAMETERS] {
        let mut covariance = [[0.0; FRAME_PARAMETERS]; FRAME_PARAMETERS];
        for w in &self.weights {
            for (row, wi) in covariance.iter_mut().zip(w) {
                for (entry, wj) in row.iter_mut().zip(w) {
                    *entry += wi * wj * self.repeatability * self.repeatability;
                }
            }
        }
        covariance
    }
}

/// Touches in the two coordinates beside the one that the datum sets, less their mean.
fn centred(datum: &Datum) -> Vec<[f64; 2]> {
    let touches: Vec<[f64; 2]> = datum.touches.iter().map(|t| t.map(decimal_to_f64)).collect();
    let count = count(datum);
    let mean = touches
        .iter()
        .fold([0.0; 2], |m, t| [m[0] + t[0] / count, m[1] + t[1] / count]);
    touches.iter().map(|t| [t[0] - mean[0], t[1] - mean[1]]).collect()
}

fn count(datum: &Datum) -> f64 {
    datum.touches.iter().map(|_| 1.0).sum::<f64>().max(1.0)
}

/// A touched surface that is measured too high by e gives coordinates too small by e.
fn middle(datum: &Datum) -> Vec<[f64; FRAME_PARAMETERS]> {
    let mut row = [0.0; FRAME_PARAMETERS];
    row[3 + datum.sets.index()] = -1.0 / count(datum);
    vec![row; datum.touches.len()]
}

/// Least-squares plane z = mean + a x + b y: tilt about y by -a, about x by +b.
fn primary(datum: &Datum) -> Result<Vec<[f64; FRAME_PARAMETERS]>, FrameError> {
    let places = centred(datum);
    let sum = |f: fn(&[f64; 2]) -> f64| places.iter().map(f).sum::<f64>();
    let (xx, xy, yy) = (sum(|p| p[0] * p[0]), sum(|p| p[0] * p[1]), sum(|p| p[1] * p[1]));
    let determinant = xx * yy - xy * xy;
    if determinant <= TOO_CLOSE * (xx + yy) * (xx + yy) {
        return Err(FrameError::Touches {
            letter: datum.letter,
            what: "they are on one line and fix no plane",
        });
    }
    let mut rows = middle(datum);
    for (row, p) in rows.iter_mut().zip(&places) {
        row[1] = ((xx * p[1] - xy * p[0]) / determinant).to_degrees();
        row[2] = -((yy * p[0] - xy * p[1]) / determinant).to_degrees();
    }
    Ok(rows)
}

/// Least-squares line in plan view: x = mean + s y is the rotation -s, y = mean + s x the rotation +s.
fn secondary(datum: &Datum) -> Result<Vec<[f64; FRAME_PARAMETERS]>, FrameError> {
    // The coordinate in plan view is the first of the two that a touch gives, for x and for y alike.
    let along: Vec<f64> = centred(datum).iter().map(|p| p[0]).collect();
    let spread: f64 = along.iter().map(|a| a * a).sum();
    if spread <= TOO_CLOSE {
        return Err(FrameError::Touches {
            letter: datum.letter,
            what: "they are at one place and fix no direction",
        });
    }
    let sign = if datum.sets == Axis::X { -1.0 } else { 1.0 };
    let mut rows = middle(datum);
    for (row, a) in rows.iter_mut().zip(&along) {
        row[0] = sign * (a / spread).to_degrees();
    }
    Ok(rows)
}

/// Change of every characteristic by unit of the frame's six parameters, at the perfect procedure on one plate.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FrameShare {
    pub(super) slopes: Vec<[f64; FRAME_PARAMETERS]>,
}

/// Steps of the central differences: far below any tolerance, far above binary noise.
const DEGREES: f64 = 1e-4;
const LENGTH: f64 = 1e-5;

impl FrameShare {
    pub(super) fn new(model: &Model, truth: &Truth) -> Self {
        let mut slopes = vec![[0.0; FRAME_PARAMETERS]; model.lines.len()];
        let (mut above, mut below) = (Work::default(), Work::default());
        for parameter in 0..FRAME_PARAMETERS {
            let step = if parameter < 3 { DEGREES } else { LENGTH };
            let posed = |by: f64| {
                let mut pose = [0.0; FRAME_PARAMETERS];
                pose[parameter] = by;
                let frame = Frame::posed(&model.datums, [pose[0], pose[1], pose[2]], [pose[3], pose[4], pose[5]]);
                Edit { frame, ..Edit::none() }
            };
            evaluate(model, truth, &posed(step), &mut above);
            evaluate(model, truth, &posed(-step), &mut below);
            for (i, line) in model.lines.iter().enumerate() {
                let (Some(a), Some(b), Some(slope)) = (above.values.get(i), below.values.get(i), slopes.get_mut(i))
                else {
                    continue;
                };
                let change = if matches!(line.read.kind, Kind::PlanAngle) {
                    wrap_half_turn(a - b)
                } else {
                    a - b
                };
                slope[parameter] = change / (2.0 * step);
            }
        }
        Self { slopes }
    }
}

/// Noise of an honest pair on one plate, in sheet order and in the unit of each value.
///
/// A value that turns at 0, as a position without any deviation or a parallelism does under a tilt, has no slope there
/// and no share of the frame.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Noise {
    /// Loads of six independent standard normal numbers: the frame's covariance is loads x loads'.
    pub frame: Vec<[f64; FRAME_PARAMETERS]>,
    /// Standard deviation of the independent part.
    pub independent: Vec<f64>,
    /// Standard uncertainty of the reference; `None` where the plate is not established.
    pub reference: Vec<Option<f64>>,
    /// Loads of every touch's error in units of its standard deviation, touch by touch.
    pub(super) touches: Vec<Vec<f64>>,
}

impl Noise {
    pub(super) fn new(model: &Model, truth: &Truth, reference: Vec<Option<f64>>) -> Self {
        let share = FrameShare::new(model, truth);
        let root = lower_root(model.touches.covariance());
        let load = |slope: &[f64; FRAME_PARAMETERS]| {
            let mut loads = [0.0; FRAME_PARAMETERS];
            for (s, row) in slope.iter().zip(&root) {
                for (load, r) in loads.iter_mut().zip(row) {
                    *load += s * r;
                }
            }
            loads
        };
        let frame: Vec<_> = share.slopes.iter().map(load).collect();
        let independent = model.lines.iter().zip(&frame).map(|(line, loads)| {
            let half = line.u_lab / 2.0;
            (half * half - loads.iter().map(|l| l * l).sum::<f64>()).max(0.0).sqrt()
        });
        let by_touch = |w: &[f64; FRAME_PARAMETERS]| {
            let on = |slope: &[f64; FRAME_PARAMETERS]| slope.iter().zip(w).map(|(s, w)| s * w).sum::<f64>();
            share
                .slopes
                .iter()
                .map(|s| on(s) * model.touches.repeatability)
                .collect()
        };
        Self {
            independent: independent.collect(),
            reference,
            touches: model.touches.weights.iter().map(by_touch).collect(),
            frame,
        }
    }

    /// Covariance of all characteristics that comes through the frame, n x n.
    #[must_use]
    pub fn frame_covariance(&self) -> DMatrix<f64> {
        let n = self.frame.len();
        let loads = DMatrix::from_row_iterator(n, FRAME_PARAMETERS, self.frame.iter().flatten().copied());
        &loads * loads.transpose()
    }

    /// Standard deviation of one characteristic that comes through the frame.
    #[must_use]
    pub fn frame_standard(&self, line: usize) -> f64 {
        self.frame
            .get(line)
            .map_or(0.0, |l| l.iter().map(|v| v * v).sum::<f64>().sqrt())
    }

    /// Standard deviation of one characteristic, reference apart.
    #[must_use]
    pub fn standard(&self, line: usize) -> f64 {
        self.frame_standard(line)
            .hypot(self.independent.get(line).copied().unwrap_or(0.0))
    }
}

/// Lower triangular root of a covariance (Cholesky; Golub and Van Loan, Matrix Computations, 4.2); rows of zero variance
/// stay zero.
fn lower_root(covariance: [[f64; FRAME_PARAMETERS]; FRAME_PARAMETERS]) -> [[f64; FRAME_PARAMETERS]; FRAME_PARAMETERS] {
    let mut root = [[0.0; FRAME_PARAMETERS]; FRAME_PARAMETERS];
    for i in 0..FRAME_PARAMETERS {
        for j in 0..=i {
            let known: f64 = (0..j).map(|k| root[i][k] * root[j][k]).sum();
            let rest = covariance[i][j] - known;
            root[i][j] = if i == j {
                rest.max(0.0).sqrt()
            } else if root[j][j] > 0.0 {
                rest / root[j][j]
            } else {
                0.0
            };
        }
    }
    root
}
