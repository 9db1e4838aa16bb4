//! The probability that the true value lies within the limits (JCGM 106:2012, clause 7).

use rust_decimal::Decimal;
use serde::Serialize;

use super::ConformityError;
use super::normal::Standard;
use crate::metrology::tolerance::Limits;
use crate::units::decimal_to_f64;

/// Probabilities of where the true value lies, each summed on its own side, so that small ones keep their digits.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Probabilities {
    /// Within the limits.
    pub conforming: f64,
    /// Outside them: below or above.
    pub nonconforming: f64,
    /// Below the lower limit.
    pub below: f64,
    /// Above the upper limit.
    pub above: f64,
}

impl Probabilities {
    /// The specific risk of the one who receives an item that was accepted: that it does not conform (JCGM 106, 9.3.2).
    #[must_use]
    pub const fn specific_consumer_risk(&self) -> f64 {
        self.nonconforming
    }

    /// The specific risk of the one who made an item that was rejected: that it conforms (JCGM 106, 9.3.2).
    #[must_use]
    pub const fn specific_producer_risk(&self) -> f64 {
        self.conforming
    }
}

/// The probability of conformity of a value with standard uncertainty `u` in the same unit: normal, or the scaled and
/// shifted t distribution where degrees of freedom are given. With `u` = 0 it is 0 or 1, the limits included.
///
/// The value is a decimal so that its distances from the limits are exact.
///
/// # Errors
/// A negative or infinite `u`, or degrees of freedom that are not above zero. Infinitely many are the normal.
pub fn probability_of_conformity(
    value: Decimal,
    u: f64,
    degrees_of_freedom: Option<f64>,
    limits: &Limits,
) -> Result<Probabilities, ConformityError> {
    if !(u.is_finite() && u >= 0.0) {
        return Err(ConformityError::Uncertainty(u));
    }
    let standard = match degrees_of_freedom {
        None => Standard::Normal,
        Some(nu) if nu > 0.0 && nu.is_infinite() => Standard::Normal,
        Some(nu) if nu > 0.0 => Standard::T(nu),
        Some(nu) => return Err(ConformityError::DegreesOfFreedom(nu)),
    };
    // Room to either side, in u; infinite where there is no limit, and where u is zero.
    let room = |distance: Option<Decimal>| distance.map_or(f64::INFINITY, |d| in_units_of(d, u));
    let below = room(limits.lower.map(|lower| value.saturating_sub(lower)));
    let above = room(limits.upper.map(|upper| upper.saturating_sub(value)));
    Ok(between(standard, below, above))
}

/// A distance divided by u, where 0/0 counts as room, because limits are included.
fn in_units_of(distance: Decimal, u: f64) -> f64 {
    let distance = decimal_to_f64(distance);
    if u > 0.0 {
        distance / u
    } else if distance < 0.0 {
        f64::NEG_INFINITY
    } else {
        f64::INFINITY
    }
}

/// Probabilities for room below and above the estimate, in units of u.
pub(super) fn between(standard: Standard, room_below: f64, room_above: f64) -> Probabilities {
    let (below, above) = (standard.above(room_below), standard.above(room_above));
    let conforming = if room_below >= 0.0 && room_above >= 0.0 {
        standard.zero_to(room_below) + standard.zero_to(room_above)
    } else if room_above < 0.0 {
        // The estimate is above the upper limit: the difference of the tails on that side.
        standard.above(-room_above) - standard.above(room_below)
    } else {
        standard.above(-room_below) - standard.above(room_above)
    };
    let nonconforming = (below + above).min(1.0);
    Probabilities {
        conforming: conforming.clamp(0.0, 1.0),
        nonconforming,
        below,
        above,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dec(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn zero_uncertainty_is_yes_or_no_with_limits_included() {
        let limits = Limits::between(dec("11.95"), dec("12.05"));
        for (value, conforming, below, above) in [
            ("12.05", 1.0, 0.0, 0.0),
            ("11.95", 1.0, 0.0, 0.0),
            ("12.0501", 0.0, 0.0, 1.0),
            ("11", 0.0, 1.0, 0.0),
        ] {
            for nu in [None, Some(4.0)] {
                let found = probability_of_conformity(dec(value), 0.0, nu, &limits).unwrap();
                let expected = Probabilities {
                    conforming,
                    nonconforming: 1.0 - conforming,
                    below,
                    above,
                };
                assert_eq!(found, expected, "{value}");
            }
        }
        let free = probability_of_conformity(dec("5"), 1.0, None, &Limits::default()).unwrap();
        assert_eq!(
            (free.conforming.to_bits(), free.nonconforming.to_bits()),
            (1.0_f64.to_bits(), 0)
        );
    }

    #[test]
    fn wide_uncertainty_keeps_the_digits_of_the_middle() {
        // A width of 0.1 at 1e9 u: density times width, 0.1 / 1e9 / sqrt(2 pi); tolerance 1e-12.
        let limits = Limits::between(dec("11.95"), dec("12.05"));
        let found = probability_of_conformity(dec("12.01"), 1e9, None, &limits).unwrap();
        let expected = 0.1 / 1e9 / (2.0 * std::f64::consts::PI).sqrt();
        assert!((found.conforming / expected - 1.0).abs() < 1e-12);
    }

    #[test]
    fn what_makes_no_distribution_is_refused() {
        let limits = Limits::between(dec("0"), dec("2"));
        for u in [-0.1, f64::NAN, f64::INFINITY] {
            assert!(matches!(
                probability_of_conformity(dec("1"), u, None, &limits),
                Err(ConformityError::Uncertainty(_))
            ));
        }
        for nu in [0.0, -1.0, f64::NAN] {
            let found = probability_of_conformity(dec("1"), 0.1, Some(nu), &limits);
            assert!(matches!(found, Err(ConformityError::DegreesOfFreedom(_))));
        }
        let endless = probability_of_conformity(dec("1"), 0.4, Some(f64::INFINITY), &limits);
        assert_eq!(endless, probability_of_conformity(dec("1"), 0.4, None, &limits));
    }
}
