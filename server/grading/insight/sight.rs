//! What each mistake does to the lines of a sheet, measured in the noise of a careful pair.
//!
//! Effects are taken from the forward model on a plate that is exactly as printed. Whitened by the root of the noise's
//! covariance, a scalar product of two effects is their information in common, and a length is a number of standard
//! deviations. Form, orientation and position turn at 0, where the effect of an amount has no slope: they count for known
//! steps and not for amounts, which is to the safe side.

use nalgebra::{Cholesky, DMatrix, DVector};

use super::suspects::{Suspect, with_amount};
use crate::exercise::geometry::wrap_half_turn;
use crate::exercise::model::Exercise;
use crate::exercise::plate::{Plate, PlateKind};
use crate::grading::diagnosis::priors::NoiseKind;
use crate::procedure::fault::Fault;
use crate::procedure::model::{Model, PlateIndex};
use crate::procedure::reads::Work;
use crate::units::decimal_to_f64;

/// Effects on all lines, readings beside the sheet included, before they are weighed against noise.
pub(super) struct Ground {
    model: Model,
    plate: PlateIndex,
    base: Vec<f64>,
    half_turn: Vec<bool>,
    geometrical: Vec<bool>,
    /// Variance of the independent part.
    own: Vec<f64>,
    /// Variance of reference and rounding, which no pair changes.
    fixed: Vec<f64>,
    loads: Vec<[f64; 6]>,
    /// Expanded uncertainty of each line.
    pub(super) u: Vec<f64>,
}

/// Share of the prior's standard deviation over which a slope is taken.
const SMALL: f64 = 1e-3;

impl Ground {
    /// `reference` is the standard uncertainty of plates' references by line, where it is known.
    pub(super) fn new(exercise: &Exercise, reference: &[f64]) -> Option<Self> {
        let serial = "AS-PRINTED".parse().ok()?;
        let printed = Plate {
            serial,
            kind: PlateKind::Virtual,
            seed: None,
            shop_uncertainty: None,
            planted: std::collections::BTreeMap::new(),
            references: std::collections::BTreeMap::new(),
        };
        let model = Model::new(exercise, std::slice::from_ref(&printed)).ok()?;
        let plate = model.plate(&printed.serial).ok()?;
        let noise = model.noise(plate)?.clone();
        let places = i32::try_from(exercise.decimals).unwrap_or(0);
        let step = 10.0_f64.powi(-places);
        let fixed = (0..noise.independent.len()).map(|i| {
            let of_plate = reference.get(i).copied().unwrap_or(0.0);
            of_plate * of_plate + step * step / 12.0
        });
        let cs = &exercise.characteristics;
        let mut ground = Self {
            own: noise.independent.iter().map(|s| s * s).collect(),
            fixed: fixed.collect(),
            loads: noise.frame.clone(),
            half_turn: cs.iter().map(|c| exercise.is_plan_direction(c)).collect(),
            geometrical: cs.iter().map(|c| c.of.is_geometrical()).collect(),
            u: cs.iter().map(|c| decimal_to_f64(c.u_lab)).collect(),
            base: Vec::new(),
            model,
            plate,
        };
        ground.base = ground.predict(&[])?;
        Some(ground)
    }

    pub(super) const fn len(&self) -> usize {
        self.own.len()
    }

    fn predict(&self, faults: &[Fault]) -> Option<Vec<f64>> {
        let mut work = Work::default();
        let edit = self.model.edit(faults).ok()?;
        self.model.predict_into(self.plate, &edit, &mut work);
        work.values.iter().all(|v| v.is_finite()).then_some(work.values)
    }

    /// Effect of a known step, or by unit of a free amount.
    pub(super) fn effect(&self, suspect: &Suspect) -> Option<Vec<f64>> {
        let h = suspect.sd.map(|sd| SMALL * sd);
        let fault = h.map_or_else(|| suspect.fault.clone(), |h| with_amount(&suspect.fault, h));
        let moved = self.predict(&[fault])?;
        let of_line = |(i, (to, from)): (usize, (&f64, &f64))| {
            let turns = self.half_turn.get(i) == Some(&true);
            let change = if turns { wrap_half_turn(to - from) } else { to - from };
            match h {
                Some(_) if self.geometrical.get(i) == Some(&true) => 0.0,
                Some(h) => change / h,
                None => change,
            }
        };
        Some(moved.iter().zip(&self.base).enumerate().map(of_line).collect())
    }

    /// Root of the covariance of these lines under a kind of noise.
    pub(super) fn root(&self, lines: &[usize], kind: &NoiseKind) -> Option<Root> {
        let n = lines.len();
        let (all, frame) = (kind.all * kind.all, kind.frame * kind.frame);
        let covariance = DMatrix::from_fn(n, n, |a, b| {
            let (i, j) = (lines[a], lines[b]);
            let shared: f64 = self.loads[i].iter().zip(&self.loads[j]).map(|(p, q)| p * q).sum();
            let shared = all * frame * shared;
            if a == b {
                shared + all * self.own[i] + self.fixed[i]
            } else {
                shared
            }
        });
        Some(Root {
            lines: lines.to_vec(),
            cholesky: Cholesky::new(covariance)?,
        })
    }
}

/// The root of a covariance of some lines.
pub(super) struct Root {
    pub(super) lines: Vec<usize>,
    cholesky: Cholesky<f64, nalgebra::Dyn>,
}

impl Root {
    /// The root itself.
    pub(super) fn lower(&self) -> DMatrix<f64> {
        self.cholesky.l()
    }

    pub(super) fn log_determinant(&self) -> f64 {
        let diagonal = self.cholesky.l_dirty().diagonal();
        2.0 * diagonal.iter().map(|d| d.ln()).sum::<f64>()
    }

    /// Columns in standard deviations.
    pub(super) fn whitened(&self, columns: &DMatrix<f64>) -> DMatrix<f64> {
        let mut white = columns.clone();
        self.cholesky.l_dirty().solve_lower_triangular_mut(&mut white);
        white
    }

    /// An effect in standard deviations.
    pub(super) fn whiten(&self, effect: &[f64]) -> Vec<f64> {
        let of_lines = DVector::from_iterator(self.lines.len(), self.lines.iter().map(|i| effect[*i]));
        let mut white = of_lines;
        self.cholesky.l_dirty().solve_lower_triangular_mut(&mut white);
        white.iter().copied().collect()
    }
}

/// Scalar product.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
