//! One hypothesis weighed exactly: prediction through the forward model, free amounts by Gauss-Newton, the marginal
//! likelihood under every kind of noise.

use super::evidence::{self, Fit, Free, MOST_FREE, Row, log_sum};
use super::family::{Pick, amount, gross_error, nominals_copied, with_amount};
use super::priors::NoiseKind;
use super::scene::{Scene, count};
use crate::procedure::fault::Fault;
use crate::procedure::model::Model;
use crate::procedure::noise::FRAME_PARAMETERS;
use crate::procedure::writing::Carrier;

/// A hypothesis with its weight.
#[derive(Debug, Clone)]
pub(super) struct Assessed {
    pub(super) picks: Vec<Pick>,
    /// The faults with their free amounts as estimated, in the order of the picks.
    pub(super) faults: Vec<Fault>,
    /// Standard deviation of each fault's amount; 0 where there is none.
    pub(super) sd: Vec<f64>,
    /// Logarithm of prior times marginal likelihood.
    pub(super) log_weight: f64,
    /// What the faults predict before slips of single values.
    pub(super) predicted: Vec<f64>,
    /// Values with slips put right.
    pub(super) values: Vec<f64>,
    pub(super) carriers: Vec<Carrier>,
    /// Lines that the Gaussian says nothing of.
    pub(super) dropped: Vec<bool>,
    /// Residuals over their standard deviations; 0 where nothing is said.
    pub(super) standardised: Vec<f64>,
    /// Noise under which the report is most probable.
    pub(super) noise: NoiseKind,
}

impl Assessed {
    /// Sum of squares of standardised residuals, and how many there are.
    pub(super) fn misfit(&self) -> (f64, usize) {
        let used = self.standardised.iter().filter(|s| s.abs() > 0.0);
        (used.clone().map(|s| s * s).sum(), used.count())
    }
}

/// Logarithm of the prior of a set of faults that may have happened in any order.
pub(super) fn log_prior(scene: &Scene<'_>, picks: &[Pick]) -> f64 {
    let orders: f64 = (1..=picks.len()).map(count).product();
    let of_count = scene.priors.count.get(picks.len()).copied().unwrap_or(0.0);
    (of_count * orders).ln() + picks.iter().map(|p| p.log_weight).sum::<f64>()
}

const STEPS: usize = 6;
/// Factor on the variance of values that are put aside.
const ASIDE: f64 = 1e8;
/// Bound of a free amount in standard deviations of its prior.
const FARTHEST: f64 = 10.0;

/// The rows of a hypothesis at given amounts.
struct Linear {
    rows: Vec<Row>,
    lines: Vec<usize>,
    predicted: Vec<f64>,
}

struct Task<'s, 'a> {
    scene: &'s Scene<'a>,
    picks: &'s [Pick],
    /// Faults that the forward model is asked about, and for each whether it is free, with its place among the picks.
    asked: Vec<usize>,
    free: Vec<usize>,
    values: Vec<f64>,
    dropped: Vec<bool>,
    carriers: Vec<Carrier>,
}

impl Task<'_, '_> {
    fn faults(&self, amounts: &[f64]) -> Vec<Fault> {
        let at = |p: &usize| {
            let fault = &self.picks[*p].fault;
            match self.free.iter().position(|f| f == p) {
                Some(k) => with_amount(fault, amounts[k]),
                None => fault.clone(),
            }
        };
        self.asked.iter().map(at).collect()
    }

    fn linear(&self, amounts: &[f64]) -> Option<Linear> {
        let scene = self.scene;
        let predicted = scene.predict(&self.faults(amounts))?;
        let lines: Vec<usize> = scene.lines().filter(|i| !self.dropped[*i]).collect();
        let mut rows: Vec<Row> = lines.iter().map(|i| self.row(*i, predicted[*i])).collect();
        for (k, pick) in self.free.iter().enumerate() {
            let h = 1e-3 * self.picks[*pick].sd.unwrap_or(1.0);
            let mut moved = amounts.to_vec();
            moved[k] += h;
            let moved = scene.predict(&self.faults(&moved))?;
            for (row, i) in rows.iter_mut().zip(&lines) {
                row.slopes[k] = scene.difference(*i, moved[*i], predicted[*i]) / h;
            }
        }
        Some(Linear { rows, lines, predicted })
    }

