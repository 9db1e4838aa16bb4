//! General tolerances of ISO 2768-1:1989, tables 1 to 3: lengths, external radii and chamfer heights, angles.
//!
//! Source: ISO 2768-1:1989, tables 1, 2 and 3. Where public transcriptions differ, the majority value is used: class c
//! up to 3 mm is 0.2 (one copy has 0.15), class v above 1000 mm is 6 and 8 (one has 8 and 12), class c of angles from
//! 120 to 400 mm is 15 minutes (one has 20).

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// A class of ISO 2768-1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum GeneralClass {
    /// Fine.
    F,
    /// Medium.
    M,
    /// Coarse.
    C,
    /// Very coarse.
    V,
}

/// What the class is not.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the classes of ISO 2768-1 are f, m, c and v")]
pub struct ParseGeneralError;

impl fmt::Display for GeneralClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::F => "f",
            Self::M => "m",
            Self::C => "c",
            Self::V => "v",
        })
    }
}

impl FromStr for GeneralClass {
    type Err = ParseGeneralError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            "f" => Ok(Self::F),
            "m" => Ok(Self::M),
            "c" => Ok(Self::C),
            "v" => Ok(Self::V),
            _ => Err(ParseGeneralError),
        }
    }
}

/// A row of a table: the upper end of its range in mm, and the amounts of f, m, c and v; 0 where there is none.
type Row = (i64, [i64; 4]);

/// Table 1, lengths: from 0.5 mm, ends of ranges in mm, amounts in hundredths of a mm.
const LINEAR: [Row; 8] = [
    (3, [5, 10, 20, 0]),
    (6, [5, 10, 30, 50]),
    (30, [10, 20, 50, 100]),
    (120, [15, 30, 80, 150]),
    (400, [20, 50, 120, 250]),
    (1000, [30, 80, 200, 400]),
    (2000, [50, 120, 300, 600]),
    (4000, [0, 200, 400, 800]),
];

/// Table 2, external radii and chamfer heights: from 0.5 mm, the last range open, amounts in hundredths of a mm.
const RADII: [Row; 3] = [
    (3, [20, 20, 40, 40]),
    (6, [50, 50, 100, 100]),
    (i64::MAX, [100, 100, 200, 200]),
];

/// Table 3, angles by the length of the shorter side: the last range open, amounts in minutes of arc.
const ANGULAR: [Row; 5] = [
    (10, [60, 60, 90, 180]),
    (50, [30, 30, 60, 120]),
    (120, [20, 20, 30, 60]),
    (400, [10, 10, 15, 30]),
    (i64::MAX, [5, 5, 10, 20]),
];

/// Half a millimetre, from which tables 1 and 2 begin; below, the deviation stands beside the nominal.
const FROM: Decimal = Decimal::from_parts(5, 0, 0, false, 1);

/// Table 1: the amount to either side, in mm, for a length in mm. `None` where the table gives nothing: below 0.5 mm,
/// above 4000 mm, v up to 3 mm, f above 2000 mm.
#[must_use]
pub fn iso2768_linear(nominal_mm: Decimal, class: GeneralClass) -> Option<Decimal> {
    let amount = (nominal_mm >= FROM).then(|| look_up(&LINEAR, nominal_mm, class))??;
    Some(Decimal::new(amount, 2))
}

/// Table 2: the amount to either side, in mm, for an external radius or a chamfer height in mm; `None` below 0.5 mm.
#[must_use]
pub fn iso2768_radius(nominal_mm: Decimal, class: GeneralClass) -> Option<Decimal> {
    let amount = (nominal_mm >= FROM).then(|| look_up(&RADII, nominal_mm, class))??;
    Some(Decimal::new(amount, 2))
}

/// Table 3: the amount to either side, in minutes of arc, by the length of the shorter side of the angle in mm; `None`
/// where that is not above zero.
#[must_use]
pub fn iso2768_angular_minutes(shorter_side_mm: Decimal, class: GeneralClass) -> Option<i64> {
    (shorter_side_mm > Decimal::ZERO).then(|| look_up(&ANGULAR, shorter_side_mm, class))?
}

/// Ranges are "above the last end, up to and including this one".
fn look_up(table: &[Row], length: Decimal, class: GeneralClass) -> Option<i64> {
    let column = match class {
        GeneralClass::F => 0,
        GeneralClass::M => 1,
        GeneralClass::C => 2,
        GeneralClass::V => 3,
    };
    let (_, amounts) = table.iter().find(|(end, _)| length <= Decimal::from(*end))?;
    amounts.get(column).copied().filter(|amount| *amount > 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const CLASSES: [GeneralClass; 4] = [GeneralClass::F, GeneralClass::M, GeneralClass::C, GeneralClass::V];

    #[test]
    fn amounts_grow_with_the_class() {
        for table in [&LINEAR[..], &RADII, &ANGULAR] {
            for (end, amounts) in table {
                let stated: Vec<_> = amounts.iter().filter(|a| **a > 0).collect();
                assert!(stated.is_sorted(), "{end}: {amounts:?}");
            }
        }
    }

    #[test]
    fn amounts_of_lengths_grow_with_the_size_and_those_of_angles_fall() {
        let column = |table: &[Row], c: usize| table.iter().map(|(_, a)| a[c]).filter(|a| *a > 0).collect::<Vec<_>>();
        for c in 0..4 {
            assert!(column(&LINEAR, c).is_sorted());
            assert!(column(&RADII, c).is_sorted());
            assert!(column(&ANGULAR, c).iter().rev().is_sorted());
        }
    }

    #[test]
    fn ends_belong_to_the_range_below_them() {
        let dec = |text: &str| text.parse::<Decimal>().unwrap();
        // Source: ISO 2768-1:1989 table 1, "0.5 up to 3", "over 3 up to 6"; tolerance none.
        for (nominal, class, expected) in [
            ("0.5", GeneralClass::M, Some("0.1")),
            ("0.499", GeneralClass::M, None),
            ("3", GeneralClass::C, Some("0.2")),
            ("3.001", GeneralClass::C, Some("0.3")),
            ("3", GeneralClass::V, None),
            ("4000", GeneralClass::M, Some("2")),
            ("4000.001", GeneralClass::M, None),
            ("2000.1", GeneralClass::F, None),
        ] {
            assert_eq!(
                iso2768_linear(dec(nominal), class),
                expected.map(dec),
                "{nominal}{class}"
            );
        }
        assert_eq!(iso2768_radius(dec("3000"), GeneralClass::F), Some(dec("1")));
        assert_eq!(iso2768_radius(dec("0.4"), GeneralClass::F), None);
        assert_eq!(iso2768_angular_minutes(dec("0"), GeneralClass::F), None);
        assert_eq!(iso2768_angular_minutes(dec("120.1"), GeneralClass::C), Some(15));
        for class in CLASSES {
            assert_eq!(class.to_string().parse(), Ok(class));
        }
    }
}
