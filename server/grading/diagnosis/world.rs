//! Worlds: what groups of values may mean (axes exchanged, radii for diameters, another plate, ...), ranked by how much of
//! the report each could explain together with whatever near faults there are.
//!
//! The rank is a robust loss: every value costs at most [`CAP`], and all near faults with a free amount are fitted at
//! once (iteratively reweighted least squares with weights that fall off, Holland and Welsch, Commun. Stat. A6, 1977).
//! It is used to leave out what cannot matter, never as a probability.

use std::rc::Rc;

use super::family::{Pick, amount, gross_error, key, with_amount};
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
/// Change of an amount, over its prior's standard deviation, that is none.
const SETTLED: f64 = 1e-9;
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

/// Slopes of every line by the free near faults.
pub(super) type Slopes = Vec<[f64; BASIS]>;

/// Changes of all predictions by the free near faults beside `faults`, at `amounts`: prediction there, and slopes.
pub(super) fn slopes(
    scene: &Scene<'_>,
    faults: &[Fault],
    basis: &[&Pick],
    amounts: &[f64; BASIS],
) -> Option<(Vec<f64>, Slopes)> {
    let zero = amounts.iter().all(|a| a.abs() <= 0.0);
    let mut all: Vec<Fault> = faults.to_vec();
    if !zero {
        all.extend(basis.iter().zip(amounts).map(|(p, a)| with_amount(&p.fault, *a)));
    }
    let at = scene.predict(&all)?;
    let mut slopes = vec![[0.0; BASIS]; scene.len()];
    for (k, pick) in basis.iter().enumerate() {
        let h = 1e-3 * pick.sd.unwrap_or(1.0);
        let place = if zero { faults.len() } else { faults.len() + k };
        let fault = with_amount(&pick.fault, amounts[k] + h);
        let before = if zero {
            all.push(fault);
            None
        } else {
            all.get_mut(place).map(|f| std::mem::replace(f, fault))
        };
        let moved = scene.predict(&all)?;
        match before {
            Some(before) => all[place] = before,
            None => all.truncate(faults.len()),
        }
        for (i, slope) in slopes.iter_mut().enumerate() {
            slope[k] = scene.difference(i, moved[i], at[i]) / h;
        }
    }
    Some((at, slopes))
}

/// As [`slopes`] at no near fault. Writing down is linear: the slopes of what is measured are made once for all worlds that
/// differ in writing only, and carried to where the values stand.
pub(super) fn slopes_at_none(
    scene: &Scene<'_>,
    faults: &[Fault],
    carriers: &[Carrier],
    basis: &[&Pick],
) -> Option<(Vec<f64>, Slopes)> {
    let crossed = faults.iter().any(|f| matches!(f, Fault::AxesExchanged {}));
    if crossed && !scene.has_both_columns() {
        return slopes(scene, faults, basis, &[0.0; BASIS]);
    }
    let measured: Vec<Fault> = faults.iter().filter(|f| !is_writing(f)).cloned().collect();
    let name: Vec<(u64, u64)> = measured
        .iter()
        .map(|f| (key(f), amount(f).map_or(0, f64::to_bits)))
        .collect();
    let known = scene.slopes.borrow().get(&name).cloned();
    let of_measured = match known {
        Some(known) => known,
        None => {
            let (_, made) = slopes(scene, &measured, basis, &[0.0; BASIS])?;
            let made = Rc::new(made);
            scene.slopes.borrow_mut().insert(name, Rc::clone(&made));
            made
        }
    };
    let carried = carriers.iter().map(|c| of_measured[c.line].map(|s| s * c.factor));
    Some((scene.predict(faults)?, carried.collect()))
}

/// Whether a fault of the world acts on values that were measured already.
const fn is_writing(fault: &Fault) -> bool {
    matches!(
        fault,
        Fault::WrongUnit { .. }
            | Fault::RadiusForDiameter { .. }
            | Fault::DeviationForValue { .. }
            | Fault::NominalsCopied { .. }
            | Fault::FeaturesExchanged { .. }
            | Fault::AxesExchanged {}
            | Fault::AxisReversed { .. }
    )
}

