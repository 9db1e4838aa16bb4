//! How many of n values agree: the sum of independent events of different chance (Poisson's binomial), in logarithms, so
//! that tails below the smallest double still have one.

use super::Chance;
use crate::cohort::{CohortError, count};

/// The chance of so many agreements.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtLeast {
    /// Probability of exactly that many.
    pub exactly: f64,
    /// Probability of that many or more.
    pub at_least: f64,
    /// Its common logarithm; none where it is impossible.
    pub log10_at_least: Option<f64>,
    /// Number that is expected.
    pub expected: f64,
}

/// The chance of `k` agreements among values with these chances.
///
/// # Errors
/// More agreements than values.
pub fn tally(chances: &[Chance], k: usize) -> Result<AtLeast, CohortError> {
    check(chances.len(), k)?;
    // Logarithms of the probability of 0, 1, 2, ... agreements so far.
    let mut logs = vec![0.0];
    for chance in chances {
        let (agree, differ) = (chance.agree.ln(), chance.differ.ln());
        logs.push(f64::NEG_INFINITY);
        for j in (0..logs.len()).rev() {
            let before = j.checked_sub(1).map_or(f64::NEG_INFINITY, |i| logs[i] + agree);
            logs[j] = log_of_sum(logs[j] + differ, before);
        }
    }
    Ok(of_logs(&logs, k, chances.iter().map(|c| c.agree).sum()))
}

/// The same for `n` values of one chance, by the ratio of neighbouring terms.
///
/// # Errors
/// More agreements than values.
pub fn tally_of_equals(chance: Chance, n: usize, k: usize) -> Result<AtLeast, CohortError> {
    check(n, k)?;
    let (agree, differ) = (chance.agree.ln(), chance.differ.ln());
    let mut choices = 0.0;
    let logs: Vec<f64> = (0..=n)
        .map(|j| {
            if j > 0 {
                choices += (count(n - j + 1) / count(j)).ln();
            }
            let power = |log: f64, times: usize| if times == 0 { 0.0 } else { log * count(times) };
            choices + power(agree, j) + power(differ, n - j)
        })
        .collect();
    Ok(of_logs(&logs, k, count(n) * chance.agree))
}

fn check(n: usize, k: usize) -> Result<(), CohortError> {
    if k <= n {
        return Ok(());
    }
    Err(CohortError::WrongLayout(format!(
        "{k} agreements among {n} values: more than there are"
    )))
}

fn of_logs(logs: &[f64], k: usize, expected: f64) -> AtLeast {
    let tail = if k == 0 {
        0.0
    } else {
        logs[k..].iter().copied().fold(f64::NEG_INFINITY, log_of_sum).min(0.0)
    };
    AtLeast {
        exactly: logs[k].exp(),
        at_least: tail.exp(),
        log10_at_least: Some(tail / std::f64::consts::LN_10).filter(|l| l.is_finite()),
        expected,
    }
}

fn log_of_sum(a: f64, b: f64) -> f64 {
    let (large, small) = if a > b { (a, b) } else { (b, a) };
    if small.is_finite() {
        large + (small - large).exp().ln_1p()
    } else {
        large
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn chance(agree: f64) -> Chance {
        Chance {
            agree,
            differ: 1.0 - agree,
        }
    }

    #[test]
    fn two_coins_by_hand() {
        let found = tally(&[chance(0.5), chance(0.25)], 1).unwrap();
        // 0.5 x 0.75 + 0.5 x 0.25 = 0.5; at least one: 1 - 0.5 x 0.75 = 0.625.
        assert!((found.exactly - 0.5).abs() < 1e-15 && (found.at_least - 0.625).abs() < 1e-15);
        assert!((found.expected - 0.75).abs() < 1e-15);
        assert!(tally(&[chance(0.5)], 2).is_err());
    }

    #[test]
    fn certain_and_impossible_values_count_too() {
        let found = tally(&[chance(1.0), chance(0.0), chance(0.5)], 3).unwrap();
        assert_eq!(
            (found.at_least.to_bits(), found.log10_at_least),
            (0.0_f64.to_bits(), None)
        );
        let found = tally_of_equals(chance(1.0), 4, 4).unwrap();
        assert!((found.exactly - 1.0).abs() < 1e-15 && (found.at_least - 1.0).abs() < 1e-15);
        assert_eq!(tally(&[], 0).unwrap().log10_at_least, Some(0.0));
    }

    #[test]
    fn tails_below_the_smallest_double_have_a_logarithm() {
        // 0.09^400 is 10^(400 log10 0.09).
        let found = tally_of_equals(chance(0.09), 400, 400).unwrap();
        assert!(found.at_least <= 0.0);
        assert!((found.log10_at_least.unwrap() - 400.0 * 0.09_f64.log10()).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn both_ways_agree_and_all_counts_together_are_certain(p in 0.001..0.999_f64, n in 1_usize..30) {
            let chances = vec![chance(p); n];
            let mut total = 0.0;
            for k in 0..=n {
                let (a, b) = (tally(&chances, k).unwrap(), tally_of_equals(chance(p), n, k).unwrap());
                prop_assert!((a.at_least / b.at_least - 1.0).abs() < 1e-11);
                prop_assert!((a.exactly / b.exactly - 1.0).abs() < 1e-11);
                total += a.exactly;
            }
            prop_assert!((total - 1.0).abs() < 1e-12);
        }
    }
}
