//! Reliability of a longer or shorter exercise (C. Spearman, British Journal of Psychology 3, 1910, 271-295; W. Brown,
//! ibid., 296-322).

use crate::cohort::CohortError;

/// Reliability of an exercise `factor` times as long: n r / (1 + (n - 1) r).
///
/// # Errors
/// A factor that is not above zero, a reliability above 1, or one so far below 0 that nothing is left to divide by.
pub fn lengthened(reliability: f64, factor: f64) -> Result<f64, CohortError> {
    if !(factor > 0.0 && factor.is_finite()) {
        return Err(CohortError::OutOfRange {
            what: "the factor of length",
            value: factor,
            wanted: "above zero",
        });
    }
    let divisor = 1.0 + (factor - 1.0) * reliability;
    if !(-1.0..=1.0).contains(&reliability) || divisor <= 0.0 {
        return Err(CohortError::OutOfRange {
            what: "the reliability",
            value: reliability,
            wanted: "between -1 and 1, and large enough for this factor",
        });
    }
    Ok(factor * reliability / divisor)
}

/// How many times as long the exercise must be for a wanted reliability: t (1 - r) / (r (1 - t)).
///
/// # Errors
/// Reliabilities that are not between 0 and 1.
pub fn length_for(reliability: f64, target: f64) -> Result<f64, CohortError> {
    for (what, value) in [("the reliability", reliability), ("the wanted reliability", target)] {
        if !(value > 0.0 && value < 1.0) {
            return Err(CohortError::OutOfRange {
                what,
                value,
                wanted: "between 0 and 1, ends excluded",
            });
        }
    }
    Ok(target * (1.0 - reliability) / (reliability * (1.0 - target)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ways_are_inverse() {
        for (r, factor) in [(0.7, 2.0), (0.6, 0.5), (0.3, 7.5)] {
            let new = lengthened(r, factor).unwrap();
            assert!((length_for(r, new).unwrap() - factor).abs() < 1e-12, "{r} {factor}");
        }
        for (r, factor) in [
            (0.5, 0.0),
            (1.5, 2.0),
            (-1.0, 2.0),
            (f64::NAN, 2.0),
            (0.5, f64::INFINITY),
        ] {
            assert!(lengthened(r, factor).is_err(), "{r} {factor}");
        }
        for (r, target) in [(0.0, 0.9), (1.0, 0.9), (0.5, 1.0), (0.5, f64::NAN)] {
            assert!(length_for(r, target).is_err(), "{r} {target}");
        }
    }
}
