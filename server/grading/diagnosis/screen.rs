//! Sets of near and item faults in one world, ranked by their marginal likelihood in a linear approximation.
//!
//! All inner products are made once; a set then costs the solution of at most three equations. A value that one fault
//! spoils is a column of its own (mean-shift model of an outlier: Cook and Weisberg, Residuals and Influence in
//! Regression, 1982, 2.2.2). All single faults and pairs are ranked; triples extend the best pairs.

use super::family::{Pick, Weights, gross_error, with_amount};
use super::products::{Column, Products, Set, Solved, products};
use super::scene::{Scene, count};
use super::world::{BASIS, World};

/// A set of picks with its rank: logarithm of prior times approximate marginal likelihood, up to a constant that is the
/// same for all sets of all worlds of a report.
#[derive(Debug, Clone)]
pub(super) struct Ranked {
    pub(super) picks: Vec<Pick>,
    pub(super) score: f64,
}

/// The best sets of a world.
#[derive(Debug, Clone)]
pub(super) struct Screened {
    pub(super) found: Vec<Ranked>,
    /// Logarithm of a bound of all that was ranked and did not come back.
    pub(super) tail: f64,
}

/// Pairs that triples are made from, sets that are matched with slips, sets that come back.
const PAIRS: usize = 60;
const MATCHED: usize = 160;
const BACK: usize = 40;
/// How far below the best sets are still looked at, and how many are whatever their rank.
const DEEP: f64 = 30.0;
const FEW: usize = 16;
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
) -> Screened {
    let room = 3_usize.saturating_sub(world.picks.len());
    let Some(products) = products(scene, near, world, at, far_aside) else {
        return Screened {
            found: Vec::new(),
            tail: f64::NEG_INFINITY,
        };
    };
    let prior = |n: usize| {
        let n = n + world.picks.len();
        let orders: f64 = (1..=n).map(count).product();
        (scene.priors.count.get(n).copied().unwrap_or(0.0) * orders).ln()
    };
    let (ranked, all) = products.rank(room, (PAIRS, MATCHED), [prior(0), prior(1), prior(2), prior(3)]);
    let mut sets: Vec<Chosen> = Vec::new();
    let within = |score: f64, place: usize, best: f64| place < FEW || score > best - DEEP;
    let best = ranked.first().map_or(0.0, |s| s.score);
    for (place, set) in ranked.iter().enumerate().filter(|(i, s)| within(s.score, *i, best)) {
        choices(scene, weights, &products, (place, set), &mut sets);
    }
    largest(&mut sets, BACK, |c| c.score);
    let best = sets.first().map_or(0.0, |s| s.score);
    let kept = sets
        .iter()
        .enumerate()
        .filter(|(i, s)| within(s.score, *i, best))
        .count();
    sets.truncate(kept);
    let back = |chosen: &Chosen| Ranked {
        picks: picks_of((scene, weights), (near, world), &products, &ranked[chosen.set], chosen),
        score: chosen.score,
    };
    let found: Vec<Ranked> = sets.iter().map(back).collect();
    // What did not come back ranks no higher than the last that did.
    let last = found.last().map_or(f64::NEG_INFINITY, |r| r.score);
    Screened {
        tail: last + count(all.saturating_sub(found.len())).ln(),
        found,
    }
}

/// Keeps the `most` with the largest scores, largest first.
pub(super) fn largest<T>(of: &mut Vec<T>, most: usize, score: impl Fn(&T) -> f64) {
    let falling = |a: &T, b: &T| score(b).total_cmp(&score(a));
    if of.len() > most {
        of.select_nth_unstable_by(most, falling);
        of.truncate(most);
    }
    of.sort_by(falling);
}

/// A ranked set of columns with what happened to each spoilt line, by place among that line's picks.
struct Chosen {
    set: usize,
    picks: [usize; 3],
    solved: Solved,
    score: f64,
}

/// All ways in which the spoilt lines of a set may have come about: every slip that leads to about what the rest
/// predicts, or a gross error.
fn choices(
    scene: &Scene<'_>,
    weights: &Weights,
    products: &Products,
    (place, set): (usize, &Set),
    found: &mut Vec<Chosen>,
) {
    let solved = products.solve(set.members());
    let from = found.len();
    found.push(Chosen {
        set: place,
        picks: [0; 3],
        solved,
        score: set.score,
    });
    for (member, c) in set.members().iter().enumerate() {
        let Column::Item(line) = products.columns[*c] else {
            continue;
        };
        let (off, sd) = (solved.amounts[member], solved.sd[member]);
        let before: Vec<Chosen> = found.drain(from..).collect();
        for (i, pick) in weights.item(scene, line).iter().enumerate() {
            let Some(cost) = item_cost(scene, pick, line, off, sd) else {
                continue;
            };
            for chosen in &before {
                let mut picks = chosen.picks;
                picks[member] = i;
                found.push(Chosen {
                    picks,
                    score: chosen.score - products.penalty[*c] + pick.log_weight + cost,
                    ..*chosen
                });
            }
        }
    }
}

/// The picks that a chosen set stands for.
fn picks_of(
    (scene, weights): (&Scene<'_>, &Weights),
    (near, world): (&[Pick], &World),
    products: &Products,
    set: &Set,
    chosen: &Chosen,
) -> Vec<Pick> {
    let mut picks = world.picks.clone();
    for (member, c) in set.members().iter().enumerate() {
        picks.push(match products.columns[*c] {
            Column::Free(p) => Pick {
                fault: with_amount(&near[p].fault, chosen.solved.amounts[member]),
                ..near[p].clone()
            },
            Column::Step(p) => near[p].clone(),
            Column::Item(line) => weights.item(scene, line)[chosen.picks[member]].clone(),
        });
    }
    picks
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
