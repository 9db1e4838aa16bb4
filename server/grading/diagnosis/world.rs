//! Worlds: what groups of values may mean (axes exchanged, radii for diameters, another plate, ...), ranked by how much of
//! the report each could explain together with whatever near faults there are.
//!
//! The rank is a robust loss: every value costs at most [`CAP`], and all near faults with a free amount are fitted at
//! once (iteratively reweighted least squares with weights that fall off, Holland and Welsch, Commun. Stat. A6, 1977).
//! It is used to leave out what cannot matter, never as a probability.

use super::evidence::System;
use super::family::{Pick, gross_error, with_amount};
use super::scene::Scene;
use crate::procedure::fault::Fault;
use crate::procedure::model::Model;
use crate::procedure::writing::Carrier;

/// Near faults with a free amount: shifts, angles, tip, temperature.
pub(super) const BASIS: usize = 8;
/// Most that one value costs, in logarithms of density.
const CAP: f64 = 12.0;
/// Squares of residuals around which weights fall off.
const SOFT: f64 = 9.0;
/// What an amount in use costs.
const USED: f64 = 0.5;
const ITERATIONS: usize = 3;
/// Square of a standardised residual beyond which a value does not fit.
const MISFIT: f64 = 16.0;
/// By what the scale of the weights falls from step to step, and steps at most.
const FALL: f64 = 8.0;
const MOST_STEPS: usize = 14;

/// A world with its linearisation.
#[derive(Debug, Clone)]
pub(super) struct World {
    pub(super) picks: Vec<Pick>,
    pub(super) faults: Vec<Fault>,
    pub(super) predicted: Vec<f64>,
    pub(super) carriers: Vec<Carrier>,
    /// Lines that are looked at.
    pub(super) active: Vec<bool>,
    /// Variance of each written value, frame apart.
    pub(super) variance: Vec<f64>,
    /// Amounts of the free near faults that fit most values.
    pub(super) amounts: [f64; BASIS],
    /// Robust score: larger is better.
    pub(super) score: f64,
    /// Values that even so do not fit.
    pub(super) misfits: usize,
}

/// The near faults that have a free amount, in the order of the basis.
pub(super) fn basis(near: &[Pick]) -> Vec<&Pick> {
    near.iter().filter(|p| p.sd.is_some()).take(BASIS).collect()
}

/// Changes of all predictions by the free near faults beside `faults`, at `amounts`: prediction there, and slopes.
pub(super) fn slopes(
    scene: &Scene<'_>,
    faults: &[Fault],
    basis: &[&Pick],
    amounts: &[f64; BASIS],
) -> Option<(Vec<f64>, Vec<Vec<f64>>)> {
    let zero = amounts.iter().all(|a| a.abs() <= 0.0);
    let mut all: Vec<Fault> = faults.to_vec();
    if !zero {
        all.extend(basis.iter().zip(amounts).map(|(p, a)| with_amount(&p.fault, *a)));
    }
    let at = scene.predict(&all)?;
    let mut columns = Vec::with_capacity(basis.len());
    for (k, pick) in basis.iter().enumerate() {
        let h = 1e-3 * pick.sd.unwrap_or(1.0);
        let mut moved = all.clone();
        if zero {
            moved.push(with_amount(&pick.fault, h));
        } else if let Some(fault) = moved.get_mut(faults.len() + k) {
            *fault = with_amount(&pick.fault, amounts[k] + h);
        }
        let moved = scene.predict(&moved)?;
        let slope = (0..scene.len()).map(|i| scene.difference(i, moved[i], at[i]) / h);
        columns.push(slope.collect());
    }
    Some((at, columns))
}

/// Prepares and ranks a world.
pub(super) fn world(scene: &Scene<'_>, basis: &[&Pick], picks: Vec<Pick>) -> Option<World> {
    let faults: Vec<Fault> = picks
        .iter()
        .filter(|p| p.is_predicted())
        .map(|p| p.fault.clone())
        .collect();
    let (predicted, columns) = slopes(scene, &faults, basis, &[0.0; BASIS])?;
    let carriers = Model::carriers(scene.model, &scene.model.edit(&faults).ok()?);
    let mut active = scene.seen.clone();
    let mut score = picks.iter().map(|p| p.log_weight).sum::<f64>();
    for (active, carrier) in active.iter_mut().zip(&carriers) {
        if *active && carrier.is_copied() {
            *active = false;
            score -= scene.step.ln();
        }
    }
    // A value that was copied and then spoilt for no known reason shows nothing.
    for line in picks.iter().flat_map(|p| &p.dropped) {
        if carriers[*line].is_copied() {
            let off = scene.y[*line] - predicted[*line];
            score += scene.step.ln() + gross_error::log_density(scene, *line, off)?;
        }
    }
    let variance: Vec<f64> = carriers.iter().map(|c| variance(scene, *c)).collect();
    let total: Vec<f64> = carriers
        .iter()
        .zip(&variance)
        .map(|(c, v)| v + c.factor * c.factor * shared(scene, c.line))
        .collect();
    // Form, orientation and position turn at 0: their slopes there would lead astray.
    let turning = |i: &usize| scene.exercise.characteristics[*i].of.is_geometrical();
    let rows: Vec<usize> = (0..scene.len()).filter(|i| active[*i] && !turning(i)).collect();
    let row = |i: &usize| {
        let off = scene.difference(*i, scene.y[*i], predicted[*i]);
        scaled(off, &columns, *i, total[*i])
    };
    let robust = Robust {
        rows: rows.iter().map(row).collect(),
        count: columns.len().min(BASIS),
        sd: widths(basis),
    };
    let (mut amounts, loss) = robust.best();
    score -= loss;
    for i in &rows {
        score -= 0.5 * total[*i].max(f64::MIN_POSITIVE).ln() + 0.919;
    }
    let misfit = |row: &&Row| left(row, &amounts).powi(2) > MISFIT;
    let misfits = robust.rows.iter().filter(misfit).count();
    for (a, pick) in amounts.iter_mut().zip(basis) {
        let bound = 4.0 * wide(pick);
        *a = a.clamp(-bound, bound);
    }
    Some(World {
        faults,
        predicted,
        carriers,
        active,
        variance,
        amounts,
        score,
        misfits,
        picks,
    })
}