/// Prepares and ranks a world.
pub(super) fn world(scene: &Scene<'_>, basis: &[&Pick], picks: Vec<Pick>) -> Option<World> {
    let faults: Vec<Fault> = picks
        .iter()
        .filter(|p| p.is_predicted())
        .map(|p| p.fault.clone())
        .collect();
    let carriers = Model::carriers(scene.model, &scene.model.edit(&faults).ok()?);
    let (predicted, slopes) = slopes_at_none(scene, &faults, &carriers, basis)?;
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
        scaled(off, &slopes[*i], total[*i])
    };
    let robust = Robust {
        rows: rows.iter().map(row).collect(),
        count: basis.len().min(BASIS),
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
fn scaled(residual: f64, slopes: &[f64; BASIS], variance: f64) -> Row {
    let scale = 1.0 / variance.max(f64::MIN_POSITIVE).sqrt();
    (slopes.map(|s| s * scale), residual * scale)
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
                let next = self.step(&amounts, SOFT);
                let still = next.iter().zip(&amounts).zip(&self.sd);
                let done = still.map(|((a, b), s)| (a - b).abs() / s).fold(0.0, f64::max) < SETTLED;
                amounts = next;
                if done {
                    break;
                }
            }
            let loss = self.loss(&amounts);
            if loss < best.1 {
                best = (amounts, loss);
            }
            // Where all values fit there is nothing to be had from another start.
            if farthest(&amounts) <= SOFT {
                break;
            }
        }
        best
    }

    /// Weighted least squares with the weights that the residuals at `amounts` have at this softness.
    fn step(&self, amounts: &[f64; BASIS], soft: f64) -> [f64; BASIS] {
        let mut system = Normal::new(&self.sd, self.count);
        for row in &self.rows {
            let weight = if soft.is_finite() {
                let e = left(row, amounts);
                let w = soft / (soft + e * e);
                w * w
            } else {
                1.0
            };
            system.add(row, weight);
        }
        system.solve()
    }
}

/// Normal equations of the basis, all sizes fixed so that the sums run side by side.
struct Normal {
    a: [[f64; BASIS]; BASIS],
    b: [f64; BASIS],
}

impl Normal {
    fn new(sd: &[f64; BASIS], count: usize) -> Self {
        let mut a = [[0.0; BASIS]; BASIS];
        for (k, s) in sd.iter().enumerate() {
            a[k][k] = if k < count { 1.0 / (s * s) } else { 1.0 };
        }
        Self { a, b: [0.0; BASIS] }
    }

    /// Only what lies on the diagonal and below it is used.
    fn add(&mut self, (p, residual): &Row, weight: f64) {
        for ((row, b), v) in self.a.iter_mut().zip(&mut self.b).zip(p) {
            let wp = weight * v;
            *b += wp * residual;
            for (entry, v) in row.iter_mut().zip(p) {
                *entry += wp * v;
            }
        }
    }

    /// By Cholesky's factor (Golub and Van Loan, Matrix Computations, 4.2), column by column.
    #[expect(clippy::needless_range_loop, reason = "the indices run over triangles")]
    fn solve(mut self) -> [f64; BASIS] {
        let mut inverse = [0.0; BASIS];
        for k in 0..BASIS {
            let root = self.a[k][k].max(f64::MIN_POSITIVE).sqrt();
            inverse[k] = 1.0 / root;
            for i in k..BASIS {
                self.a[i][k] *= inverse[k];
            }
            self.b[k] *= inverse[k];
            for i in k + 1..BASIS {
                let f = self.a[i][k];
                self.b[i] -= f * self.b[k];
                for j in k + 1..=i {
                    self.a[i][j] -= f * self.a[j][k];
                }
            }
        }
        let mut x = self.b;
        for i in (0..BASIS).rev() {
            x[i] *= inverse[i];
            for j in 0..i {
                x[j] -= self.a[i][j] * x[i];
            }
        }
        x
    }
}
