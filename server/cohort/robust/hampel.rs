//! Hampel's mean (ISO 13528:2015, C.5.3): values far from it count less, and beyond 4.5 s* not at all.

use super::order::{checked, median, sorted};
use crate::cohort::CohortError;

/// Where psi bends, in s*.
const BENDS: [f64; 3] = [1.5, 3.0, 4.5];

/// The solution of sum psi((x - mean) / s*) = 0 that is nearest to the median, by the finite procedure of the standard:
/// the sum is made of straight pieces, so its zeros lie between the places where it bends. Where two are equally near,
/// the median. `spread` is s*, here that of the Q method.
///
/// # Errors
/// Fewer than two values; a spread that is not above zero.
pub fn hampel_mean(values: &[f64], spread: f64) -> Result<f64, CohortError> {
    checked(values)?;
    if !(spread.is_finite() && spread > 0.0) {
        return Err(CohortError::OutOfRange {
            what: "the spread",
            value: spread,
            wanted: "above zero",
        });
    }
    let middle = median(values);
    // About the median, in s*: differences of near values keep their digits.
    let local: Vec<f64> = sorted(values).iter().map(|v| (v - middle) / spread).collect();
    let found = nearest(&zeros(&local)).ok_or(CohortError::NoScatter(
        "no mean balances these values: they lie in groups too far from each other",
    ))?;
    Ok(middle + found * spread)
}

/// 1 up to the first bend, level to the second, falling to zero at the third.
fn psi(q: f64) -> f64 {
    let size = q.abs();
    let value = if size <= BENDS[0] {
        size
    } else if size <= BENDS[1] {
        BENDS[0]
    } else {
        (BENDS[2] - size).max(0.0)
    };
    value.copysign(q)
}

/// A zero, or the ends of a stretch of zeros.
type Stretch = (f64, f64);

fn zeros(values: &[f64]) -> Vec<Stretch> {
    let sum = |at: f64| values.iter().map(|v| psi(v - at)).sum::<f64>();
    let ends = BENDS
        .iter()
        .flat_map(|b| values.iter().flat_map(move |v| [v - b, v + b]));
    let mut bends: Vec<f64> = ends.collect();
    bends.sort_by(f64::total_cmp);
    // Sums of so many terms are zero up to their rounding.
    let nothing = 64.0 * f64::EPSILON * crate::cohort::count(values.len());
    let at: Vec<(f64, f64)> = bends.into_iter().map(|b| (b, sum(b))).collect();
    let mut found: Vec<Stretch> = Vec::new();
    for pair in at.windows(2) {
        let ((a, sa), (b, sb)) = (pair[0], pair[1]);
        if sa.abs() <= nothing && sb.abs() <= nothing {
            found.push((a, b));
        } else if sa.abs() <= nothing {
            found.push((a, a));
        } else if sb.abs() <= nothing {
            found.push((b, b));
        } else if sa.is_sign_positive() != sb.is_sign_positive() {
            let zero = a + (b - a) * (sa / (sa - sb));
            found.push((zero, zero));
        }
    }
    // Outside of all values the sum is zero and says nothing.
    let (Some(first), Some(last)) = (values.first(), values.last()) else {
        return Vec::new();
    };
    found.retain(|(a, b)| {
        b >= first
            && a <= last
            && values
                .iter()
                .any(|v| (v - a).abs() < BENDS[2] || (v - b).abs() < BENDS[2])
    });
    found
}

/// The place of a zero that is nearest to 0; 0 itself where it lies in a stretch or where two are equally near.
fn nearest(found: &[Stretch]) -> Option<f64> {
    let place = |(a, b): &Stretch| 0.0_f64.clamp(*a, *b);
    let best = found.iter().map(place).min_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    let rival = found
        .iter()
        .map(place)
        .any(|p| p * best < 0.0 && (p.abs() - best.abs()).abs() <= 1e-12 * best.abs());
    Some(if rival { 0.0 } else { best })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn psi_has_its_corners() {
        for (q, expected) in [
            (0.7, 0.7),
            (1.5, 1.5),
            (-2.0, -1.5),
            (3.75, 0.75),
            (-4.5, 0.0),
            (9.0, 0.0),
        ] {
            assert!((psi(q) - expected).abs() < 1e-15, "{q}");
        }
    }

    #[test]
    fn outliers_do_not_count() {
        // Without the far value the mean is 2; with it at 1000 s* too.
        let found = hampel_mean(&[1.0, 2.0, 3.0, 1000.0], 1.0).unwrap();
        assert!((found - 2.0).abs() < 1e-12, "{found}");
        // Two groups equally far from the median: the median.
        let found = hampel_mean(&[0.0, 0.0, 20.0, 20.0], 1.0).unwrap();
        assert!((found - 10.0).abs() < 1e-12, "{found}");
        assert!(hampel_mean(&[1.0, 2.0], 0.0).is_err() && hampel_mean(&[1.0], 1.0).is_err());
    }

    proptest! {
        #[test]
        fn it_moves_with_the_values(values in prop::collection::vec(-100_i32..100, 3..15), shift in -1000_i32..1000) {
            let plain: Vec<f64> = values.iter().map(|v| f64::from(*v)).collect();
            let moved: Vec<f64> = plain.iter().map(|v| 10.0 * v + f64::from(shift)).collect();
            if let Ok(found) = hampel_mean(&plain, 7.0) {
                let other = hampel_mean(&moved, 70.0).unwrap();
                prop_assert!((10.0 * found + f64::from(shift) - other).abs() < 1e-9, "{} {}", found, other);
            }
        }
    }
}
