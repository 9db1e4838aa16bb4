//! Sets of near and item faults in one world, ranked by their marginal likelihood in a linear approximation.
//!
//! All inner products are made once; a set then costs the solution of at most three equations. A value that one fault
//! spoils is a column of its own (mean-shift model of an outlier: Cook and Weisberg, Residuals and Influence in
//! Regression, 1982, 2.2.2). All single faults and pairs are ranked; triples extend the best pairs.

use nalgebra::DMatrix;

use super::evidence::System;
use super::family::{Pick, Weights, gross_error, with_amount};
use super::scene::{Scene, count};
use super::world::{BASIS, World, basis, slopes};
use crate::procedure::noise::FRAME_PARAMETERS;

/// A set of picks with its rank: logarithm of prior times approximate marginal likelihood, up to a constant that is the
/// same for all sets of all worlds of a report.
#[derive(Debug, Clone)]
pub(super) struct Ranked {
    pub(super) picks: Vec<Pick>,
    pub(super) score: f64,
}

/// Pairs that triples are made from, sets that are matched with slips, sets that come back.
const PAIRS: usize = 60;
const MATCHED: usize = 160;
const BACK: usize = 40;
/// Slips in standard deviations of the value that the rest predicts.
const NEAR_ENOUGH: f64 = 6.0;
/// What a spoilt value is expected to cost before it is known how: one slip of so many on as many lines as there are.
const SLIPS_OF_A_LINE: f64 = 60.0;
const HALF_LN_2PI: f64 = 0.918_938_533_204_672_7;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Column {
    /// Place among the near picks; free amount.
    Free(usize),
    /// Place among the near picks; known step.
    Step(usize),
    /// A line of the sheet.
    Item(usize),
}

/// Inner products of a world.
struct Products {
    columns: Vec<Column>,
    /// Columns with columns.
    gram: DMatrix<f64>,
    /// Columns with the residuals.
    with_rest: Vec<f64>,
    /// Residuals with themselves, and the logarithm of the normaliser.
    rest: f64,
    constant: f64,
    penalty: Vec<f64>,
    /// Precision of the prior of a free column.
    ridge: Vec<f64>,
}

struct Solved {
    score: f64,
    /// Amounts and standard deviations, member by member; a known step has none.
    amounts: [f64; 3],
    sd: [f64; 3],
}

impl Products {
    fn solve(&self, set: &[usize]) -> Solved {
        let mut unknown = [0_usize; 3];
        let mut n = 0;
        let (mut rest, mut score) = (self.rest, self.constant);
        let is_step = |c: usize| matches!(self.columns[c], Column::Step(_));
        for c in set {
            score += self.penalty[*c];
            if is_step(*c) {
                rest += self.gram[(*c, *c)] - 2.0 * self.with_rest[*c];
                for d in set.iter().filter(|d| *d < c && is_step(**d)) {
                    rest += 2.0 * self.gram[(*c, *d)];
                }
            } else {
                unknown[n] = *c;
                n += 1;
            }
        }
        let mut system = System::new(n);
        for (i, c) in unknown[..n].iter().enumerate() {
            let mut row = [0.0; 3];
            for (entry, d) in row.iter_mut().zip(&unknown[..n]) {
                *entry = self.gram[(*c, *d)];
            }
            row[i] += self.ridge[*c];
            let b: f64 = set.iter().filter(|d| is_step(**d)).map(|d| self.gram[(*c, *d)]).sum();
            system.set_row(i, &row[..n], self.with_rest[*c] - b);
        }
        let log_determinant = system.factor();
        let x = system.solve();
        let explained: f64 = unknown[..n].iter().zip(&x).map(|(c, x)| {
            let b: f64 = set.iter().filter(|d| is_step(**d)).map(|d| self.gram[(*c, *d)]).sum();
            x * (self.with_rest[*c] - b)
        }).sum();
        score -= 0.5 * (rest - explained + log_determinant);
        let mut solved = Solved {
            score,
            amounts: [0.0; 3],
            sd: [0.0; 3],
        };
        for (member, c) in set.iter().enumerate().take(3) {
            if let Some(i) = unknown[..n].iter().position(|u| u == c) {
                solved.amounts[member] = x[i];
                solved.sd[member] = system.variance(i).sqrt();
            }
        }
        solved
    }
}

