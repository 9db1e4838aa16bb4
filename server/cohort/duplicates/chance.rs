//! The chance that two honest values of one characteristic agree.
//!
//! Both are normal about their true values and written to a step d. Where the true value lies on the grid is unknown
//! (taken as uniform), and then with D the difference before writing, P(equal) = E[max(0, 1 - |D| / d)]. Everything is
//! integrated with positive terms alone, so that small chances keep their digits.

use std::f64::consts::PI;
use std::sync::LazyLock;

use crate::cohort::CohortError;
use crate::metrology::conformity::quadrature::GaussLegendre;

/// What counts as agreeing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Likeness {
    /// Equal written values.
    Same,
    /// Equal last digits: the written values differ by a multiple of ten steps.
    LastDigit,
}

/// Two values of one characteristic, in one unit of length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoValues {
    /// Standard deviation of the first.
    pub sigma_1: f64,
    /// Standard deviation of the second.
    pub sigma_2: f64,
    /// Step that values are written to.
    pub step: f64,
    /// By how much the first is expected to lie above the second; on one plate zero.
    pub bias: f64,
}

/// The chance of agreeing and that of not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chance {
    /// Probability of agreement.
    pub agree: f64,
    /// Probability of none, worked out for itself where it is the smaller.
    pub differ: f64,
}

/// Beyond so many standard deviations nothing is left in doubles.
const FAR: f64 = 40.0;
/// Standard deviations from which the last digit of a value is uniform, in steps: the first term left out, twice
/// exp(-2 pi^2 (sigma / 10)^2) by Poisson's sum, is below 1e-19.
const EVEN_DIGITS: f64 = 15.0;
/// The same for where the true value lies on the grid: exp(-2 pi^2 16) is below 1e-137.
const FINE_GRID: f64 = 4.0;
/// Largest number of steps that is worked with.
const MOST_STEPS: f64 = 1e12;

/// Nodes and weights, worked out once.
static RULE: LazyLock<GaussLegendre> = LazyLock::new(GaussLegendre::new);

/// A straight piece of what is averaged: from (x, value) to (x, value).
type Piece = [(f64, f64); 2];

impl TwoValues {
    /// The chance where nothing is known of the true value's place on the grid.
    ///
    /// # Errors
    /// Negative standard deviations, a step that is not above zero, numbers that are not finite.
    pub fn chance(&self, likeness: Likeness) -> Result<Chance, CohortError> {
        self.check()?;
        let (s, b) = (self.sigma_1.hypot(self.sigma_2) / self.step, self.bias / self.step);
        if likeness == Likeness::LastDigit && s > EVEN_DIGITS {
            return Ok(Chance {
                agree: 0.1,
                differ: 0.9,
            });
        }
        let period = match likeness {
            Likeness::Same => None,
            Likeness::LastDigit => Some(10.0),
        };
        let of = |pieces: &[Piece]| {
            pieces
                .iter()
                .map(|p| mean_of_piece(&RULE, p, b, s))
                .sum::<f64>()
                .min(1.0)
        };
        let (agree, differ) = (of(&hats(b, s, period)), of(&gaps(b, s, period)));
        Ok(Chance { agree, differ })
    }

    /// The probability of agreement where the true value of the second lies `offset` from a value that can be written.
    ///
    /// # Errors
    /// As [`chance`](Self::chance).
    pub fn agree_at(&self, offset: f64, likeness: Likeness) -> Result<f64, CohortError> {
        self.check()?;
        let place = offset / self.step;
        if !place.is_finite() || place.abs() > MOST_STEPS {
            return Err(CohortError::OutOfRange {
                what: "the offset in steps",
                value: place,
                wanted: "a finite number below 1e12",
            });
        }
        let values = [
            Written::new(place + self.bias / self.step, self.sigma_1 / self.step),
            Written::new(place, self.sigma_2 / self.step),
        ];
        if values[0].width_of_product(&values[1]) > FINE_GRID {
            return Ok(self.chance(likeness)?.agree);
        }
        Ok(match likeness {
            Likeness::Same => same_cell(&values).min(1.0),
            Likeness::LastDigit => same_digit(&values).min(1.0),
        })
    }

    fn check(&self) -> Result<(), CohortError> {
        for (what, value) in [("the first sigma", self.sigma_1), ("the second sigma", self.sigma_2)] {
            if !(value.is_finite() && value >= 0.0) {
                return Err(CohortError::OutOfRange {
                    what,
                    value,
                    wanted: "zero or more",
                });
            }
        }
        let steps = self.bias / self.step;
        if !(self.step.is_finite() && self.step > 0.0 && steps.abs() <= MOST_STEPS) {
            return Err(CohortError::OutOfRange {
                what: "the step of writing",
                value: self.step,
                wanted: "above zero, and not smaller than 1e-12 of the bias",
            });
        }
        Ok(())
    }
}

