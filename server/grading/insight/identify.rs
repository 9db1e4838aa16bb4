//! The chance that a mistake of a given size is detected and named, by trial: reports with its effect and honest noise, and
//! for each the probability of "clean" and of every other mistake, the noise's own scale being among the unknowns as in the
//! diagnosis. There is no closed form, because many rivals count together (Teunissen, J. Geod. 92, 2018; Zaminpardaz and
//! Teunissen, J. Geod. 93, 2019, work out minimal identifiable biases by trial as well).
//!
//! Noise with wide tails is taken as normal noise of its scale: a whole set of values that moves together is as unlikely
//! under either.

use nalgebra::DMatrix;

use super::Scope;
use super::evidence::{Kind, Seen, lead};
#[cfg(test)]
use super::sight::Root;
use super::sight::dot;
use crate::grading::diagnosis::priors::{NoiseKind, Priors};
use crate::procedure::sampler::Sampler;

/// Trials; the standard error of 0.95 is then 0.01.
const TRIALS: usize = 500;
/// By what an amount grows until it is found, and how often the interval is halved then: to 0.4 %.
const GROWTH: f64 = 1.3;
const HALVINGS: usize = 6;
/// Rivals that are this far behind without noise, in logarithms beyond five standard deviations, do not count.
const BEHIND: f64 = 12.0;

/// All hypotheses under one kind of noise.
struct View {
    #[cfg(test)]
    root: Root,
    seen: Vec<Seen>,
    /// Logarithm of its prior, less half that of the covariance's determinant.
    log_weight: f64,
    /// Product of each effect with each drawn noise: hypotheses by trials.
    noise: DMatrix<f64>,
    /// Square of each drawn noise.
    squares: Vec<f64>,
}

/// The hypotheses of a sheet with drawn noise.
pub(super) struct Trials {
    /// The first is as declared.
    views: Vec<View>,
    log_clean: f64,
    /// Probability from which a mistake is stated.
    stated: f64,
}

/// What is wanted of a mistake.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wanted {
    /// That the report is not taken for clean.
    Detected,
    /// That it is named, or the set of those that would be corrected alike.
    Named,
}

/// Whether another mistake, fitted to one of this amount, would be corrected alike.
pub(super) type Alike<'a> = &'a dyn Fn(usize, f64) -> bool;

impl Trials {
    /// One seed for all exercises: equal prints have equal answers.
    pub(super) fn new(scope: &Scope<'_>, lines: &[usize], priors: &Priors) -> Option<Self> {
        let mut sampler = Sampler::new(1, "insight");
        let n = lines.len();
        let standard = DMatrix::from_fn(n, TRIALS, |_, _| sampler.normal());
        let declared = scope.ground.root(lines, &NoiseKind::AS_DECLARED)?;
        let drawn = declared.lower() * standard;
        let view = |kind: &NoiseKind| -> Option<View> {
            let root = scope.ground.root(lines, kind)?;
            let white = root.whitened(&drawn);
            let seen = scope.seen_by(&root);
            let effects = DMatrix::from_fn(seen.len(), n, |j, line| seen[j].white[line]);
            Some(View {
                noise: effects * &white,
                squares: white.column_iter().map(|c| c.norm_squared()).collect(),
                log_weight: kind.weight.ln() - 0.5 * root.log_determinant(),
                seen,
                #[cfg(test)]
                root,
            })
        };
        Some(Self {
            views: priors.noise.iter().map(view).collect::<Option<_>>()?,
            log_clean: priors.count[0].ln(),
            stated: priors.stated,
        })
    }

    /// Hypotheses as seen with declared noise.
    pub(super) fn seen(&self) -> &[Seen] {
        self.views.first().map_or(&[], |v| &v.seen)
    }

    /// Shares of "clean" and of all hypotheses in a report, of which `off` is what it differs from the print by.
    #[cfg(test)]
    pub(super) fn weigh(&self, off: &[f64]) -> Vec<f64> {
        let mut terms = vec![f64::NEG_INFINITY; self.seen().len() + 1];
        for view in &self.views {
            let white = view.root.whiten(off);
            let base = view.log_weight - 0.5 * dot(&white, &white);
            terms[0] = add(terms[0], base + self.log_clean);
            for (term, seen) in terms.iter_mut().skip(1).zip(&view.seen) {
                *term = add(*term, base + seen.evidence(dot(&seen.white, &white)));
            }
        }
        normalised(&terms)
    }

