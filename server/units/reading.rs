//! A number as somebody wrote it.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use smol_str::{SmolStr, format_smolstr};
use thiserror::Error;

use super::decimals::split_sign;

/// Digits before the point that are taken: as many as the largest double has.
const MOST_WHOLE_DIGITS: usize = 309;

/// Digits behind the point that are taken: more than the shortest text of the smallest double has.
const MOST_PLACES: usize = 400;

/// Digits that a [`Decimal`] always holds.
const DIGITS_OF_A_DECIMAL: usize = 28;

/// Magnitude at which readings end for comparisons: 1e15, beyond every limit of an exercise.
const FAR_OUT: Decimal = Decimal::from_parts(2_764_472_320, 232_830, 0, false, 0);

/// A number as somebody wrote it, in canonical text: `-` for minus and no plus, no needless zeros in front, trailing
/// zeros kept, because they say to which place somebody read. Equality is that of the text: 25.0 is not 25.00; compare
/// [`Reading::decimal`] for the value. Always finite.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "SmolStr", into = "SmolStr")]
pub struct Reading(SmolStr);

/// Why a text is not a plain decimal number.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ReadingError {
    /// Nothing there.
    #[error("there is no number")]
    Empty,
    /// Letters, exponents, grouping, several points.
    #[error("\"{found}\" is not a plain decimal number; write digits with at most one point, as in -12.345")]
    NotANumber {
        /// What was written, shortened.
        found: String,
    },
    /// More digits than any measurement has.
    #[error("the number has {digits} digits {side} the point; at most {most} are read")]
    TooLong {
        /// `before` or `behind`.
        side: &'static str,
        /// How many it has.
        digits: usize,
        /// How many are taken.
        most: usize,
    },
}

impl Reading {
    /// The canonical text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The value for comparisons. Magnitudes above 1e15 become 1e15. Where there are more digits than a decimal holds,
    /// the rest is cut off and leaves a trace in the last kept digit (a 0 becomes 1), so that every comparison with a
    /// limit, which has far fewer digits, comes out as it does for the text; what is too small becomes 1e-28.
    #[must_use]
    pub fn decimal(&self) -> Decimal {
        let (negative, magnitude) = split_sign(&self.0);
        let value = magnitude_for_comparison(magnitude);
        if negative { -value } else { value }
    }

    /// The nearest double; the largest one where the number is beyond it.
    #[must_use]
    pub fn approx(&self) -> f64 {
        self.0.parse::<f64>().unwrap_or(0.0).clamp(f64::MIN, f64::MAX)
    }

    /// Places behind the point, as written.
    #[must_use]
    pub fn places(&self) -> usize {
        self.0.split_once('.').map_or(0, |(_, fraction)| fraction.len())
    }

    /// A decimal as a reading, with the places that it has.
    #[must_use]
    pub fn from_decimal(value: Decimal) -> Self {
        let negative = value.is_sign_negative() && !value.is_zero();
        Self(format_smolstr!("{}{}", if negative { "-" } else { "" }, value.abs()))
    }

    /// A double as somebody would write it with `places` places (rounded half away from zero from its decimal value);
    /// `None` for NaN and magnitudes of 1e15 and more.
    #[must_use]
    pub fn from_f64(value: f64, places: u32) -> Option<Self> {
        let mut decimal = super::decimals::decimal_from_f64(value)?
            .round_dp_with_strategy(places, rust_decimal::RoundingStrategy::MidpointAwayFromZero);
        decimal.rescale(places);
        Some(Self::from_decimal(decimal))
    }
}

impl FromStr for Reading {
    type Err = ReadingError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let trimmed = text.trim();
        if trimmed.is_empty() {
            return Err(ReadingError::Empty);
        }
        let (negative, digits) = split_sign(trimmed);
        let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
        let plain = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
        if !plain(whole) || !plain(fraction) || (whole.is_empty() && fraction.is_empty()) {
            return Err(ReadingError::NotANumber {
                found: shortened(trimmed),
            });
        }
        let whole = whole.trim_start_matches('0');
        for (side, digits, most) in [
            ("before", whole.len(), MOST_WHOLE_DIGITS),
            ("behind", fraction.len(), MOST_PLACES),
        ] {
            if digits > most {
                return Err(ReadingError::TooLong { side, digits, most });
            }
        }
        let zero = whole.is_empty() && fraction.bytes().all(|b| b == b'0');
        let sign = if negative && !zero { "-" } else { "" };
        let whole = if whole.is_empty() { "0" } else { whole };
        let point = if fraction.is_empty() { "" } else { "." };
        Ok(Self(format_smolstr!("{sign}{whole}{point}{fraction}")))
    }
}

impl TryFrom<SmolStr> for Reading {
    type Error = ReadingError;

    fn try_from(text: SmolStr) -> Result<Self, Self::Error> {
        text.parse()
    }
}

impl From<Reading> for SmolStr {
    fn from(reading: Reading) -> Self {
        reading.0
    }
}

