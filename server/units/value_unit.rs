//! The units in which a measured value can be written.

use std::fmt;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// Unit of a written value: five of length, two of angle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum ValueUnit {
    /// Millimetre.
    #[serde(rename = "mm")]
    Millimetre,
    /// Centimetre.
    #[serde(rename = "cm")]
    Centimetre,
    /// Metre.
    #[serde(rename = "m")]
    Metre,
    /// Micrometre.
    #[serde(rename = "um")]
    Micrometre,
    /// Inch, 25.4 mm exactly.
    #[serde(rename = "inch")]
    Inch,
    /// Decimal degree.
    #[serde(rename = "deg")]
    Degree,
    /// Radian.
    #[serde(rename = "rad")]
    Radian,
}

/// Why a value could not be given in another unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ConversionError {
    /// A length was asked for as an angle, or the other way round.
    #[error("{from} and {to} do not measure the same thing: one is a length, the other an angle")]
    OtherQuantity {
        /// Unit of the value.
        from: ValueUnit,
        /// Unit that was asked for.
        to: ValueUnit,
    },
    /// The result needs more than the 28 digits that a decimal holds.
    #[error("{value} {from} has too many digits to be given in {to}")]
    TooLarge {
        /// The value, in `from`.
        value: Decimal,
        /// Unit of the value.
        from: ValueUnit,
        /// Unit that was asked for.
        to: ValueUnit,
    },
}

/// Words for each unit, compared without regard to letter case. Only what cannot mean anything else: `grad` is
/// left out, since the gon and the German degree both bear that name.
/// Common practice, no published source.
const WORDS: [(ValueUnit, &[&str]); 7] = [
    (ValueUnit::Millimetre, &["mm", "millimetre", "millimeter"]),
    (ValueUnit::Centimetre, &["cm"]),
    (ValueUnit::Metre, &["m"]),
    // Both the micro sign and the Greek letter, which look the same.
    (ValueUnit::Micrometre, &["um", "\u{b5}m", "\u{3bc}m", "micron"]),
    (
        ValueUnit::Inch,
        &[
            "in", "inch", "inches", "\"", "\u{2033}", "''", "zoll", "pouce", "pulgada",
        ],
    ),
    // The accented e may be one character or two.
    (
        ValueUnit::Degree,
        &[
            "°",
            "deg",
            "degree",
            "degrees",
            "degré",
            "degre\u{301}",
            "degre",
            "grado",
        ],
    ),
    (ValueUnit::Radian, &["rad"]),
];

/// The longest word above is `millimetre`; anything much longer need not be looked at.
const LONGEST_WORD: usize = 32;

impl ValueUnit {
    /// All units, lengths first.
    pub const ALL: [Self; 7] = [
        Self::Millimetre,
        Self::Centimetre,
        Self::Metre,
        Self::Micrometre,
        Self::Inch,
        Self::Degree,
        Self::Radian,
    ];

    /// The unit that a word names, without regard to letter case and blanks at its ends; `None` for any other word.
    pub fn parse_word(word: &str) -> Option<Self> {
        let word = word.trim();
        if word.is_empty() || word.len() > LONGEST_WORD {
            return None;
        }
        let word = word.to_lowercase();
        WORDS
            .iter()
            .find(|(_, words)| words.contains(&word.as_str()))
            .map(|(unit, _)| *unit)
    }

    /// The short name that is printed: `mm`, `cm`, `m`, `um`, `inch`, `deg`, `rad`.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Millimetre => "mm",
            Self::Centimetre => "cm",
            Self::Metre => "m",
            Self::Micrometre => "um",
            Self::Inch => "inch",
            Self::Degree => "deg",
            Self::Radian => "rad",
        }
    }

    /// Whether this unit measures a length.
    pub const fn is_length(self) -> bool {
        !self.is_angle()
    }

    /// Whether this unit measures an angle.
    pub const fn is_angle(self) -> bool {
        matches!(self, Self::Degree | Self::Radian)
    }

    /// Gives `value`, which is in this unit, in the unit `to`.
    ///
    /// Among mm, cm, m and um, and from inch to any of these, the result is exact. Into inches it is a quotient,
    /// and between degrees and radians it has a factor of pi: both are rounded at the 28th digit. Places that the
    /// factor makes superfluous are taken off (25.40 mm are 1 inch).
    pub fn convert(self, value: Decimal, to: Self) -> Result<Decimal, ConversionError> {
        if self == to {
            return Ok(value);
        }
        if self.is_angle() != to.is_angle() {
            return Err(ConversionError::OtherQuantity { from: self, to });
        }
        // All factors are whole: tenths of a micrometre, and for angles the numerators of 180 and pi.
        value
            .checked_mul(self.factor())
            .and_then(|product| product.checked_div(to.factor()))
            .map(|result| result.normalize())
            .ok_or(ConversionError::TooLarge { value, from: self, to })
    }

    /// Size of the unit: of a length in units of 0.1 um (1 in = 25.4 mm exactly, ISO 31-1 and the agreement of
    /// 1959), of an angle in units of degree / pi.
    fn factor(self) -> Decimal {
        /// pi x 10^28, cut after the 28th place.
        const PI: i128 = 31_415_926_535_897_932_384_626_433_833;
        match self {
            Self::Micrometre => Decimal::from(10),
            Self::Millimetre => Decimal::from(10_000),
            Self::Centimetre => Decimal::from(100_000),
            Self::Metre => Decimal::from(10_000_000),
            Self::Inch => Decimal::from(254_000),
            Self::Degree => Decimal::from_i128_with_scale(PI, 28),
            Self::Radian => Decimal::from(180),
        }
    }
}

