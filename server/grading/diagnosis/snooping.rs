//! Plain data snooping, the baseline that the diagnosis is held against.
//!
//! One alternative at a time, the one with the largest standardised statistic, is taken to be the mistake if the
//! statistic is beyond the limit; then the next, up to three (Baarda, Netherlands Geodetic Commission 2(5), 1968). The
//! statistic is the root of the drop in the sum of squares. No priors, no combinations, no scale of the noise.

use super::assess::{Assessed, assess};
use super::family::{Pick, Weights};
use super::scene::Scene;
use crate::procedure::fault::{Fault, MOST_FAULTS};

/// Two-sided normal limit at 1 in 1,000.
const LIMIT: f64 = 3.29;

/// Faults that plain data snooping finds, each with the standard deviation of its amount.
pub(super) fn snoop(scene: &Scene<'_>, weights: &Weights, near: &[Pick]) -> Vec<(Fault, f64)> {
    let declared = scene.priors.noise.get(..1).unwrap_or_default();
    let Some(mut now) = assess(scene, &[], declared) else {
        return Vec::new();
    };
    for _ in 0..MOST_FAULTS {
        let before = squares(&now);
        let mut best: Option<(f64, Assessed)> = None;
        for pick in alternatives(scene, weights, near, &now) {
            let settled = now.picks.iter().zip(&now.faults).map(|(p, f)| Pick {
                fault: f.clone(),
                ..p.clone()
            });
            let picks: Vec<Pick> = settled.chain([pick]).collect();
            let Some(set) = assess(scene, &picks, declared) else {
                continue;
            };
            let drop = before - squares(&set);
            if drop > best.as_ref().map_or(0.0, |(d, _)| *d) {
                best = Some((drop, set));
            }
        }
        match best {
            Some((drop, set)) if drop.sqrt() > LIMIT => now = set,
            _ => break,
        }
    }
    now.faults.iter().cloned().zip(now.sd.iter().copied()).collect()
}

fn squares(set: &Assessed) -> f64 {
    set.standardised.iter().map(|s| s * s).sum()
}

fn alternatives(scene: &Scene<'_>, weights: &Weights, near: &[Pick], now: &Assessed) -> Vec<Pick> {
    let mut all: Vec<Pick> = near.to_vec();
    all.extend(weights.worlds(scene, &[], &[]));
    all.extend(scene.lines().flat_map(|i| weights.item(scene, i).to_vec()));
    all.retain(|p| !now.picks.iter().any(|q| p.key == q.key));
    all
}