/// Ranks all sets of near and item faults in a world, linearised at no near fault or at the world's own amounts.
pub(super) fn screen(scene: &Scene<'_>, weights: &Weights, near: &[Pick], world: &World, at: &[f64; BASIS], far_aside: bool) -> Vec<Ranked> {
    let room = 3_usize.saturating_sub(world.picks.len());
    let Some(products) = products(scene, near, world, at, far_aside) else {
        return Vec::new();
    };
    let mut ranked: Vec<(Vec<usize>, Solved)> = vec![(Vec::new(), products.solve(&[]))];
    let all = products.columns.len();
    let mut singles: Vec<(Vec<usize>, Solved)> = Vec::new();
    let mut pairs: Vec<(Vec<usize>, Solved)> = Vec::new();
    let prior = |n: usize| {
        let n = n + world.picks.len();
        let orders: f64 = (1..=n).map(count).product();
        (scene.priors.count.get(n).copied().unwrap_or(0.0) * orders).ln()
    };
    if room >= 1 {
        singles.extend((0..all).map(|c| (vec![c], products.solve(&[c]))));
    }
    if room >= 2 {
        for a in 0..all {
            pairs.extend((0..a).map(|b| (vec![b, a], products.solve(&[b, a]))));
        }
    }
    let mut triples = Vec::new();
    if room >= 3 {
        pairs.sort_by(|a, b| b.1.score.total_cmp(&a.1.score));
        for (pair, _) in pairs.iter().take(PAIRS) {
            for c in (0..all).filter(|c| !pair.contains(c)) {
                let mut set = vec![pair[0], pair[1], c];
                set.sort_unstable();
                let solved = products.solve(&set);
                triples.push((set, solved));
            }
        }
    }
    ranked.extend(singles);
    ranked.extend(pairs);
    ranked.extend(triples);
    for (set, solved) in &mut ranked {
        solved.score += prior(set.len());
    }
    ranked.sort_by(|a, b| b.1.score.total_cmp(&a.1.score).then_with(|| a.0.cmp(&b.0)));
    ranked.dedup_by(|a, b| a.0 == b.0);
    let mut sets = Vec::new();
    for (set, solved) in ranked.iter().take(MATCHED) {
        sets.extend(matched((scene, weights), (near, world), &products, set, solved));
    }
    sets.sort_by(|a, b| b.score.total_cmp(&a.score));
    sets.truncate(BACK);
    sets
}