/// Slopes and residual of a value over its standard deviation.
fn scaled(residual: f64, columns: &[Vec<f64>], line: usize, variance: f64) -> Row {
    let scale = 1.0 / variance.max(f64::MIN_POSITIVE).sqrt();
    let mut slopes = [0.0; BASIS];
    for (slope, column) in slopes.iter_mut().zip(columns) {
        *slope = column[line] * scale;
    }
    (slopes, residual * scale)
}

fn widths(basis: &[&Pick]) -> [f64; BASIS] {
    let mut sd = [1.0; BASIS];
    for (s, pick) in sd.iter_mut().zip(basis) {
        *s = wide(pick);
    }
    sd
}

/// Known steps, such as the far corner, are shifts too and may be large.
fn wide(pick: &Pick) -> f64 {
    let sd = pick.sd.unwrap_or(1.0);
    if matches!(pick.fault, Fault::OriginShift { .. }) {
        40.0 * sd
    } else {
        sd
    }
}

fn variance(scene: &Scene<'_>, c: Carrier) -> f64 {
    c.factor * c.factor * (scene.own[c.line] + scene.reference[c.line]) + scene.rounding()
}

fn shared(scene: &Scene<'_>, line: usize) -> f64 {
    scene.frame[line].iter().map(|l| l * l).sum()
}

/// Slopes and residual of a value, over its standard deviation.
type Row = ([f64; BASIS], f64);

/// A robust regression of residuals on the basis.
struct Robust {
    rows: Vec<Row>,
    count: usize,
    sd: [f64; BASIS],
}

/// Residual that the amounts leave.
fn left(row: &Row, amounts: &[f64; BASIS]) -> f64 {
    let explained: f64 = row.0.iter().zip(amounts).map(|(p, a)| p * a).sum();
    row.1 - explained
}

impl Robust {
    fn loss(&self, amounts: &[f64; BASIS]) -> f64 {
        let cost = |row: &Row| {
            let e = left(row, amounts);
            (0.5 * e * e).min(CAP)
        };
        let values: f64 = self.rows.iter().map(cost).sum();
        let used = amounts.iter().zip(&self.sd).take(self.count);
        let prior: f64 = used.clone().map(|(a, s)| 0.5 * (a / s) * (a / s)).sum();
        // Of two ends that fit alike, the one with fewer amounts.
        let used = used.filter(|(a, s)| a.abs() > 1e-3 * **s);
        values + prior.min(60.0) + used.map(|_| USED).sum::<f64>()
    }

    /// From no near fault, and from least squares with weights that fall off ever more sharply, so that few values that are
    /// far off do not hold it (graduated non-convexity; Blake and Zisserman, Visual Reconstruction, 1987); the better end.
    fn best(&self) -> ([f64; BASIS], f64) {
        let none = [0.0; BASIS];
        let mut best = (none, self.loss(&none));
        let farthest = |amounts: &[f64; BASIS]| {
            let squares = self.rows.iter().map(|row| left(row, amounts).powi(2));
            squares.fold(SOFT, f64::max)
        };
        if farthest(&none) <= SOFT {
            return best;
        }
        for graded in [false, true] {
            let mut amounts = if graded { self.step(&none, f64::INFINITY) } else { none };
            let mut soft = if graded { farthest(&amounts) } else { SOFT };
            for _ in 0..MOST_STEPS {
                amounts = self.step(&amounts, soft);
                if soft <= SOFT {
                    break;
                }
                soft = (soft / FALL).max(SOFT);
            }
            for _ in 0..ITERATIONS {
                amounts = self.step(&amounts, SOFT);
            }
            let loss = self.loss(&amounts);
            if loss < best.1 {
                best = (amounts, loss);
            }
        }
        best
    }

    /// Weighted least squares with the weights that the residuals at `amounts` have at this softness.
    fn step(&self, amounts: &[f64; BASIS], soft: f64) -> [f64; BASIS] {
        let n = self.count;
        let mut system = System::new(n);
        for (k, s) in self.sd.iter().enumerate().take(n) {
            system.add_prior(k, 1.0 / (s * s), 0.0);
        }
        for row in &self.rows {
            let weight = if soft.is_finite() {
                let e = left(row, amounts);
                let w = soft / (soft + e * e);
                w * w
            } else {
                1.0
            };
            system.add(&row.0, row.1, weight);
        }
        system.factor();
        let solved = system.solve();
        let mut amounts = [0.0; BASIS];
        amounts[..n].copy_from_slice(&solved[..n]);
        amounts
    }
}
