//! Tails and middles of the standard normal distribution and of Student's t, each worked out itself so that small ones
//! keep their relative precision. The error functions are libm's (about 1 ulp), because the sums in the other files need
//! more than the 11 digits of those of the statistics library; its incomplete beta function is enough for t.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use statrs::function::beta::checked_beta_reg;

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

/// Density of the standard normal distribution.
pub(super) fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
}

/// Tail above `z`, which is not negative.
fn normal_above(z: f64) -> f64 {
    0.5 * libm::erfc(z * FRAC_1_SQRT_2)
}

/// Middle from 0 to `z`, which is not negative.
fn normal_zero_to(z: f64) -> f64 {
    0.5 * libm::erf(z * FRAC_1_SQRT_2)
}

/// Tail of Student's t above `z`: half of the incomplete beta function at nu / (nu + z^2) (Abramowitz and Stegun 26.7.1).
/// Near the middle that place is too near 1 to keep digits, and the tail is what the middle leaves.
fn t_above(nu: f64, z: f64) -> f64 {
    if nu >= MANY {
        return normal_above(as_normal(nu, z));
    }
    let square = (z / nu.sqrt()).powi(2);
    if z < NEAR {
        0.5 - t_zero_to(nu, z)
    } else if square.is_infinite() {
        0.0
    } else {
        half_of_beta(0.5 * nu, 0.5, 1.0 / (1.0 + square))
    }
}

/// Middle of Student's t from 0 to `z`: the other half, with the place that keeps digits there.
fn t_zero_to(nu: f64, z: f64) -> f64 {
    if nu >= MANY {
        return normal_zero_to(as_normal(nu, z));
    }
    let square = (z / nu.sqrt()).powi(2);
    if z < NEAR {
        half_of_beta(0.5, 0.5 * nu, square / (1.0 + square))
    } else {
        0.5 - t_above(nu, z)
    }
}

/// Degrees of freedom from which the beta function, a quotient of huge gamma functions, has fewer digits than the
/// expansion.
const MANY: f64 = 20_000.0;

/// The z of a normal variable with the same tail as t, for many degrees of freedom (G. W. Hill, Algorithm 395, Commun. ACM
/// 13 (1970) 617; from memory, unconfirmed; held against 50 digits in the tests).
fn as_normal(nu: f64, t: f64) -> f64 {
    let a = nu - 0.5;
    let b = 48.0 * a * a;
    let s = a * (t / nu.sqrt()).powi(2).ln_1p();
    // Beyond where any tail is left; the terms below would overflow.
    if s > 4000.0 {
        return f64::INFINITY;
    }
    let w = s.sqrt();
    let next = (((4.0 * s + 33.0) * s + 240.0) * s + 855.0) / (10.0 * b * (b + 0.8 * s * s + 100.0));
    w * (1.0 + (s + 3.0) / b - next)
}

/// Below this the middle is worked out itself, from here on the tail.
const NEAR: f64 = 1.0;

fn half_of_beta(a: f64, b: f64, x: f64) -> f64 {
    0.5 * checked_beta_reg(a, b, x).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tails_of_t_with_very_many_degrees_have_their_digits() {
        // Source: the density integrated with 50 digits by a script of ours; tolerance 1e-10 relative.
        for (nu, z, expected) in [
            (20_000.0, 2.5, 0.006_213_637_065_997_112_4),
            (20_000.0, 20.0, 2.001_604_100_471_145_4e-88),
            (100_000.0, 0.3, 0.382_088_889_595_168_85),
            (1_000_000.0, 5.0 / 3.0, 0.047_790_508_857_188_44),
            (1_000_000.0, 30.0, 6.010_047_116_841_318e-198),
        ] {
            let found = t_above(nu, z);
            assert!((found / expected - 1.0_f64).abs() < 1e-10, "{nu} {z}: {found:e}");
        }
    }

    fn close(found: f64, expected: f64, relative: f64) {
        assert!(
            (found - expected).abs() <= relative * expected.abs(),
            "{found:e} for {expected:e}"
        );
    }

    #[test]
    fn normal_tails_keep_their_digits() {
        // Source: 0.5 erfc(z / sqrt 2) in 50-digit arithmetic; tolerance 2e-14 relative, and
        // the rounding of the argument, whose relative effect grows with its square.
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
            close(Standard::Normal.above(z), tail, 2e-14 + 2e-16 * z * z);
            close(Standard::Normal.zero_to(z), 0.5 - tail, 1e-14);
            close(Standard::Normal.above(-z), 1.0 - tail, 1e-15);
        }
        close(Standard::Normal.zero_to(1e-9), 1e-9 / (2.0 * PI).sqrt(), 1e-15);
        for (z, tail) in [(0.0, 0.5), (f64::INFINITY, 0.0), (f64::NEG_INFINITY, 1.0), (1e300, 0.0)] {
            assert!((Standard::Normal.above(z) - tail).abs() < 1e-300, "{z}");
        }
    }

    #[test]
    fn t_has_its_closed_forms() {
        for z in [0.001_f64, 0.3, 1.0, 2.5, 8.0, 60.0, 1e6] {
            // nu = 1: Q = atan(1/z) / pi. nu = 2: Q = (1 - z / sqrt(2 + z^2)) / 2, written without cancellation.
            close(t_above(1.0, z), (1.0 / z).atan() / PI, 1e-11);
            close(t_zero_to(1.0, z), z.atan() / PI, 1e-11);
            let root = (2.0 + z * z).sqrt();
            close(t_above(2.0, z), 1.0 / (root * (root + z)), 1e-11);
            close(t_zero_to(2.0, z), 0.5 * z / root, 1e-11);
        }
    }

    #[test]
    fn t_stops_at_no_extreme() {
        for nu in [4.0, 399.0, 1e6] {
            for z in [0.0, 1e-300, 1e-3, 40.0, 1e150, f64::MAX, f64::INFINITY] {
                let (above, middle) = (t_above(nu, z), t_zero_to(nu, z));
                assert!(
                    (0.0..=0.5).contains(&above) && (0.0..=0.5).contains(&middle),
                    "{nu} {z}"
                );
                assert!((above + middle - 0.5).abs() < 1e-9, "{nu} {z}: {above} {middle}");
            }
        }
    }
}
