//! Algorithm A (ISO 13528:2015, C.3; ISO 5725-5:1998): mean and standard deviation of values drawn in to x* +- 1.5 s*.

use super::order::{checked, made, median};
use crate::cohort::{CohortError, count};

/// The factor that makes s* the standard deviation of normal values, as the standard prints it.
pub const PRINTED_FACTOR: f64 = 1.134;

/// The same, exactly: 1 / sqrt(E[min(|z|, 1.5)^2]) of a standard normal z, which is
/// 1 / sqrt(1 - 2 (1.5 phi(1.5) - 1.25 Q(1.5))), phi the density and Q the tail above.
pub const EXACT_FACTOR: f64 = 1.133_392_655_462_487;

/// Most repetitions; the slowest sets of a class take some hundreds.
const MOST: usize = 100_000;

/// What Algorithm A finds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AlgorithmA {
    /// x*, the robust mean.
    pub mean: f64,
    /// s*, the robust standard deviation.
    pub spread: f64,
    /// Repetitions taken.
    pub steps: usize,
}

/// The converged values. `factor` is [`PRINTED_FACTOR`], or [`EXACT_FACTOR`] for comparison.
///
/// # Errors
/// Fewer than two values; no spread to start from or to end with (more than half of the values are the same); values
/// that do not settle.
pub fn algorithm_a(values: &[f64], factor: f64) -> Result<AlgorithmA, CohortError> {
    let mut at = start(values)?;
    let mut last = f64::INFINITY;
    while at.steps < MOST {
        let next = step(values, at, factor)?;
        let change = (next.spread - at.spread).abs().max((next.mean - at.mean).abs());
        at = next;
        // Changes shrink by a steady share until rounding keeps them where they are.
        if change <= f64::EPSILON * 0.01 * at.spread
            || (change >= last && change <= f64::EPSILON * 4.0 * largest(values))
        {
            return Ok(at);
        }
        last = change;
    }
    Err(unsettled())
}

/// The first `count` pairs of mean and spread after the start.
///
/// # Errors
/// As [`algorithm_a`].
pub fn algorithm_a_iterates(values: &[f64], factor: f64, count: usize) -> Result<Vec<AlgorithmA>, CohortError> {
    let mut at = start(values)?;
    (0..count)
        .map(|_| {
            at = step(values, at, factor)?;
            Ok(at)
        })
        .collect()
}

/// The pair at which the standard's rule stops: no change in the third significant figure of s*, nor in the same place
/// of x*. It is further from the converged values than the digits that it is read with.
///
/// # Errors
/// As [`algorithm_a`].
pub fn algorithm_a_third_figure(values: &[f64], factor: f64) -> Result<AlgorithmA, CohortError> {
    let mut at = start(values)?;
    while at.steps < MOST {
        let next = step(values, at, factor)?;
        let place = 10.0_f64.powf(next.spread.log10().floor() - 2.0);
        let same = |a: f64, b: f64| ((a / place).round() - (b / place).round()).abs() < 0.5;
        let before = at;
        at = next;
        if same(before.spread, at.spread) && same(before.mean, at.mean) {
            return Ok(at);
        }
    }
    Err(unsettled())
}

fn unsettled() -> CohortError {
    CohortError::Unsettled {
        what: "Algorithm A",
        steps: MOST,
    }
}

fn start(values: &[f64]) -> Result<AlgorithmA, CohortError> {
    checked(values)?;
    let at = AlgorithmA {
        mean: median(values),
        spread: made(values)?,
        steps: 0,
    };
    wide_enough(values, at)
}

/// Equal values have no spread; what rounding leaves of it is none either.
fn wide_enough(values: &[f64], at: AlgorithmA) -> Result<AlgorithmA, CohortError> {
    if at.spread > 8.0 * f64::EPSILON * largest(values) {
        Ok(at)
    } else {
        Err(CohortError::NoScatter(
            "more than half of the values are the same, so that a robust spread is undetermined",
        ))
    }
}

fn largest(values: &[f64]) -> f64 {
    values.iter().fold(0.0, |most: f64, v| most.max(v.abs()))
}

fn step(values: &[f64], at: AlgorithmA, factor: f64) -> Result<AlgorithmA, CohortError> {
    let (n, reach) = (count(values.len()), 1.5 * at.spread);
    // About the last mean, so that large values keep their digits.
    let drawn_in = |v: &f64| (v - at.mean).clamp(-reach, reach);
    let shift = values.iter().map(drawn_in).sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (drawn_in(v) - shift).powi(2)).sum();
    let next = AlgorithmA {
        mean: at.mean + shift,
        spread: factor * (squares / (n - 1.0)).sqrt(),
        steps: at.steps + 1,
    };
    wide_enough(values, next)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_exact_factor_is_its_formula() {
        // Source: phi and Q of 1.5 to 17 digits, from 50-digit arithmetic; tolerance 1e-15.
        let (density, tail) = (0.129_517_595_665_891_74_f64, 0.066_807_201_268_858_07);
        let second_moment = 1.0 - 2.0 * (1.5 * density - 1.25 * tail);
        assert!(
            (EXACT_FACTOR - 1.0 / second_moment.sqrt()).abs() < 1e-15,
            "{}",
            1.0 / second_moment.sqrt()
        );
    }

    #[test]
    fn equal_values_are_undetermined() {
        for values in [vec![3.0; 5], vec![3.0, 3.0, 3.0, 9.0], vec![12.503; 7], vec![0.0, 0.0]] {
            let error = algorithm_a(&values, PRINTED_FACTOR).unwrap_err();
            assert!(matches!(error, CohortError::NoScatter(_)), "{values:?}");
        }
        assert!(algorithm_a(&[1.0], PRINTED_FACTOR).is_err());
    }

    proptest! {
        #[test]
        fn shift_scale_and_order_do_what_they_should(
            values in prop::collection::vec(-1000_i32..1000, 4..20), shift in -1000_i32..1000, power in -3_i32..4, turn in 0_usize..20,
        ) {
            let plain: Vec<f64> = values.iter().map(|v| f64::from(*v)).collect();
            let Ok(found) = algorithm_a(&plain, PRINTED_FACTOR) else { return Ok(()) };
            let (scale, shift) = (10.0_f64.powi(power), f64::from(shift));
            let mut moved: Vec<f64> = plain.iter().map(|v| (v + shift) * scale).collect();
            moved.rotate_left(turn % plain.len());
            let other = algorithm_a(&moved, PRINTED_FACTOR).unwrap();
            let allowed = 1e-9 * (found.spread + 1.0);
            prop_assert!((other.mean / scale - shift - found.mean).abs() < allowed, "{:?} {:?}", found, other);
            prop_assert!((other.spread / scale - found.spread).abs() < allowed, "{:?} {:?}", found, other);
            // It is a fixed point.
            let again = step(&plain, found, PRINTED_FACTOR).unwrap();
            prop_assert!((again.spread - found.spread).abs() <= 1e-12 * found.spread);
        }
    }
}