    fn row(&self, line: usize, predicted: f64) -> Row {
        let scene = self.scene;
        let Carrier { line: source, factor } = self.carriers[line];
        let square = factor * factor;
        Row {
            residual: scene.difference(line, self.values[line], predicted),
            loads: scene.frame[source].map(|l| l * factor),
            slopes: [0.0; MOST_FREE],
            own: square * scene.own[source],
            fixed: square * scene.reference[source] + scene.rounding(),
        }
    }

    fn frees(&self, amounts: &[f64]) -> Vec<Free> {
        let sd = |p: &usize| self.picks[*p].sd.unwrap_or(1.0);
        self.free
            .iter()
            .zip(amounts)
            .map(|(p, at)| Free { at: *at, sd: sd(p) })
            .collect()
    }

    /// Moves the amounts to the most probable ones; what is said at the last of them. Form, orientation and position turn
    /// at 0, so that their slopes may point the wrong way from afar: they come in once the others have been followed.
    fn settle(&self, amounts: &mut Vec<f64>, kind: &NoiseKind) -> Option<(Linear, Fit)> {
        let turning = |i: &usize| self.scene.exercise.characteristics[*i].of.is_geometrical();
        let mut linear = self.linear(amounts)?;
        let mut apart = !amounts.is_empty() && linear.lines.iter().any(turning);
        for _ in 0..2 * STEPS {
            let mut rows = linear.rows.clone();
            if apart {
                for (row, _) in rows.iter_mut().zip(&linear.lines).filter(|(_, i)| turning(i)) {
                    row.fixed += ASIDE * (row.own + row.fixed);
                }
            }
            let fit = evidence::fit(&rows, &self.frees(amounts), kind);
            match self.step(amounts, &fit)? {
                Some(moved) => {
                    *amounts = moved;
                    linear = self.linear(amounts)?;
                }
                None if apart => apart = false,
                None => return Some((linear, fit)),
            }
        }
        let fit = evidence::fit(&linear.rows, &self.frees(amounts), kind);
        Some((linear, fit))
    }
}

impl Task<'_, '_> {
    /// Amounts one step on; nothing where the step is far below what can be told. `None` outside where it leads nowhere.
    fn step(&self, amounts: &[f64], fit: &Fit) -> Option<Option<Vec<f64>>> {
        let mut largest = 0.0_f64;
        let mut moved = amounts.to_vec();
        for (k, a) in moved.iter_mut().enumerate() {
            let bound = FARTHEST * self.picks[self.free[k]].sd.unwrap_or(1.0);
            let to = (*a + fit.unknowns[FRAME_PARAMETERS + k]).clamp(-bound, bound);
            largest = largest.max((to - *a).abs() / fit.sd[k].max(f64::MIN_POSITIVE));
            *a = to;
        }
        largest.is_finite().then(|| (largest >= 0.02).then_some(moved))
    }
}

/// Undoes slips and marks what is dropped. `None` where two faults strike the same line.
fn prepare<'s, 'a>(scene: &'s Scene<'a>, picks: &'s [Pick]) -> Option<Task<'s, 'a>> {
    let mut values = scene.y.clone();
    let mut struck = vec![false; scene.len()];
    let asked: Vec<usize> = (0..picks.len()).filter(|p| picks[*p].is_predicted()).collect();
    let free = asked.iter().copied().filter(|p| picks[*p].sd.is_some()).collect();
    let faults: Vec<Fault> = asked.iter().map(|p| picks[*p].fault.clone()).collect();
    let carriers = Model::carriers(scene.model, &scene.model.edit(&faults).ok()?);
    let mut dropped: Vec<bool> = carriers.iter().map(Carrier::is_copied).collect();
    for pick in picks {
        // A copied value may be spoilt afterwards; no value is spoilt twice.
        for line in pick.dropped.iter().copied().chain(pick.undone.map(|u| u.0)) {
            if std::mem::replace(&mut struck[line], true) {
                return None;
            }
        }
        for line in &pick.dropped {
            dropped[*line] = true;
        }
        if let Some((line, value)) = pick.undone {
            values[line] = value;
        }
    }
    Some(Task {
        scene,
        picks,
        asked,
        free,
        values,
        dropped,
        carriers,
    })
}

