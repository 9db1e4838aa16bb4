//! Numbers for screens and sheets: fixed places, a real minus sign. Files and CSV keep the hyphen.

use rust_decimal::{Decimal, RoundingStrategy};

use super::Reading;
use super::decimals::decimal_from_f64;

/// The minus sign, U+2212, which is as wide as the plus.
pub const MINUS: char = '\u{2212}';

/// What stands where there is no number that could be shown.
const NO_NUMBER: &str = "\u{2013}";

/// A length or angle with exactly `decimals` places, rounded half away from zero; never a negative zero.
#[must_use]
pub fn show_length(value: Decimal, decimals: u32) -> String {
    let rounded = fixed(value, decimals);
    if rounded.is_sign_negative() {
        format!("{MINUS}{}", rounded.abs())
    } else {
        rounded.to_string()
    }
}

/// A deviation with exactly `decimals` places and its sign, also a plus; zero has none.
#[must_use]
pub fn show_signed(value: Decimal, decimals: u32) -> String {
    let rounded = fixed(value, decimals);
    if rounded.is_zero() || rounded.is_sign_negative() {
        show_length(rounded, decimals)
    } else {
        format!("+{rounded}")
    }
}

/// A number with the places that it has.
#[must_use]
pub fn show_number(value: Decimal) -> String {
    show_length(value, value.scale())
}

/// A double with exactly `decimals` places; an en dash where there is no finite number.
#[must_use]
pub fn show_f64(value: f64, decimals: u32) -> String {
    match decimal_from_f64(value) {
        Some(decimal) => show_length(decimal, decimals),
        None if value.is_finite() => format!("{value:e}").replace('-', "\u{2212}"),
        None => NO_NUMBER.to_owned(),
    }
}

/// A reading just as it was written, with a real minus.
#[must_use]
pub fn show_reading(reading: &Reading) -> String {
    reading.as_str().replace('-', "\u{2212}")
}

fn fixed(value: Decimal, decimals: u32) -> Decimal {
    let mut rounded = value.round_dp_with_strategy(decimals, RoundingStrategy::MidpointAwayFromZero);
    rounded.rescale(decimals);
    if rounded.is_zero() {
        rounded.set_sign_positive(true);
    }
    rounded
}

/// Bytes as hexadecimal digits.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

/// The bytes of hexadecimal digits; none where it is something else, or nothing.
#[must_use]
pub fn unhex(text: &str) -> Option<Vec<u8>> {
    if text.is_empty() || !text.len().is_multiple_of(2) {
        return None;
    }
    let digit = |byte: u8| char::from(byte).to_digit(16).and_then(|digit| u8::try_from(digit).ok());
    let pairs = text.as_bytes().chunks_exact(2);
    pairs.map(|pair| Some(digit(pair[0])? << 4 | digit(pair[1])?)).collect()
}

/// A text with a capital first letter.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dec(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn bytes_go_through_hexadecimal_digits_and_nothing_else_does() {
        let all: Vec<u8> = (0..=255).collect();
        assert_eq!(unhex(&hex(&all)), Some(all));
        assert_eq!(unhex("0aFF"), Some(vec![10, 255]));
        for other in ["", "0", "0g", "+f", "-1", "0x", "\u{e9}", "a\u{e9}b"] {
            assert_eq!(unhex(other), None, "{other}");
        }
    }

    #[test]
    fn numbers_have_fixed_places_and_a_real_minus() {
        for (value, decimals, shown, signed) in [
            ("25.05", 3, "25.050", "+25.050"),
            ("-0.0005", 3, "\u{2212}0.001", "\u{2212}0.001"),
            ("-0.0004", 3, "0.000", "0.000"),
            ("0", 2, "0.00", "0.00"),
            ("12.5", 0, "13", "+13"),
        ] {
            assert_eq!(show_length(dec(value), decimals), shown);
            assert_eq!(show_signed(dec(value), decimals), signed);
        }
        assert_eq!(show_number(dec("-0.030")), "\u{2212}0.030");
        assert_eq!(show_f64(70.0 + 0.12, 3), "70.120");
        assert_eq!(show_f64(f64::NAN, 3), "\u{2013}");
        assert_eq!(show_reading(&"-7.10".parse().unwrap()), "\u{2212}7.10");
    }
}
