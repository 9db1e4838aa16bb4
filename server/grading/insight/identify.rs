//! The chance that a mistake of a given size is named, by trial: reports with its effect and honest noise, and for each
//! the probability of every other mistake. There is no closed form, because many rivals count together (Teunissen, J.
//! Geod. 92, 2018; Zaminpardaz and Teunissen, J. Geod. 93, 2019, work out minimal identifiable biases by trial as well).

use super::evidence::{Kind, Seen, lead};
use super::sight::dot;
use crate::procedure::sampler::Sampler;

/// Trials; the standard error of 0.95 is then 0.007.
const TRIALS: usize = 1000;
/// Steps of halving the interval of an amount, of which the logarithm is looked at.
const HALVINGS: usize = 16;
/// Rivals that are this far behind without noise, in logarithms beyond five standard deviations, do not count.
const BEHIND: f64 = 12.0;

/// The hypotheses of a sheet with drawn noise.
pub(super) struct Trials<'s> {
    seen: &'s [Seen],
    log_clean: f64,
    /// Probability from which a mistake is stated.
    stated: f64,
    /// Product of each effect with each noise.
    noise: Vec<Vec<f64>>,
}

impl<'s> Trials<'s> {
    /// One seed for all exercises: equal prints have equal answers.
    pub(super) fn new(seen: &'s [Seen], lines: usize, (clean, stated): (f64, f64)) -> Self {
        let mut sampler = Sampler::new(1, "insight");
        let drawn: Vec<Vec<f64>> = (0..TRIALS)
            .map(|_| (0..lines).map(|_| sampler.normal()).collect())
            .collect();
        let products = |s: &Seen| drawn.iter().map(|e| dot(&s.white, e)).collect();
        Self {
            noise: seen.iter().map(products).collect(),
            log_clean: clean.ln(),
            stated,
            seen,
        }
    }

    /// Chance that mistake `i` of this amount (1 of a known step) is named, or the set of those that would be corrected
    /// alike, for which `alike` answers.
    pub(super) fn chance(&self, i: usize, amount: f64, alike: &dyn Fn(usize) -> bool) -> f64 {
        let report: Vec<f64> = self.seen[i].white.iter().map(|w| amount * w).collect();
        let mut rivals = Vec::new();
        for (j, other) in self.seen.iter().enumerate() {
            let (by, sd) = lead(&self.seen[i], other, &report);
            if j == i || by - 5.0 * sd < BEHIND {
                rivals.push((j, dot(&other.white, &report), j == i || alike(j)));
            }
        }
        let mut named = 0.0;
        let mut evidence = vec![0.0; rivals.len()];
        for trial in 0..TRIALS {
            for (e, (j, product, _)) in evidence.iter_mut().zip(&rivals) {
                *e = self.seen[*j].evidence(product + self.noise[*j][trial]);
            }
            let top = evidence.iter().copied().fold(self.log_clean, f64::max);
            let mut all = (self.log_clean - top).exp();
            let mut mine = 0.0;
            for (e, (_, _, same)) in evidence.iter().zip(&rivals) {
                let weight = (e - top).exp();
                all += weight;
                if *same {
                    mine += weight;
                }
            }
            if mine >= self.stated * all {
                named += 1.0;
            }
        }
        let trials = super::count(TRIALS);
        named / trials
    }

    /// The smallest amount, not below `from`, that is named with this chance; none where even the largest one that is
    /// thought of is not.
    pub(super) fn least(
        &self,
        i: usize,
        (from, to): (f64, f64),
        chance: f64,
        alike: &dyn Fn(usize, f64) -> bool,
    ) -> Option<f64> {
        if !matches!(self.seen[i].kind, Kind::Free(_)) || from > to {
            return None;
        }
        let reached = |amount: f64| self.chance(i, amount, &|j| alike(j, amount)) >= chance;
        if reached(from) {
            return Some(from);
        }
        if !reached(to) {
            return None;
        }
        let (mut low, mut high) = (from.ln(), to.ln());
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if reached(middle.exp()) {
                high = middle;
            } else {
                low = middle;
            }
        }
        Some(high.exp())
    }
}