/// Weighs a set of faults. Free amounts start from those in the picks' faults. `kinds` are the kinds of noise that are
/// looked at. `None` where the set contradicts itself or the model refuses it.
pub(super) fn assess(scene: &Scene<'_>, picks: &[Pick], kinds: &[NoiseKind]) -> Option<Assessed> {
    let task = prepare(scene, picks)?;
    let mut amounts: Vec<f64> = task
        .free
        .iter()
        .map(|p| amount(&picks[*p].fault).unwrap_or(0.0))
        .collect();
    let first = kinds.first()?;
    let (linear, mut best) = task.settle(&mut amounts, first)?;
    let mut noise = *first;
    let frees = task.frees(&amounts);
    let mut terms = Vec::with_capacity(kinds.len());
    let mut largest = f64::NEG_INFINITY;
    for kind in kinds {
        let fit = evidence::fit(&linear.rows, &frees, kind);
        let term = fit.log_evidence + kind.weight.ln();
        terms.push(term);
        if term > largest {
            (largest, noise, best) = (term, *kind, fit);
        }
    }
    let mut log_weight = log_prior(scene, picks) + log_sum(terms.iter().copied());
    log_weight += dropped_density(&task, &linear, &best)?;
    if !log_weight.is_finite() {
        return None;
    }
    let mut standardised = vec![0.0; scene.len()];
    for (line, s) in linear.lines.iter().zip(&best.standardised) {
        standardised[*line] = *s;
    }
    let (faults, sd) = estimates(&task, &amounts, &best);
    Some(Assessed {
        faults,
        sd,
        picks: picks.to_vec(),
        log_weight,
        predicted: linear.predicted,
        values: task.values,
        carriers: task.carriers,
        dropped: task.dropped,
        standardised,
        noise,
    })
}

fn estimates(task: &Task<'_, '_>, amounts: &[f64], fit: &Fit) -> (Vec<Fault>, Vec<f64>) {
    let mut faults = Vec::with_capacity(task.picks.len());
    let mut sds = Vec::with_capacity(task.picks.len());
    for (p, pick) in task.picks.iter().enumerate() {
        let k = task.free.iter().position(|f| *f == p);
        faults.push(k.map_or_else(|| pick.fault.clone(), |k| with_amount(&pick.fault, amounts[k])));
        sds.push(k.map_or(0.0, |k| fit.sd[k]));
    }
    (faults, sds)
}

/// Densities of values that the Gaussian leaves out: a copied nominal is certain, so that it has the density of one step
/// of the last place; a gross error has that of its size.
fn dropped_density(task: &Task<'_, '_>, linear: &Linear, fit: &Fit) -> Option<f64> {
    let scene = task.scene;
    let is_gross = |p: &&Pick| matches!(p.fault, Fault::GrossError { .. });
    let gross = |line: &usize| task.picks.iter().filter(is_gross).any(|p| p.dropped.contains(line));
    let mut sum = 0.0;
    for line in scene.lines().filter(|i| task.dropped[*i]) {
        if !gross(&line) {
            let shows = nominals_copied::shows(scene, task.values[line], linear.predicted[line]);
            sum -= shows.then(|| scene.step.ln())?;
            continue;
        }
        let loads = task.row(line, 0.0).loads;
        let shared: f64 = loads.iter().zip(&fit.unknowns).map(|(l, u)| l * u).sum();
        let off = scene.difference(line, task.values[line], linear.predicted[line]) - shared;
        sum += gross_error::log_density(scene, line, off)?;
    }
    Some(sum)
}
