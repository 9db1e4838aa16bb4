//! The score interval of a proportion (E. B. Wilson, Journal of the American Statistical Association 22, 1927, 209-212;
//! method 3 of R. G. Newcombe, Statistics in Medicine 17, 1998, 857-872).

use super::number;
use crate::cohort::CohortError;
use crate::cohort::tails::normal_quantile;

/// A proportion with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Proportion {
    /// Share.
    pub value: f64,
    /// Lower limit, exactly 0 where nothing was found.
    pub lower: f64,
    /// Upper limit, exactly 1 where everything was.
    pub upper: f64,
}

/// `found` of `all`, with this confidence (0.95 for 95 %). No continuity correction.
///
/// # Errors
/// None of all, more found than there are, a confidence that is not between 0 and 1.
pub fn wilson(found: u64, all: u64, confidence: f64) -> Result<Proportion, CohortError> {
    if all == 0 {
        return Err(CohortError::TooFew {
            what: "trials",
            needed: 1,
            given: 0,
        });
    }
    if found > all {
        return Err(CohortError::WrongLayout(format!(
            "{found} of {all}: more than there are"
        )));
    }
    if !(confidence > 0.0 && confidence < 1.0) {
        return Err(CohortError::OutOfRange {
            what: "the confidence",
            value: confidence,
            wanted: "between 0 and 1, ends excluded",
        });
    }
    let z = -normal_quantile(0.5 * (1.0 - confidence))?;
    let (x, n) = (number(found.into()), number(all.into()));
    Ok(Proportion {
        value: x / n,
        lower: lower(x, n, z),
        upper: 1.0 - lower(n - x, n, z),
    })
}

/// The smaller root of (n + z^2) p^2 - (2 x + z^2) p + x^2 / n = 0, from the larger one and their product, so that a
/// small one keeps its digits.
fn lower(x: f64, n: f64, z: f64) -> f64 {
    let square = z * z;
    let larger = x + 0.5 * square + z * (x * (n - x) / n + 0.25 * square).sqrt();
    if x > 0.0 { x * x / n / larger } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_share_of_nothing_is_refused() {
        assert!(wilson(0, 0, 0.95).is_err() && wilson(3, 2, 0.95).is_err());
        assert!(wilson(1, 2, 1.0).is_err() && wilson(1, 2, 0.0).is_err() && wilson(1, 2, f64::NAN).is_err());
    }

    proptest! {
        #[test]
        fn limits_are_roots_about_the_share(all in 1_u64..2000, share in 0.0..=1.0_f64, confidence in 0.5..0.999_f64) {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of a small number")]
            let found = (number(all.into()) * share) as u64;
            let p = wilson(found, all, confidence).unwrap();
            prop_assert!(0.0 <= p.lower && p.lower <= p.value && p.value <= p.upper && p.upper <= 1.0, "{:?}", p);
            prop_assert_eq!(found == 0, p.lower <= 0.0);
            prop_assert_eq!(found == all, p.upper >= 1.0);
            // The score statistic is z at both limits.
            let z = -normal_quantile(0.5 * (1.0 - confidence)).unwrap();
            for limit in [p.lower, p.upper] {
                let distance = (p.value - limit).powi(2) - z * z * limit * (1.0 - limit) / number(all.into());
                prop_assert!(distance.abs() < 1e-13, "{}", distance);
            }
        }
    }
}
