//! The two units of length, and the exact way from one to the other.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Millimetres in one inch, exactly.
const MM_PER_INCH: Decimal = Decimal::from_parts(254, 0, 0, false, 1);

/// The unit of all lengths of an exercise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LengthUnit {
    /// Millimetre.
    Mm,
    /// Inch of 25.4 mm exactly.
    Inch,
}

/// A word that names no unit of length.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("the unit is \"{found}\"; write mm or inch")]
pub struct ParseUnitError {
    /// What was written.
    pub found: String,
}

impl LengthUnit {
    /// Millimetres in one of this unit, exactly.
    #[must_use]
    pub const fn mm_per_unit(self) -> Decimal {
        match self {
            Self::Mm => Decimal::ONE,
            Self::Inch => MM_PER_INCH,
        }
    }

    /// Millimetres in one of this unit, for geometry.
    #[must_use]
    pub const fn mm_per_unit_f64(self) -> f64 {
        match self {
            Self::Mm => 1.0,
            Self::Inch => 25.4,
        }
    }

    /// A length in this unit as mm: exact as long as the result has 28 digits, saturating beyond Decimal's range.
    #[must_use]
    pub fn to_mm(self, value: Decimal) -> Decimal {
        match self {
            Self::Mm => value,
            Self::Inch => value.saturating_mul(MM_PER_INCH),
        }
    }

    /// A length in mm in this unit: a division by 25.4, correct to 28 digits.
    #[must_use]
    pub fn from_mm(self, mm: Decimal) -> Decimal {
        match self {
            Self::Mm => mm,
            // 25.4 is neither zero nor below one, so the division cannot fail.
            Self::Inch => mm.checked_div(MM_PER_INCH).unwrap_or(mm),
        }
    }

    /// A length in this unit as mm, for geometry.
    #[must_use]
    pub fn to_mm_f64(self, value: f64) -> f64 {
        value * self.mm_per_unit_f64()
    }

    /// A length in mm in this unit, for geometry; a division, because 1/25.4 is not a double.
    #[must_use]
    pub fn from_mm_f64(self, mm: f64) -> f64 {
        mm / self.mm_per_unit_f64()
    }

    /// The word in files: `mm` or `inch`.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Mm => "mm",
            Self::Inch => "inch",
        }
    }

    /// The symbol behind a number on a screen or sheet: `mm` or `in` (symbols of ISO 80000-3 and common practice).
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Mm => "mm",
            Self::Inch => "in",
        }
    }
}

impl fmt::Display for LengthUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl FromStr for LengthUnit {
    type Err = ParseUnitError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text.trim().to_ascii_lowercase().as_str() {
            "mm" => Ok(Self::Mm),
            "inch" | "in" => Ok(Self::Inch),
            _ => Err(ParseUnitError { found: text.to_owned() }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dec(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn inches_become_millimetres_exactly() {
        // Source: 1 inch = 25.4 mm exactly; tolerance none.
        for (inch, mm) in [
            ("1", "25.4"),
            ("0.1", "2.54"),
            ("0.015625", "0.396875"),
            ("2.125", "53.975"),
        ] {
            assert_eq!(LengthUnit::Inch.to_mm(dec(inch)), dec(mm), "{inch}");
            assert_eq!(LengthUnit::Inch.from_mm(dec(mm)), dec(inch), "{mm}");
        }
        assert_eq!(LengthUnit::Mm.to_mm(dec("7.0")), dec("7"));
        assert!((LengthUnit::Inch.from_mm_f64(1.0) - 0.039_370_078_740_157_48).abs() < 1e-17);
    }

    #[test]
    fn names_are_read_and_written() {
        for (text, unit) in [
            ("mm", LengthUnit::Mm),
            ("inch", LengthUnit::Inch),
            (" Inch ", LengthUnit::Inch),
        ] {
            assert_eq!(text.parse::<LengthUnit>().unwrap(), unit);
            assert_eq!(unit.to_string().parse::<LengthUnit>().unwrap(), unit);
        }
        assert_eq!(
            "cm".parse::<LengthUnit>().unwrap_err().to_string(),
            "the unit is \"cm\"; write mm or inch"
        );
        assert_eq!(serde_json::to_string(&LengthUnit::Inch).unwrap(), "\"inch\"");
    }
}
