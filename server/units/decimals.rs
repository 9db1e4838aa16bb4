//! From binary to decimal and back, without loss where that is possible.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy};

/// Places to which a double is rounded when it becomes a decimal: far below any unit that a shop can see, and coarse
/// enough that the rounding noise of a sum like 70 + 0.12 disappears.
const PLACES_OF_A_DOUBLE: usize = 11;

/// Significant digits that every double keeps (`f64::DIGITS`).
const DIGITS_OF_A_DOUBLE: usize = 15;

/// Largest magnitude that is converted: 15 digits before the point.
const LARGEST: f64 = 1e15;

/// The decimal that a double stands for: rounded to 11 places, and to 15 significant digits where that is fewer, so
/// that 70 + 0.12 gives exactly 70.12. `None` for NaN, infinities and magnitudes of 1e15 and more.
#[must_use]
pub fn decimal_from_f64(value: f64) -> Option<Decimal> {
    if !value.is_finite() || value.abs() >= LARGEST {
        return None;
    }
    let whole = format!("{:.0}", value.abs().trunc());
    let places = DIGITS_OF_A_DOUBLE.saturating_sub(whole.len()).min(PLACES_OF_A_DOUBLE);
    // `format!` rounds the exact binary value; a decimal library's own conversion need not.
    let decimal = Decimal::from_str_exact(&format!("{value:.places$}")).ok()?.normalize();
    Some(if decimal.is_zero() { Decimal::ZERO } else { decimal })
}

/// The double nearest to a decimal.
#[must_use]
pub fn decimal_to_f64(value: Decimal) -> f64 {
    exactly_divided(value).unwrap_or_else(|| {
        // Through text, because the standard library's reader rounds correctly and a digit-wise conversion may not. Every
        // decimal is text that this reader takes, so the second way is never walked.
        value.to_string().parse().ok().or_else(|| value.to_f64()).unwrap_or(0.0)
    })
}

/// Powers of ten that a double holds exactly.
const TENS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20,
    1e21, 1e22,
];

/// Where digits and power of ten are doubles both, one division rounds correctly (W. D. Clinger, How to read floating point
/// numbers accurately, PLDI 1990).
fn exactly_divided(value: Decimal) -> Option<f64> {
    let ten = TENS.get(usize::try_from(value.scale()).ok()?)?;
    let high = i32::try_from(value.mantissa() >> 32)
        .ok()
        .filter(|high| high.unsigned_abs() < 1 << 20)?;
    let low = u32::try_from(value.mantissa() & i128::from(u32::MAX)).ok()?;
    Some((f64::from(high) * 4_294_967_296.0 + f64::from(low)) / ten)
}

/// Reads a plain decimal number: an optional sign (`+`, `-`, or the minus U+2212), digits, at most one point.
/// No exponent, no grouping, no comma. `None` when it is something else or does not fit 28 digits exactly.
#[must_use]
pub fn parse_plain_decimal(text: &str) -> Option<Decimal> {
    let (negative, digits) = split_sign(text);
    let plain = digits.bytes().all(|b| b.is_ascii_digit() || b == b'.') && digits.bytes().any(|b| b.is_ascii_digit());
    if !plain || digits.bytes().filter(|b| *b == b'.').count() > 1 {
        return None;
    }
    let magnitude = Decimal::from_str_exact(digits.strip_suffix('.').unwrap_or(digits)).ok()?;
    Some(if negative && !magnitude.is_zero() {
        -magnitude
    } else {
        magnitude
    })
}

/// Splits a leading sign off; true for minus.
pub(super) fn split_sign(text: &str) -> (bool, &str) {
    if let Some(rest) = text.strip_prefix(['-', super::show::MINUS]) {
        (true, rest)
    } else {
        (false, text.strip_prefix('+').unwrap_or(text))
    }
}

/// Rounded to `places`, towards minus infinity.
#[must_use]
pub fn round_down(value: Decimal, places: u32) -> Decimal {
    value.round_dp_with_strategy(places, RoundingStrategy::ToNegativeInfinity)
}

/// Rounded to `places`, towards plus infinity.
#[must_use]
pub fn round_up(value: Decimal, places: u32) -> Decimal {
    value.round_dp_with_strategy(places, RoundingStrategy::ToPositiveInfinity)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn check(value: f64, expected: &str) {
        assert_eq!(decimal_from_f64(value).unwrap().to_string(), expected, "{value}");
    }

    #[test]
    fn sums_of_short_decimals_come_back_short() {
        check(70.0 + 0.12, "70.12");
        check(0.1 + 0.2, "0.3");
        check(12.003 - 0.001, "12.002");
        check(123_456.7 + 0.01, "123456.71");
        check(-0.0, "0");
        check(-1e-13, "0");
        check(-0.05, "-0.05");
        check(1e-11, "0.00000000001");
        check(999_999_999_999_999.0, "999999999999999");
        for out in [f64::NAN, f64::INFINITY, 1e15, -1e300] {
            assert_eq!(decimal_from_f64(out), None);
        }
    }

    #[test]
    fn only_plain_numbers_are_read() {
        for (text, expected) in [
            ("25.05", "25.05"),
            ("+.5", "0.5"),
            ("5.", "5"),
            ("\u{2212}0.030", "-0.030"),
            ("-0.0", "0.0"),
        ] {
            assert_eq!(parse_plain_decimal(text).unwrap().to_string(), expected, "{text}");
        }
        for text in [
            "",
            ".",
            "-",
            "1e3",
            "1,5",
            "1_000",
            "1.2.3",
            "--1",
            "NaN",
            " 1",
            "0x1",
            &"9".repeat(40),
        ] {
            assert_eq!(parse_plain_decimal(text), None, "{text}");
        }
    }

    proptest! {
        #[test]
        fn decimals_survive_the_way_through_f64(units in -999_999_999_999_i64..999_999_999_999, places in 0_u32..7) {
            let decimal = Decimal::new(units, places);
            prop_assert_eq!(decimal_from_f64(decimal_to_f64(decimal)), Some(decimal));
        }

        #[test]
        fn the_double_is_the_nearest(
            units in prop_oneof![any::<i64>(), -1_i64 << 53..=1 << 53, -99_999_i64..=99_999],
            places in 0_u32..=28,
        ) {
            let decimal = Decimal::new(units, places);
            let expected: f64 = decimal.to_string().parse().unwrap();
            prop_assert_eq!(decimal_to_f64(decimal).to_bits(), expected.to_bits());
        }
    }
}