impl fmt::Display for ValueUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words() {
        let check = |word: &str, expected: Option<&str>| {
            assert_eq!(ValueUnit::parse_word(word).map(ValueUnit::as_str), expected, "{word:?}");
        };
        check("mm", Some("mm"));
        check(" MM ", Some("mm"));
        check("Millimeter", Some("mm"));
        check("millimetre", Some("mm"));
        check("cm", Some("cm"));
        check("m", Some("m"));
        check("um", Some("um"));
        check("\u{b5}m", Some("um"));
        check("\u{3bc}m", Some("um"));
        check("micron", Some("um"));
        check("in", Some("inch"));
        check("Inches", Some("inch"));
        check("\"", Some("inch"));
        check("\u{2033}", Some("inch"));
        check("''", Some("inch"));
        check("Zoll", Some("inch"));
        check("pouce", Some("inch"));
        check("pulgada", Some("inch"));
        check("°", Some("deg"));
        check("degre\u{301}", Some("deg"));
        check("Degré", Some("deg"));
        check("grado", Some("deg"));
        check("rad", Some("rad"));
        check("grad", None);
        check("kg", None);
        check("'", None);
        check("°C", None);
        check("", None);
    }

    #[test]
    fn lengths_convert_exactly() {
        let check = |value: &str, from: ValueUnit, to: ValueUnit, expected: &str| {
            let value: Decimal = value.parse().unwrap();
            assert_eq!(
                from.convert(value, to).unwrap().to_string(),
                expected,
                "{value} {from} in {to}"
            );
        };
        // Source of the factors: definition of the SI prefixes; 1 in = 25.4 mm. Tolerance: none, exact.
        check("12.050", ValueUnit::Millimetre, ValueUnit::Millimetre, "12.050");
        check("3.0012", ValueUnit::Centimetre, ValueUnit::Millimetre, "30.012");
        check("0.0125", ValueUnit::Metre, ValueUnit::Millimetre, "12.5");
        check("18", ValueUnit::Micrometre, ValueUnit::Millimetre, "0.018");
        check("1.9705", ValueUnit::Inch, ValueUnit::Millimetre, "50.0507");
        check("0.0001", ValueUnit::Inch, ValueUnit::Micrometre, "2.54");
        check("-25.40", ValueUnit::Millimetre, ValueUnit::Inch, "-1");
        check("0", ValueUnit::Metre, ValueUnit::Inch, "0");
    }

    #[test]
    fn angles_convert_with_pi() {
        let right_angle = ValueUnit::Degree.convert(Decimal::from(90), ValueUnit::Radian).unwrap();
        // Source: pi / 2 = 1.57079632679489661923132169164 (value of pi: any table of constants).
        // Tolerance: the last of the 28 digits.
        assert!(
            right_angle.to_string().starts_with("1.57079632679489661923132169"),
            "{right_angle}"
        );
    }

    #[test]
    fn what_cannot_be_converted() {
        let mixed = ValueUnit::Millimetre.convert(Decimal::ONE, ValueUnit::Degree);
        assert!(matches!(mixed, Err(ConversionError::OtherQuantity { .. })));
        let large = ValueUnit::Metre.convert(Decimal::MAX, ValueUnit::Micrometre);
        assert!(matches!(large, Err(ConversionError::TooLarge { .. })));
    }

    #[test]
    fn printed_names_are_words_and_serde_agrees() {
        for unit in ValueUnit::ALL {
            assert_eq!(ValueUnit::parse_word(unit.as_str()), Some(unit));
            assert_eq!(serde_json::to_value(unit).unwrap(), unit.to_string());
        }
    }
}
