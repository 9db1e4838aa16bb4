//! Numbers exactly as they are written: 25.05 is 25.05 and not the nearest double.

use rust_decimal::Decimal;
use toml::de::DeValue;

/// Largest magnitude of a number in a file; the sums and products of a few such numbers stay far within a decimal.
const LARGEST: i64 = 1_000_000_000;

/// Most places behind the point.
const MOST_PLACES: i32 = 18;

/// Reads a TOML integer or float as a decimal, digit by digit; says in words why it cannot.
pub(super) fn exact(value: &DeValue<'_>) -> Result<Decimal, String> {
    let text = match value {
        DeValue::Integer(i) if i.radix() == 10 => i.as_str(),
        DeValue::Integer(_) => return Err("is not written in decimal digits".to_owned()),
        DeValue::Float(f) => f.as_str(),
        other => return Err(format!("is {} where a number belongs", in_words(other))),
    };
    let text = text.replace('_', "");
    let (negative, magnitude) = match text.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(&text)),
    };
    if !magnitude.starts_with(|c: char| c.is_ascii_digit()) {
        return Err(format!("is {text}, which is not a number that can be measured"));
    }
    let value = digits(magnitude).ok_or_else(|| too_long(&text))?;
    if value > Decimal::from(LARGEST) {
        return Err(too_long(&text));
    }
    Ok(if negative && !value.is_zero() { -value } else { value })
}

fn too_long(text: &str) -> String {
    let short: String = text.chars().take(30).collect();
    format!("is {short}, which is beyond what is read (up to {LARGEST}, {MOST_PLACES} decimal places)")
}

/// Digits with at most one point and an exponent.
fn digits(text: &str) -> Option<Decimal> {
    let (mantissa, exponent) = text.split_once(['e', 'E']).unwrap_or((text, "0"));
    let exponent: i32 = exponent.parse().ok()?;
    let (whole, fraction) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    let fraction = if exponent == 0 {
        fraction
    } else {
        fraction.trim_end_matches('0')
    };
    let places = i32::try_from(fraction.len()).ok()?.checked_sub(exponent)?;
    let units: i128 = format!("{whole}{fraction}").parse().ok()?;
    if units == 0 {
        return Some(Decimal::ZERO);
    }
    match u32::try_from(places) {
        Ok(scale) if places <= MOST_PLACES => Decimal::try_from_i128_with_scale(units, scale).ok(),
        Ok(_) => None,
        Err(_) => {
            let power = 10_i128.checked_pow(places.unsigned_abs())?;
            Decimal::try_from_i128_with_scale(units.checked_mul(power)?, 0).ok()
        }
    }
}

/// What a value is, for "is ... where a number belongs".
pub(super) fn in_words(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<String, String> {
        let value = DeValue::parse(text).unwrap();
        exact(value.get_ref()).map(|d| d.to_string())
    }

    #[test]
    fn numbers_are_read_digit_by_digit() {
        for (text, expected) in [
            ("25.05", "25.05"),
            ("25.050", "25.050"),
            ("32", "32"),
            ("+0.02", "0.02"),
            ("-0.0", "0"),
            ("0", "0"),
            ("4e-6", "0.000004"),
            ("23.6e-6", "0.0000236"),
            ("1.50e1", "15"),
            ("1.5E+3", "1500"),
            ("1_000.25", "1000.25"),
            ("-7e0", "-7"),
            ("1000000000", "1000000000"),
            ("0.000000000000000001", "0.000000000000000001"),
            ("0e99", "0"),
        ] {
            assert_eq!(read(text).as_deref(), Ok(expected), "{text}");
        }
    }

    #[test]
    fn what_is_no_length_is_refused() {
        for (text, expected) in [
            ("inf", "is inf, which is not a number that can be measured"),
            ("-nan", "is -nan, which is not a number that can be measured"),
            ("0x10", "is not written in decimal digits"),
            ("\"25\"", "is text where a number belongs"),
            ("true", "is true or false where a number belongs"),
            (
                "1e10",
                "is 1e10, which is beyond what is read (up to 1000000000, 18 decimal places)",
            ),
            (
                "1e-19",
                "is 1e-19, which is beyond what is read (up to 1000000000, 18 decimal places)",
            ),
            (
                "1e99999999999",
                "is 1e99999999999, which is beyond what is read (up to 1000000000, 18 decimal places)",
            ),
        ] {
            assert_eq!(read(text), Err(expected.to_owned()), "{text}");
        }
    }
}
