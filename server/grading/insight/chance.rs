//! The chance that a test finds an effect, and the smallest effect that it finds with a given chance.
//!
//! The square of the test statistic of one assumed effect is chi-square distributed with one degree of freedom, not
//! central where the effect is there (Baarda, A testing procedure for use in geodetic networks, Netherlands Geodetic
//! Commission 2(5), 1968; Teunissen, J. Geod. 92, 2018). With one degree of freedom it is the square of a normal number
//! of unit variance whose mean is the root of the non-centrality, so that its distribution is two normal tails.

/// Standard normal distribution function.
pub(super) fn phi(x: f64) -> f64 {
    0.5 * libm::erfc(-x / std::f64::consts::SQRT_2)
}

/// P(chi-square with one degree of freedom and non-centrality `root`^2 > `critical`^2).
pub(super) fn power(root: f64, critical: f64) -> f64 {
    phi(root - critical) + phi(-root - critical)
}

/// Root of the smallest non-centrality at which the statistic is beyond `critical` with this chance.
pub(super) fn least_root(critical: f64, chance: f64) -> f64 {
    let (mut low, mut high) = (0.0, critical.max(0.0) + 10.0);
    if power(low, critical) >= chance {
        return low;
    }
    for _ in 0..80 {
        let middle = f64::midpoint(low, high);
        if power(middle, critical) < chance {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// Chance that the likelihood of a known effect, `distance` standard deviations from another, beats it by more than
/// `log_odds`: the logarithm of the ratio is normal with mean `distance`^2/2 and variance `distance`^2.
pub(super) fn wins(distance: f64, log_odds: f64) -> f64 {
    if distance <= 0.0 {
        return if log_odds < 0.0 { 1.0 } else { 0.0 };
    }
    phi(0.5 * distance - log_odds / distance)
}

/// The distance at which it does with the chance whose normal quantile is `z`.
pub(super) fn winning_distance(log_odds: f64, z: f64) -> f64 {
    let inside = z * z + 2.0 * log_odds;
    if inside <= 0.0 {
        return 0.0;
    }
    (z + inside.sqrt()).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ChiSquared, ContinuousCDF, Discrete, Poisson};

    #[test]
    fn the_classic_bound_of_reliability() {
        // Source: Baarda 1968: test at 0.1 % (critical value 3.29), power 80 %: root of the non-centrality 4.13.
        assert!((least_root(3.290_527, 0.80) - 4.13).abs() < 0.005);
        // Worked by hand: one-sided tails are negligible, so 1.960 + 1.645 for 5 % and 95 %; tolerance of the digits.
        assert!((least_root(1.959_964, 0.95) - 3.6048).abs() < 1e-3);
    }

    #[test]
    fn two_tails_are_the_non_central_chi_square() {
        for (root, critical) in [(0.5, 1.0), (2.0, 1.96), (4.13, 3.29), (6.0, 5.0)] {
            // Source: the distribution as a Poisson mixture of central ones (Johnson, Kotz and Balakrishnan, Continuous
            // Univariate Distributions 2, 29.3), summed with statrs; tolerance of its sum.
            let poisson = Poisson::new(root * root / 2.0).unwrap();
            let tail = |k: u32| 1.0 - ChiSquared::new(f64::from(1 + 2 * k)).unwrap().cdf(critical * critical);
            let mixture: f64 = (0..200_u32).map(|k| poisson.pmf(u64::from(k)) * tail(k)).sum();
            assert!((power(root, critical) - mixture).abs() < 1e-9, "{root} {critical}");
        }
    }

    #[test]
    fn a_known_effect_wins_at_its_distance() {
        for log_odds in [0.5, 2.197, 5.0] {
            let distance = winning_distance(log_odds, 1.644_854);
            // Source: the definition; tolerance of the quantile's digits.
            assert!((wins(distance, log_odds) - 0.95).abs() < 1e-6);
        }
        assert!(wins(0.0, 1.0) <= 0.0);
    }
}
