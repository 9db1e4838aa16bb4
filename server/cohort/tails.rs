//! Quantiles and tails of the distributions that statistics are judged by, all from our statistics library.

use statrs::distribution::{ContinuousCDF, FisherSnedecor, Normal};

use super::CohortError;

/// The z below which a standard normal variable stays with this probability.
pub(super) fn normal_quantile(probability: f64) -> Result<f64, CohortError> {
    if !(probability > 0.0 && probability < 1.0) {
        return Err(CohortError::OutOfRange {
            what: "the probability",
            value: probability,
            wanted: "between 0 and 1, ends excluded",
        });
    }
    // From the smaller tail, where the inverse has all its digits.
    let normal = Normal::standard();
    Ok(if probability > 0.5 {
        -normal.inverse_cdf(1.0 - probability)
    } else {
        normal.inverse_cdf(probability)
    })
}

/// Probability that F with these degrees of freedom is above `f`. None where there is no such distribution.
pub(super) fn f_above(f: f64, numerator: usize, denominator: usize) -> Option<f64> {
    if !f.is_finite() || f < 0.0 {
        return None;
    }
    if f <= 0.0 {
        return Some(1.0);
    }
    // The tail of F above f is that of 1/F below 1/f, which is worked out without a difference from 1.
    let turned = FisherSnedecor::new(super::count(denominator), super::count(numerator)).ok()?;
    Some(turned.cdf(1.0 / f)).filter(|p| p.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_and_tails_have_their_digits() {
        // Source: 50-digit arithmetic; tolerance 1e-14 relative.
        for (p, z) in [
            (0.975, 1.959_963_984_540_054_2),
            (0.625, 0.318_639_363_964_375_1),
            (0.001, -3.090_232_306_167_813_5),
        ] {
            assert!((normal_quantile(p).unwrap() / z - 1.0_f64).abs() < 1e-14, "{p}");
        }
        // Source: 50-digit arithmetic; tolerance 1e-11 relative.
        for (f, a, b, tail) in [
            (492.291_422_664_074_96, 9, 18, 1.163_063_994_926_003_6e-19),
            (245.613_910_385_523_47, 9, 78, 2.021_011_794_519_504_5e-53),
            (0.433_721_030_135_103_2, 18, 60, 0.974_106_404_329_046_2),
        ] {
            assert!((f_above(f, a, b).unwrap() / tail - 1.0_f64).abs() < 1e-11, "{f}");
        }
        assert!(normal_quantile(1.0).is_err() && normal_quantile(f64::NAN).is_err());
        assert_eq!((f_above(f64::NAN, 1, 1), f_above(1.0, 0, 1)), (None, None));
    }
}