/// Where the hats stand that matter: at 0, or at every multiple of the period within reach.
fn places(b: f64, s: f64, period: Option<f64>) -> Vec<f64> {
    let Some(period) = period else { return vec![0.0] };
    let (first, last) = (
        ((b - FAR * s) / period).floor() - 1.0,
        ((b + FAR * s) / period).ceil() + 1.0,
    );
    let mut found = vec![first * period];
    let mut next = first + 1.0;
    while next <= last {
        found.push(next * period);
        next += 1.0;
    }
    found
}

/// max(0, 1 - |x - place|) about each place.
fn hats(b: f64, s: f64, period: Option<f64>) -> Vec<Piece> {
    let around = |p: f64| [[(p - 1.0, 0.0), (p, 1.0)], [(p, 1.0), (p + 1.0, 0.0)]];
    places(b, s, period).into_iter().flat_map(around).collect()
}

/// One less that.
fn gaps(b: f64, s: f64, period: Option<f64>) -> Vec<Piece> {
    let places = places(b, s, period);
    let around = |p: f64| [[(p - 1.0, 1.0), (p, 0.0)], [(p, 0.0), (p + 1.0, 1.0)]];
    let mut pieces: Vec<Piece> = places.iter().flat_map(|p| around(*p)).collect();
    let level = |from: f64, to: f64| [(from, 1.0), (to, 1.0)];
    pieces.extend(places.windows(2).map(|pair| level(pair[0] + 1.0, pair[1] - 1.0)));
    if let (Some(first), Some(last)) = (places.first(), places.last()) {
        let (low, high) = (b - FAR * s - 1.0, b + FAR * s + 1.0);
        pieces.push(level(low.min(first - 1.0), first - 1.0));
        pieces.push(level(last + 1.0, high.max(last + 1.0)));
    }
    pieces
}

/// The mean of a piece, zero outside of it, over a normal variable about `b` with standard deviation `s`.
fn mean_of_piece(rule: &GaussLegendre, piece: &Piece, b: f64, s: f64) -> f64 {
    let [(x0, y0), (x1, y1)] = *piece;
    let value = |x: f64| {
        if x1 > x0 {
            y0 + (y1 - y0) * ((x - x0) / (x1 - x0))
        } else {
            y0
        }
    };
    // A scatter below the last digit of where it lies is none.
    if s <= 1e-14 * b.abs() {
        // Pieces meet at their ends, so the right one does not count.
        return if b >= x0 && b < x1 { value(b) } else { 0.0 };
    }
    let (from, to) = (x0.max(b - FAR * s), x1.min(b + FAR * s));
    let mut total = 0.0;
    let mut start = from;
    while start < to {
        let end = (start + s).min(to);
        let density = |x: f64| value(x) * (-0.5 * ((x - b) / s).powi(2)).exp();
        total += rule.integrate(start, end, density);
        // A step below the last digit of the place would never end.
        start = if end > start { end } else { to };
    }
    total / (s * (2.0 * PI).sqrt())
}

/// A value about its mean, both in steps.
struct Written {
    mean: f64,
    sigma: f64,
}

impl Written {
    fn new(mean: f64, sigma: f64) -> Self {
        Self { mean, sigma }
    }

    /// Standard deviation of the product of both densities.
    fn width_of_product(&self, other: &Self) -> f64 {
        let root = self.sigma.hypot(other.sigma);
        if root > 0.0 {
            self.sigma * (other.sigma / root)
        } else {
            0.0
        }
    }

    /// Probability that it is written as `cell`, with halves written up.
    fn at(&self, cell: f64) -> f64 {
        mean_of_piece(&RULE, &[(cell - 0.5, 1.0), (cell + 0.5, 1.0)], self.mean, self.sigma)
    }

    /// Probabilities of the ten last digits.
    fn digits(&self) -> [f64; 10] {
        if self.sigma > EVEN_DIGITS {
            return [0.1; 10];
        }
        let mut digits = [0.0; 10];
        let reach = FAR * self.sigma + 1.0;
        let (mut cell, last) = ((self.mean - reach).floor(), (self.mean + reach).ceil());
        let mut digit = usize::try_from(ten_part(cell)).unwrap_or(0);
        while cell <= last {
            digits[digit] += self.at(cell);
            digit = (digit + 1) % 10;
            cell += 1.0;
        }
        digits
    }
}

/// A whole number modulo ten.
#[expect(clippy::cast_possible_truncation, reason = "a whole number from 0 to 9")]
fn ten_part(whole: f64) -> i64 {
    whole.rem_euclid(10.0) as i64
}

fn same_cell([a, b]: &[Written; 2]) -> f64 {
    let variance = a.sigma * a.sigma + b.sigma * b.sigma;
    let middle = if variance > 0.0 {
        // The place where the product of both densities is largest.
        let share = a.sigma * a.sigma / variance;
        a.mean + share * (b.mean - a.mean)
    } else {
        a.mean
    };
    let reach = FAR * a.width_of_product(b) + 2.0;
    let (mut cell, last) = ((middle - reach).floor(), (middle + reach).ceil());
    let mut total = 0.0;
    while cell <= last {
        total += a.at(cell) * b.at(cell);
        cell += 1.0;
    }
    total
}