/// Makes picks of columns. A spoilt line becomes every slip that leads to about what the rest predicts, or a gross error.
fn matched(
    (scene, weights): (&Scene<'_>, &Weights),
    (near, world): (&[Pick], &World),
    products: &Products,
    set: &[usize],
    solved: &Solved,
) -> Vec<Ranked> {
    let mut found = vec![Ranked {
        picks: world.picks.clone(),
        score: solved.score,
    }];
    for (member, c) in set.iter().enumerate() {
        let mut next = Vec::new();
        match products.columns[*c] {
            Column::Free(p) | Column::Step(p) => {
                let mut pick = near[p].clone();
                if let Column::Free(_) = products.columns[*c] {
                    pick.fault = with_amount(&pick.fault, solved.amounts[member]);
                }
                for mut r in found {
                    r.picks.push(pick.clone());
                    next.push(r);
                }
            }
            Column::Item(line) => {
                let (off, sd) = (solved.amounts[member], solved.sd[member]);
                for pick in weights.item(scene, line) {
                    let Some(cost) = item_cost(scene, &pick, line, off, sd) else { continue };
                    for r in &found {
                        let mut picks = r.picks.clone();
                        picks.push(pick.clone());
                        next.push(Ranked {
                            score: r.score - products.penalty[*c] + pick.log_weight + cost,
                            picks,
                        });
                    }
                }
            }
        }
        found = next;
    }
    found
}

/// Logarithm of the density of what is written on a line under an item fault, up to the penalty of items: `off` is by how
/// much the value is more than the rest predicts.
fn item_cost(scene: &Scene<'_>, pick: &Pick, line: usize, off: f64, sd: f64) -> Option<f64> {
    match pick.undone {
        Some((_, value)) => {
            let predicted = scene.y[line] - off;
            let room = sd + 0.02 * off.abs();
            let z = scene.difference(line, value, predicted) / room;
            // The column's determinant leaves ln sd, which the density of the value takes back.
            (z.abs() < NEAR_ENOUGH).then(|| -sd.max(f64::MIN_POSITIVE).ln() - 0.5 * z * z)
        }
        None => gross_error::log_density(scene, line, off).map(|d| d + HALF_LN_2PI),
    }
}

fn products(scene: &Scene<'_>, near: &[Pick], world: &World, at: &[f64; BASIS], far_aside: bool) -> Option<Products> {
    let free = basis(near);
    let (at_predicted, slopes) = slopes(scene, &world.faults, &free, at)?;
    let lines: Vec<usize> = (0..scene.len()).filter(|i| world.active[*i]).collect();
    let mut columns = Vec::new();
    let mut design: Vec<Vec<f64>> = Vec::new();
    let (mut penalty, mut ridge) = (Vec::new(), Vec::new());
    let mut k = 0;
    for (p, pick) in near.iter().enumerate() {
        penalty.push(pick.log_weight + pick.sd.map_or(0.0, |s| -s.ln()));
        ridge.push(pick.sd.map_or(0.0, |s| 1.0 / (s * s)));
        if pick.sd.is_some() {
            columns.push(Column::Free(p));
            design.push(lines.iter().map(|i| slopes.get(k).map_or(0.0, |s| s[*i])).collect());
            k += 1;
        } else {
            let mut faults = world.faults.clone();
            faults.push(pick.fault.clone());
            let moved = scene.predict(&faults)?;
            columns.push(Column::Step(p));
            design.push(lines.iter().map(|i| scene.difference(*i, moved[*i], world.predicted[*i])).collect());
        }
    }
    // Around the linearisation: residuals at no near fault.
    let residuals: Vec<f64> = lines
        .iter()
        .map(|i| {
            let back: f64 = slopes.iter().zip(at).map(|(s, a)| s[*i] * a).sum();
            scene.difference(*i, scene.y[*i], at_predicted[*i] - back)
        })
        .collect();
    let aside = |i: usize| turned(scene, world, &at_predicted, i) || far_aside && far(scene, world, i);
    let (precision, log_determinant) = precision(scene, world, &lines, &aside);
    for (j, line) in lines.iter().enumerate() {
        columns.push(Column::Item(*line));
        let mut unit = vec![0.0; lines.len()];
        unit[j] = 1.0;
        design.push(unit);
        let usual_sd = 0.5 * precision[(j, j)].max(f64::MIN_POSITIVE).ln();
        penalty.push(usual_sd + HALF_LN_2PI - (count(scene.len()) * SLIPS_OF_A_LINE).ln());
        ridge.push(0.0);
    }
    let x = DMatrix::from_fn(lines.len(), design.len(), |i, c| design[c][i]);
    let r = DMatrix::from_column_slice(lines.len(), 1, &residuals);
    let weighted = &precision * &x;
    let gram = x.transpose() * &weighted;
    let with_rest = weighted.transpose() * &r;
    let rest = (r.transpose() * &precision * &r)[(0, 0)];
    let copied = (scene.lines().count() - lines.len()).min(scene.len());
    let world_weight: f64 = world.picks.iter().map(|p| p.log_weight).sum();
    Some(Products {
        columns,
        with_rest: with_rest.iter().copied().collect(),
        gram,
        rest,
        constant: world_weight - 0.5 * log_determinant - HALF_LN_2PI * count(lines.len()) - scene.step.ln() * count(copied),
        penalty,
        ridge,
    })
}

/// Whether a value that turns at 0 (form, orientation, position) is so far from where it stands without near faults that
/// known steps do not add up there. The exact weighing looks at it again.
fn turned(scene: &Scene<'_>, world: &World, at_predicted: &[f64], line: usize) -> bool {
    let moved = scene.difference(line, at_predicted[line], world.predicted[line]);
    scene.exercise.characteristics[line].of.is_geometrical() && moved * moved > 9.0 * world.variance[line]
}

/// Whether an orientation or a position is far from what the world predicts.
pub(super) fn far(scene: &Scene<'_>, world: &World, line: usize) -> bool {
    let of = scene.exercise.characteristics[line].of;
    let off = scene.difference(line, scene.y[line], world.predicted[line]);
    of.is_geometrical() && !of.is_form() && off * off > 16.0 * world.variance[line]
}

/// Factor on the variance of values that are put aside.
const ASIDE: f64 = 1e8;

/// Inverse of the covariance of the written values (Woodbury) and the logarithm of the covariance's determinant.
fn precision(scene: &Scene<'_>, world: &World, lines: &[usize], aside: &dyn Fn(usize) -> bool) -> (DMatrix<f64>, f64) {
    let loads = DMatrix::from_fn(lines.len(), FRAME_PARAMETERS, |i, k| {
        let c = world.carriers[lines[i]];
        scene.frame[c.line][k] * c.factor
    });
    let plain: Vec<f64> = lines.iter().map(|i| 1.0 / world.variance[*i].max(f64::MIN_POSITIVE)).collect();
    let weights: Vec<f64> = lines.iter().zip(&plain).map(|(i, w)| if aside(*i) { w / ASIDE } else { *w }).collect();
    let weighted = DMatrix::from_fn(lines.len(), FRAME_PARAMETERS, |i, k| loads[(i, k)] * weights[i]);
    let mut inner = DMatrix::identity(FRAME_PARAMETERS, FRAME_PARAMETERS);
    inner += loads.transpose() * &weighted;
    // Scores stay comparable: what is put aside keeps the normaliser that it has.
    let mut log_determinant: f64 = plain.iter().map(|w| -w.ln()).sum();
    let mut precision = DMatrix::from_fn(lines.len(), lines.len(), |i, j| if i == j { weights[i] } else { 0.0 });
    if let Some(factor) = inner.cholesky() {
        log_determinant += factor.l().diagonal().iter().map(|d| 2.0 * d.ln()).sum::<f64>();
        precision -= &weighted * factor.inverse() * weighted.transpose();
    }
    (precision, log_determinant)
}
