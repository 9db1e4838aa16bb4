//! Tails and middles of the standard normal distribution, to full relative precision. (The error function of our
//! statistics library has 11 digits, which is not enough for the sums in the other files.)

use std::f64::consts::PI;

use super::t::{t_above, t_zero_to};

/// A distribution of (true value - estimate) / u.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Standard {
    /// Normal.
    Normal,
    /// Student's t with its degrees of freedom, above zero and finite.
    T(f64),
}

impl Standard {
    /// Probability above `z`.
    pub(super) fn above(self, z: f64) -> f64 {
        if z < 0.0 {
            return 0.5 + self.zero_to(-z);
        }
        match self {
            Self::Normal => normal_above(z),
            Self::T(nu) => t_above(nu, z),
        }
    }

    /// Probability between 0 and `z`, which is not negative.
    pub(super) fn zero_to(self, z: f64) -> f64 {
        match self {
            Self::Normal => normal_zero_to(z),
            Self::T(nu) => t_zero_to(nu, z),
        }
    }
}

/// Where series and continued fraction are both quick and exact.
const CHANGE: f64 = 2.0;

/// Density of the standard normal distribution.
pub(super) fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
}

/// The series with positive terms alone: density times z + z^3/3 + z^5/15 + ... (Abramowitz and Stegun 26.2.11).
fn normal_zero_to(z: f64) -> f64 {
    if z > CHANGE {
        return 0.5 - normal_above(z);
    }
    let (mut term, mut sum, mut odd) = (z, z, 1.0);
    while term > sum * 1e-17 {
        odd += 2.0;
        term *= z * z / odd;
        sum += term;
    }
    density(z) * sum
}

/// The continued fraction density / (z + 1/(z + 2/(z + 3/...))) (Abramowitz and Stegun 26.2.14), from its far end.
fn normal_above(z: f64) -> f64 {
    if z <= CHANGE {
        return 0.5 - normal_zero_to(z);
    }
    // From these steps on nothing changes in the 16th digit any more, at z = 2 and at z = 6.
    let steps = if z < 6.0 { 100 } else { 30 };
    let fraction = (1..=steps).rev().fold(0.0, |fraction, k| f64::from(k) / (z + fraction));
    density(z) / (z + fraction)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: f64, expected: f64, relative: f64) {
        assert!(
            (found - expected).abs() <= relative * expected.abs(),
            "{found:e} for {expected:e}"
        );
    }

    #[test]
    fn normal_tails_keep_their_digits() {
        // Source: 0.5 erfc(z / sqrt 2) in 50-digit arithmetic; tolerance 1e-14 relative.
        for (z, tail) in [
            (0.5, 0.308_537_538_725_986_9),
            (1.0, 0.158_655_253_931_457_05),
            (1.999, 0.022_804_176_932_658_883),
            (2.0, 0.022_750_131_948_179_21),
            (2.001, 0.022_696_194_945_641_558),
            (5.0, 2.866_515_718_791_939e-7),
            (6.0, 9.865_876_450_376_98e-10),
            (10.0, 7.619_853_024_160_527e-24),
            (37.0, 5.725_571_222_524_577e-300),
        ] {
            close(Standard::Normal.above(z), tail, 2e-14);
            close(Standard::Normal.zero_to(z), 0.5 - tail, 1e-14);
            close(Standard::Normal.above(-z), 1.0 - tail, 1e-15);
        }
        close(Standard::Normal.zero_to(1e-9), 1e-9 / (2.0 * PI).sqrt(), 1e-15);
        for (z, tail) in [(0.0, 0.5), (f64::INFINITY, 0.0), (f64::NEG_INFINITY, 1.0), (1e300, 0.0)] {
            assert!((Standard::Normal.above(z) - tail).abs() < 1e-300, "{z}");
        }
    }
}