fn same_digit([a, b]: &[Written; 2]) -> f64 {
    a.digits().iter().zip(b.digits()).map(|(p, q)| p * q).sum()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use statrs::distribution::{Continuous, ContinuousCDF, Normal};

    use super::*;

    fn two(sigma_1: f64, sigma_2: f64, step: f64, bias: f64) -> TwoValues {
        TwoValues {
            sigma_1,
            sigma_2,
            step,
            bias,
        }
    }

    #[test]
    fn without_scatter_the_grid_decides() {
        let exact = two(0.0, 0.0, 0.001, 0.000_25);
        let found = exact.chance(Likeness::Same).unwrap();
        assert!((found.agree - 0.75).abs() < 1e-12 && (found.differ - 0.25).abs() < 1e-12);
        assert!((exact.agree_at(0.0, Likeness::Same).unwrap() - 1.0).abs() < 1e-15);
        assert!(exact.agree_at(0.0004, Likeness::Same).unwrap() <= 0.0);
        let ten_off = two(0.0, 0.0, 0.001, 0.02);
        assert!(ten_off.chance(Likeness::Same).unwrap().agree <= 0.0);
        assert!((ten_off.chance(Likeness::LastDigit).unwrap().agree - 1.0).abs() < 1e-9);
    }

    #[test]
    fn the_mean_over_the_grid_is_the_chance() {
        for likeness in [Likeness::Same, Likeness::LastDigit] {
            for values in [
                two(0.3, 0.2, 1.0, 0.4),
                two(0.05, 2.0, 1.0, 3.3),
                two(1.1, 0.9, 1.0, -2.0),
            ] {
                let places = 400;
                let at = |i: u32| {
                    values
                        .agree_at((f64::from(i) + 0.5) / f64::from(places), likeness)
                        .unwrap()
                };
                let mean = (0..places).map(at).sum::<f64>() / f64::from(places);
                let chance = values.chance(likeness).unwrap().agree;
                assert!((mean - chance).abs() < 1e-4 * chance, "{values:?} {mean} {chance}");
            }
        }
    }

    #[test]
    fn nothing_stops_at_extremes() {
        for values in [
            two(1e9, 1e-9, 1.0, 0.0),
            two(1e-300, 1e-300, 1.0, 0.5),
            two(1e300, 1.0, 1.0, 0.0),
            two(1.0, 1.0, 1e-9, 100.0),
            two(1e-9, 0.0, 1.0, 1e11),
        ] {
            for likeness in [Likeness::Same, Likeness::LastDigit] {
                let found = values.chance(likeness).unwrap();
                let at = values.agree_at(0.5, likeness).unwrap();
                assert!(
                    (0.0..=1.0).contains(&found.agree) && (0.0..=1.0).contains(&at),
                    "{values:?}: {found:?} {at}"
                );
                assert!((found.agree + found.differ - 1.0).abs() < 1e-9, "{values:?}: {found:?}");
            }
        }
        for values in [
            two(-1.0, 1.0, 1.0, 0.0),
            two(1.0, f64::NAN, 1.0, 0.0),
            two(1.0, 1.0, 0.0, 0.0),
            two(1.0, 1.0, 1.0, f64::NAN),
        ] {
            assert!(values.chance(Likeness::Same).is_err(), "{values:?}");
        }
    }

    proptest! {
        /// In closed form with G(x) = x P(x) + density, E[max(0, 1 - |D|)] = s (G((1-b)/s) + G((-1-b)/s) - 2 G(-b/s)).
        #[test]
        fn agreement_has_its_closed_form(s1 in 0.05..3.0_f64, s2 in 0.05..3.0_f64, bias in -2.0..2.0_f64) {
            let values = two(s1, s2, 1.0, bias);
            let s = s1.hypot(s2);
            let normal = Normal::standard();
            let g = |x: f64| x * normal.cdf(x) + normal.pdf(x);
            let closed = s * (g((1.0 - bias) / s) + g((-1.0 - bias) / s) - 2.0 * g(-bias / s));
            let found = values.chance(Likeness::Same).unwrap();
            prop_assert!((found.agree - closed).abs() < 1e-8, "{} {}", found.agree, closed);
            prop_assert!((found.agree + found.differ - 1.0).abs() < 1e-12);
            let last = values.chance(Likeness::LastDigit).unwrap();
            prop_assert!(last.agree >= found.agree && (last.agree + last.differ - 1.0).abs() < 1e-12);
            // Unit and exchange do not matter.
            let other = two(s2 * 0.001, s1 * 0.001, 0.001, -bias * 0.001).chance(Likeness::Same).unwrap();
            prop_assert!((other.agree - found.agree).abs() < 1e-12 * found.agree);
        }
    }
}
