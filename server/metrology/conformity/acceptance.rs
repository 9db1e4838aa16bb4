//! Limits of acceptance for a wanted probability of conformity (JCGM 106:2012, clause 8).

use rust_decimal::Decimal;
use statrs::function::erf::erfc_inv;

use super::ConformityError;
use super::normal::{Standard, density};
use super::probability::between;
use crate::metrology::tolerance::Limits;
use crate::units::decimal_to_f64;

/// Steps of bisection: enough to halve any bracket of doubles down to neighbours.
const HALVINGS: u32 = 200;

/// Beyond this many u from a limit the probability of conformity is 0 in doubles.
const FAR: f64 = 40.0;

/// Values from `lower` to `upper` reach the wanted probability of conformity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AcceptanceLimits {
    /// True when no value reaches it; there are no limits then.
    pub empty: bool,
    /// Smallest such value; `None` without a lower limit.
    pub lower: Option<f64>,
    /// Largest such value; `None` without an upper limit.
    pub upper: Option<f64>,
    /// The largest value by the upper limit alone; it is too large where the tolerance is only a few u wide.
    pub one_limit_upper: Option<f64>,
    /// The smallest value by the lower limit alone.
    pub one_limit_lower: Option<f64>,
}

/// The z that a standard normal variable stays below with probability `p`.
///
/// # Errors
/// A probability that is not between 0 and 1.
pub fn z_for_probability(p: f64) -> Result<f64, ConformityError> {
    if !(p > 0.0 && p < 1.0) {
        return Err(ConformityError::Probability(p));
    }
    // From the smaller tail, where the inverse has all its digits; one Newton step cleans the last ones.
    let (tail, sign) = if p < 0.5 { (p, -1.0) } else { (1.0 - p, 1.0) };
    let z = std::f64::consts::SQRT_2 * erfc_inv(2.0 * tail);
    let slope = density(z);
    let step = if slope > 0.0 {
        (Standard::Normal.above(z) - tail) / slope
    } else {
        0.0
    };
    Ok(sign * (z + step))
}

/// The values whose probability of conformity, normal with standard uncertainty `u`, is `p` or more.
///
/// # Errors
/// A negative `u`, a probability that is not between 0 and 1.
pub fn acceptance_limits(u: f64, limits: &Limits, p: f64) -> Result<AcceptanceLimits, ConformityError> {
    if !(u.is_finite() && u >= 0.0) {
        return Err(ConformityError::Uncertainty(u));
    }
    let z = z_for_probability(p)?;
    let inwards = |room: f64| {
        let lower = limits.lower.map(|limit| decimal_to_f64(limit) + room);
        let upper = limits.upper.map(|limit| decimal_to_f64(limit) - room);
        (lower, upper)
    };
    let (one_limit_lower, one_limit_upper) = inwards(z * u);
    let room = match limits.width() {
        Some(width) if width < Decimal::ZERO => None,
        Some(width) if u > 0.0 => room_at_the_limit(decimal_to_f64(width) / u, p).map(|room| room * u),
        _ => Some(z * u),
    };
    let (lower, upper) = room.map_or((None, None), inwards);
    Ok(AcceptanceLimits {
        empty: room.is_none(),
        lower,
        upper,
        one_limit_upper,
        one_limit_lower,
    })
}

/// The distance in u from a limit, inwards, at which the probability of conformity with a tolerance of `width` u is
/// `p`; `None` where even the middle has less.
fn room_at_the_limit(width: f64, p: f64) -> Option<f64> {
    let reached = |room: f64| between(Standard::Normal, width - room, room).conforming >= p;
    let mut enough = 0.5 * width;
    if !reached(enough) {
        return None;
    }
    // The probability falls steadily from the middle outwards.
    let mut short = -FAR;
    for _ in 0..HALVINGS {
        let middle = 0.5 * (enough + short);
        if reached(middle) {
            enough = middle;
        } else {
            short = middle;
        }
    }
    Some(enough)
}

/// The reading from which a largest value is exceeded with probability `p`, where the uncertainty is in proportion to
/// the reading: v (1 - z u_rel) = limit (JCGM 106, example of measured speed).
///
/// # Errors
/// A negative relative uncertainty, or one so large that no reading is certain enough; a probability that is not
/// between 0 and 1.
pub fn threshold_for_relative_u(limit: f64, relative_u: f64, p: f64) -> Result<f64, ConformityError> {
    if !limit.is_finite() {
        return Err(ConformityError::Limit(limit));
    }
    if !(relative_u.is_finite() && relative_u >= 0.0) {
        return Err(ConformityError::Uncertainty(relative_u));
    }
    let share = 1.0 - z_for_probability(p)? * relative_u;
    if share > 0.0 {
        Ok(limit / share)
    } else {
        Err(ConformityError::RelativeUncertainty(relative_u))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dec(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn z_and_probability_are_inverse() {
        for p in [1e-300, 1e-20, 0.001, 0.2, 0.5, 0.8, 0.95, 0.999_999] {
            let z = z_for_probability(p).unwrap();
            let back = Standard::Normal.above(-z);
            assert!((back / p - 1.0).abs() < 1e-12, "{p}: {z} {back}");
        }
        // Source: 97.5 % quantile, 1.959963984540054 (50-digit arithmetic); tolerance 1e-14.
        assert!((z_for_probability(0.975).unwrap() - 1.959_963_984_540_054).abs() < 1e-14);
        for p in [0.0, 1.0, -0.1, 1.5, f64::NAN] {
            assert!(matches!(z_for_probability(p), Err(ConformityError::Probability(_))));
        }
    }

    #[test]
    fn at_the_limits_the_probability_is_the_wanted_one() {
        let limits = Limits::between(dec("9.98"), dec("10.02"));
        for (u, p) in [(0.01, 0.95), (0.005, 0.99), (0.0125, 0.5), (0.01, 0.2)] {
            let found = acceptance_limits(u, &limits, p).unwrap();
            for value in [found.lower.unwrap(), found.upper.unwrap()] {
                let there = between(Standard::Normal, (value - 9.98) / u, (10.02 - value) / u).conforming;
                assert!((there - p).abs() < 1e-11, "{u} {p}: {there}");
            }
        }
        let none = acceptance_limits(0.02, &limits, 0.95).unwrap();
        assert!(none.empty && none.lower.is_none() && none.one_limit_upper.is_some());
        let exact = acceptance_limits(0.0, &limits, 0.95).unwrap();
        assert_eq!((exact.lower, exact.upper), (Some(9.98), Some(10.02)));
        let one = acceptance_limits(0.01, &Limits::at_most(dec("0.1")), 0.95).unwrap();
        assert_eq!((one.lower, one.upper), (None, one.one_limit_upper));
        assert!(acceptance_limits(-0.1, &limits, 0.95).is_err());
    }

    #[test]
    fn a_threshold_needs_a_small_enough_uncertainty() {
        assert!(matches!(
            threshold_for_relative_u(100.0, 0.5, 0.999),
            Err(ConformityError::RelativeUncertainty(_))
        ));
        assert!(threshold_for_relative_u(f64::NAN, 0.02, 0.9).is_err());
    }
}