impl fmt::Display for Reading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// The value of canonical digits without a sign, as [`Reading::decimal`] describes.
fn magnitude_for_comparison(text: &str) -> Decimal {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    // Canonical text has no zeros in front, so length is magnitude.
    if whole.len() > 15 {
        return FAR_OUT;
    }
    let whole_digits = if whole == "0" { 0 } else { whole.len() };
    let kept_places = fraction.len().min(DIGITS_OF_A_DECIMAL - whole_digits);
    let (kept, lost) = fraction.split_at(kept_places);
    // At most 28 digits after the zero in front, hence always within 96 bits.
    let digits = whole
        .bytes()
        .chain(kept.bytes())
        .map(|b| i128::from(b.wrapping_sub(b'0')));
    let mut units = digits.fold(0_i128, |units, digit| units * 10 + digit);
    if lost.bytes().any(|b| b != b'0') && units % 10 == 0 {
        units += 1;
    }
    let scale = u32::try_from(kept_places).unwrap_or(0);
    Decimal::try_from_i128_with_scale(units, scale).unwrap_or(FAR_OUT)
}

fn shortened(text: &str) -> String {
    const MOST: usize = 40;
    if text.chars().count() <= MOST {
        text.to_owned()
    } else {
        text.chars().take(MOST).chain(['\u{2026}']).collect()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn reading(text: &str) -> Reading {
        text.parse().unwrap()
    }

    fn check(text: &str, canonical: &str, decimal: &str, places: usize) {
        let found = reading(text);
        assert_eq!(found.as_str(), canonical);
        assert_eq!(found.decimal(), Decimal::from_str_exact(decimal).unwrap(), "{text}");
        assert_eq!(found.places(), places);
        assert!(found.approx().is_finite());
    }

    #[test]
    fn texts_become_canonical_and_keep_their_zeros() {
        check("25.050", "25.050", "25.05", 3);
        check("+007.10", "7.10", "7.1", 2);
        check("\u{2212}.5", "-0.5", "-0.5", 1);
        check(" -0.00 ", "0.00", "0", 2);
        check("12.", "12", "12", 0);
        check("0", "0", "0", 0);
    }

    #[test]
    fn numbers_beyond_a_decimal_still_compare() {
        check("999999999999999.9", "999999999999999.9", "999999999999999.9", 1);
        check("1000000000000001", "1000000000000001", "1000000000000000", 0);
        check(&"9".repeat(309), &"9".repeat(309), "1000000000000000", 0);
        let tiny = format!("-0.{}1", "0".repeat(40));
        check(&tiny, &tiny, "-0.0000000000000000000000000001", 41);
        // One unit in the 40th place above the limit is above the limit, and below it below.
        let limit = Decimal::from_str_exact("25.05").unwrap();
        assert!(reading(&format!("25.05{}1", "0".repeat(37))).decimal() > limit);
        assert!(reading(&format!("25.04{}", "9".repeat(60))).decimal() < limit);
        assert!(reading(&format!("-25.05{}1", "0".repeat(37))).decimal() < -limit);
        assert_eq!(reading(&format!("25.05{}", "0".repeat(60))).decimal(), limit);
        assert_eq!(FAR_OUT, Decimal::from_str_exact("1000000000000000").unwrap());
    }

    #[test]
    fn anything_else_is_refused_in_words() {
        for text in [
            "1e3", "1,5", "NaN", "inf", "1.2.3", "--1", "+-1", "0x10", "1 000", ".", "-",
        ] {
            assert!(
                matches!(text.parse::<Reading>(), Err(ReadingError::NotANumber { .. })),
                "{text}"
            );
        }
        assert_eq!("  ".parse::<Reading>(), Err(ReadingError::Empty));
        assert!(matches!(
            "9".repeat(310).parse::<Reading>(),
            Err(ReadingError::TooLong { .. })
        ));
        assert!(serde_json::from_str::<Reading>("\"1e3\"").is_err());
        assert_eq!(serde_json::to_string(&reading("25.050")).unwrap(), "\"25.050\"");
    }

    #[test]
    fn doubles_are_written_with_the_places_of_the_report() {
        assert_eq!(Reading::from_f64(70.0 + 0.12, 3).unwrap().as_str(), "70.120");
        assert_eq!(Reading::from_f64(-0.0004, 3).unwrap().as_str(), "0.000");
        assert_eq!(Reading::from_f64(0.0005, 3).unwrap().as_str(), "0.001");
        assert_eq!(Reading::from_f64(f64::NAN, 3), None);
    }

    proptest! {
        #[test]
        fn canonical_text_is_stable(text in "[+-]?[0-9]{0,40}\\.?[0-9]{0,40}") {
            if let Ok(first) = text.parse::<Reading>() {
                prop_assert_eq!(&reading(first.as_str()), &first);
                prop_assert!(first.decimal().abs() <= FAR_OUT);
                let back: f64 = first.decimal().to_string().parse().unwrap();
                let close = (back - first.approx().clamp(-1e15, 1e15)).abs() <= 1e-12 * back.abs() + 1e-28;
                prop_assert!(close);
            }
        }
    }
}
