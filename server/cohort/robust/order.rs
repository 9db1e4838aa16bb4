//! Statistics of order.

use super::super::{CohortError, count, finite};

/// Values in order.
pub(super) fn sorted(values: &[f64]) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted
}

/// Median; of an even number the middle of the middle two. Zero of no values.
#[must_use]
pub fn median(values: &[f64]) -> f64 {
    quantile(&sorted(values), 0.5)
}

/// Quantile with linear interpolation between the order statistics, the first at 0 and the last at 1 (definition 7 of
/// R. J. Hyndman and Y. Fan, The American Statistician 50, 1996, 361-365).
pub(super) fn quantile(sorted: &[f64], share: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else {
        return 0.0;
    };
    let place = share * count(last);
    let (mut below, mut rank) = (0, 0.0);
    while rank + 1.0 <= place && below < last {
        below += 1;
        rank += 1.0;
    }
    let above = (below + 1).min(last);
    sorted[below] + (place - rank) * (sorted[above] - sorted[below])
}

/// Scaled median absolute deviation, MADe = 1.483 median |x - median x| (ISO 13528:2015, C.2.2).
///
/// # Errors
/// Fewer than two values, or one that is no finite number.
pub fn made(values: &[f64]) -> Result<f64, CohortError> {
    checked(values)?;
    let middle = median(values);
    let distances: Vec<f64> = values.iter().map(|v| (v - middle).abs()).collect();
    Ok(1.483 * median(&distances))
}

/// Normalised interquartile range, nIQR = 0.7413 (Q3 - Q1) (ISO 13528:2015, C.2.3); quartiles with linear
/// interpolation.
///
/// # Errors
/// Fewer than two values, or one that is no finite number.
pub fn niqr(values: &[f64]) -> Result<f64, CohortError> {
    checked(values)?;
    let sorted = sorted(values);
    Ok(0.7413 * (quantile(&sorted, 0.75) - quantile(&sorted, 0.25)))
}

/// Two finite values or more.
pub(super) fn checked(values: &[f64]) -> Result<(), CohortError> {
    finite("value", values)?;
    if values.len() < 2 {
        return Err(CohortError::TooFew {
            what: "values",
            needed: 2,
            given: values.len(),
        });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_interpolate() {
        let check = |values: &[f64], share: f64, expected: f64| {
            let found = quantile(&sorted(values), share);
            assert!((found - expected).abs() < 1e-15, "{values:?} {share}: {found}");
        };
        check(&[4.0, 1.0, 3.0, 2.0], 0.5, 2.5);
        check(&[4.0, 1.0, 3.0, 2.0], 0.25, 1.75);
        check(&[4.0, 1.0, 3.0, 2.0], 1.0, 4.0);
        check(&[7.0], 0.75, 7.0);
        check(&[], 0.5, 0.0);
    }

    #[test]
    fn one_value_has_no_spread() {
        assert!(made(&[1.0]).is_err() && niqr(&[]).is_err() && made(&[1.0, f64::NAN]).is_err());
    }
}