    /// Chances that mistake `i` of this amount (1 of a known step) is detected and named.
    pub(super) fn chances(&self, i: usize, amount: f64, alike: Alike<'_>) -> (f64, f64) {
        let seen = self.seen();
        let report: Vec<f64> = seen[i].white.iter().map(|w| amount * w).collect();
        let rivals: Vec<usize> = (0..seen.len())
            .filter(|j| {
                let (by, sd) = lead(&seen[i], &seen[*j], &report);
                *j == i || by - 5.0 * sd < BEHIND
            })
            .collect();
        let same: Vec<bool> = rivals.iter().map(|j| *j == i || alike(*j, amount)).collect();
        // By kind: what the effect itself adds to the products and to the square.
        let common: Vec<(Vec<f64>, f64)> = self
            .views
            .iter()
            .map(|v| {
                let with = |j: &usize| amount * dot(&v.seen[*j].white, &v.seen[i].white);
                (
                    rivals.iter().map(with).collect(),
                    amount * amount * v.seen[i].information,
                )
            })
            .collect();
        let (mut detected, mut named) = (0.0, 0.0);
        for trial in 0..TRIALS {
            let shares = self.trial(trial, (i, amount), &rivals, &common);
            let mine: f64 = shares
                .iter()
                .skip(1)
                .zip(&same)
                .filter(|(_, s)| **s)
                .map(|(p, _)| p)
                .sum();
            detected += if shares[0] < 0.5 { 1.0 } else { 0.0 };
            named += if mine >= self.stated { 1.0 } else { 0.0 };
        }
        let trials = super::count(TRIALS);
        (detected / trials, named / trials)
    }

    fn trial(&self, trial: usize, (i, amount): (usize, f64), of: &[usize], common: &[(Vec<f64>, f64)]) -> Vec<f64> {
        let mut terms = vec![f64::NEG_INFINITY; of.len() + 1];
        for (view, (products, square)) in self.views.iter().zip(common) {
            let square = square + 2.0 * amount * view.noise[(i, trial)] + view.squares[trial];
            let base = view.log_weight - 0.5 * square;
            terms[0] = add(terms[0], base + self.log_clean);
            for ((term, j), product) in terms.iter_mut().skip(1).zip(of).zip(products) {
                *term = add(*term, base + view.seen[*j].evidence(product + view.noise[(*j, trial)]));
            }
        }
        normalised(&terms)
    }

    /// The smallest amount, not below `from`, at which what is wanted has this chance; none where even the largest one
    /// that is thought of has not.
    pub(super) fn least(
        &self,
        i: usize,
        (from, to): (f64, f64),
        (wanted, chance): (Wanted, f64),
        alike: Alike<'_>,
    ) -> Option<f64> {
        if !matches!(self.seen()[i].kind, Kind::Free(_)) || from > to {
            return None;
        }
        let reached = |amount: f64| {
            let (detected, named) = self.chances(i, amount, alike);
            chance <= if wanted == Wanted::Detected { detected } else { named }
        };
        let (mut low, mut high) = (from, from);
        while !reached(high) {
            if high >= to {
                return None;
            }
            low = high;
            high = (high * GROWTH).min(to);
        }
        for _ in 0..HALVINGS {
            let middle = (low * high).sqrt();
            if reached(middle) {
                high = middle;
            } else {
                low = middle;
            }
        }
        Some(high)
    }
}

/// Shares of logarithms of weights.
fn normalised(terms: &[f64]) -> Vec<f64> {
    let top = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = terms.iter().map(|t| (t - top).exp()).collect();
    let total: f64 = weights.iter().sum();
    weights.iter().map(|w| w / total).collect()
}

/// Logarithm of the sum of two exponentials.
fn add(a: f64, b: f64) -> f64 {
    let (low, high) = if a < b { (a, b) } else { (b, a) };
    if low == f64::NEG_INFINITY || high - low > 40.0 {
        return high;
    }
    high + (low - high).exp().ln_1p()
}
