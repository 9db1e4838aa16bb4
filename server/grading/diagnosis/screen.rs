//! Sets of near and item faults in one world, ranked by their marginal likelihood in a linear approximation.
//!
//! All inner products are made once; a set then costs the solution of at most three equations. A value that one fault
//! spoils is a column of its own (mean-shift model of an outlier: Cook and Weisberg, Residuals and Influence in
//! Regression, 1982, 2.2.2). All single faults and pairs are ranked; triples extend the best pairs.

use super::family::{Pick, Weights, gross_error, with_amount};
use super::products::{Column, Products, Solved, products};
use super::scene::{Scene, count};
use super::world::{BASIS, World};

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
/// Half the logarithm of two pi.
pub(super) const HALF_LN_2PI: f64 = 0.918_938_533_204_672_7;

/// Ranks all sets of near and item faults in a world, linearised at no near fault or at the world's own amounts.
pub(super) fn screen(
    scene: &Scene<'_>,
    weights: &Weights,
    near: &[Pick],
    world: &World,
    at: &[f64; BASIS],
    far_aside: bool,
) -> Vec<Ranked> {
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
                    let Some(cost) = item_cost(scene, &pick, line, off, sd) else {
                        continue;
                    };
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
