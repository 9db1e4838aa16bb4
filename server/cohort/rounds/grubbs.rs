//! Grubbs's test of one value that lies away from the others (F. E. Grubbs, Technometrics 11, 1969; ISO 5725-2).

use crate::cohort::{CohortError, count, finite};
use crate::metrology::uncertainty::coverage_factor;

/// What the test says of the value furthest from the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Furthest {
    /// Its place among the values.
    pub at: usize,
    /// Distance from the mean in standard deviations.
    pub g: f64,
    /// What G exceeds by chance once in a hundred.
    pub critical_1: f64,
    /// What G exceeds by chance once in twenty.
    pub critical_5: f64,
}

impl Furthest {
    /// Beyond the 1 % value: an outlier.
    #[must_use]
    pub fn is_outlier(&self) -> bool {
        self.g > self.critical_1
    }

    /// Beyond the 5 % value only: a straggler (ISO 5725-2).
    #[must_use]
    pub fn is_straggler(&self) -> bool {
        self.g > self.critical_5 && !self.is_outlier()
    }
}

/// Critical value of G for `n` values at the two-sided level `alpha`: (n - 1)/sqrt(n) sqrt(t^2/(n - 2 + t^2)) with
/// Student's t at alpha/(2n) and n - 2 degrees of freedom.
///
/// # Errors
/// Fewer than three values, or a level outside of 0 to 1.
pub fn critical(n: usize, alpha: f64) -> Result<f64, CohortError> {
    if n < 3 {
        return Err(too_few(n));
    }
    let out_of_range = CohortError::OutOfRange {
        what: "the level",
        value: alpha,
        wanted: "between 0 and 1, ends excluded",
    };
    let (values, freedom) = (count(n), count(n - 2));
    let t = coverage_factor(1.0 - alpha / values, Some(freedom)).map_err(|_| out_of_range)?;
    Ok((values - 1.0) / values.sqrt() * (t * t / (freedom + t * t)).sqrt())
}

fn too_few(given: usize) -> CohortError {
    CohortError::TooFew {
        what: "values",
        needed: 3,
        given,
    }
}

/// Tests the value furthest from the mean. `None` where all values are the same.
///
/// # Errors
/// Fewer than three values, or one that is no finite number.
pub fn furthest(values: &[f64]) -> Result<Option<Furthest>, CohortError> {
    finite("value", values)?;
    let n = values.len();
    let (critical_1, critical_5) = (critical(n, 0.01)?, critical(n, 0.05)?);
    // About the first value, so that the sums keep their digits.
    let first = values.first().copied().unwrap_or_default();
    let mean = values.iter().map(|v| v - first).sum::<f64>() / count(n);
    let off = |v: &f64| (v - first - mean).abs();
    let s = (values.iter().map(|v| off(v).powi(2)).sum::<f64>() / count(n - 1)).sqrt();
    let at = (0..n).max_by(|a, b| off(&values[*a]).total_cmp(&off(&values[*b])));
    let g = |at: usize| off(&values[at]) / s;
    Ok(at.filter(|_| s > 0.0).map(|at| Furthest {
        at,
        g: g(at),
        critical_1,
        critical_5,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn critical_values_are_the_published_ones() {
        // Source: LibreTexts Chemistry, Analytic References, Appendix 07 (critical values for Grubbs's test, two-sided), n = 7
        // left out, where it has 2.202 at 5 % (digits of 2.020 exchanged); tolerance one unit of the last printed place, as
        // the table rounds 1.1543 up to 1.155.
        for (n, five, one) in [
            (3, 1.155, 1.155),
            (4, 1.481, 1.496),
            (5, 1.715, 1.764),
            (6, 1.887, 1.973),
            (8, 2.126, 2.274),
            (9, 2.215, 2.387),
            (10, 2.290, 2.482),
            (12, 2.412, 2.636),
            (14, 2.507, 2.755),
        ] {
            for (alpha, expected) in [(0.05, five), (0.01, one)] {
                let found = critical(n, alpha).unwrap();
                assert!((found - expected).abs() < 0.001, "{n} {alpha}: {found}");
            }
        }
    }

    #[test]
    fn the_value_that_lies_away_is_found() {
        // Worked by hand: mean 2, deviations -2, -1, 0, 3; s^2 = 14/3, G = 3/2.160 = 1.389.
        let found = furthest(&[0.0, 1.0, 2.0, 5.0]).unwrap().unwrap();
        assert_eq!(found.at, 3);
        assert!((found.g - 1.388_730).abs() < 1e-6, "{}", found.g);
        assert!(!found.is_outlier() && !found.is_straggler());
        let found = furthest(&[10.001, 10.002, 10.0, 10.001, 10.002, 10.03])
            .unwrap()
            .unwrap();
        assert!(found.is_outlier() && found.at == 5);
        assert_eq!(furthest(&[1.0, 1.0, 1.0]).unwrap(), None);
        assert!(furthest(&[1.0, 2.0]).is_err() && furthest(&[1.0, f64::NAN, 2.0]).is_err());
    }
}
