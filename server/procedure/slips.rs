//! Slips: what happens to the digits of a single value when it is written.
//!
//! They act on the value as it stands on the sheet, rounded to the report's places, after everything else.

use rust_decimal::Decimal;

use super::edit::FaultError;
use super::fault::Fault;
use super::model::Model;
use super::writing::item;
use crate::units::Reading;

/// One slip, by place on the sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Slip {
    Digits { line: usize, place: Option<i32> },
    Point { line: usize, power: i32 },
    Sign { line: usize },
    Unknown { line: usize },
}

/// Powers of ten beyond which nobody slips: the digits of a report.
const FARTHEST_POWER: i32 = 9;

/// - **digits-transposed**: two neighbouring digits exchanged in one value; both stand on one side of the point.
/// - **decimal-slipped**: value times 10^power, digits kept.
/// - **sign-dropped**: one value lost or gained a minus.
/// - **gross-error** without an amount: nothing can be said of the value.
pub(super) fn read(model: &Model, faults: &[Fault]) -> Result<Vec<Slip>, FaultError> {
    let mut slips = Vec::new();
    for fault in faults {
        slips.push(match fault {
            Fault::DigitsTransposed { item: no, place } => Slip::Digits {
                line: item(model, no)?,
                place: *place,
            },
            Fault::DecimalSlipped { item: no, power } => {
                if power.abs() > FARTHEST_POWER {
                    let value = f64::from(*power);
                    return Err(FaultError::Parameter {
                        parameter: "power",
                        value,
                        wanted: "between -9 and 9",
                    });
                }
                Slip::Point {
                    line: item(model, no)?,
                    power: *power,
                }
            }
            Fault::SignDropped { item: no } => Slip::Sign { line: item(model, no)? },
            Fault::GrossError { item: no, amount: None } => Slip::Unknown { line: item(model, no)? },
            _ => continue,
        });
    }
    Ok(slips)
}

impl Slip {
    pub(super) const fn is_unknown(&self, of: usize) -> bool {
        matches!(self, Self::Unknown { line } if *line == of)
    }

    pub(super) const fn line(&self) -> usize {
        match self {
            Self::Digits { line, .. } | Self::Point { line, .. } | Self::Sign { line } | Self::Unknown { line } => {
                *line
            }
        }
    }

    /// The value that is to be expected where the slip strikes.
    pub(super) fn predict(&self, values: &mut [f64], decimals: u32) {
        let Some(value) = values.get_mut(self.line()) else {
            return;
        };
        match self {
            Self::Digits { place, .. } => {
                if let Some(written) = Reading::from_f64(*value, decimals) {
                    *value = exchange_digits(&written, *place).approx();
                }
            }
            Self::Point { power, .. } => *value *= 10.0_f64.powi(*power),
            Self::Sign { .. } => *value = -*value,
            Self::Unknown { .. } => {}
        }
    }

    /// The value as it is written.
    pub(super) fn strike(&self, written: Reading) -> Reading {
        match self {
            Self::Digits { place, .. } => exchange_digits(&written, *place),
            Self::Point { power, .. } => move_point(&written, *power),
            Self::Sign { .. } => Reading::from_decimal(-written.decimal()),
            Self::Unknown { .. } => written,
        }
    }
}

/// Powers of ten of the right-hand digits of all neighbours on one side of the point, with the exchanged text, from left
/// to right; neighbours that are equal are left out.
#[must_use]
pub fn transpositions(written: &Reading) -> Vec<(i32, Reading)> {
    let text: Vec<char> = written.as_str().chars().collect();
    let mut power = i32::try_from(
        text.iter()
            .take_while(|c| **c != '.')
            .filter(|c| c.is_ascii_digit())
            .count(),
    )
    .unwrap_or(0);
    let mut found = Vec::new();
    for (i, c) in text.iter().enumerate() {
        if !c.is_ascii_digit() {
            continue;
        }
        power -= 1;
        let before = i.checked_sub(1).and_then(|j| text.get(j));
        if before.is_some_and(|b| b.is_ascii_digit() && b != c) {
            let mut exchanged = text.clone();
            exchanged.swap(i - 1, i);
            if let Ok(reading) = exchanged.into_iter().collect::<String>().parse() {
                found.push((power, reading));
            }
        }
    }
    found
}

/// What may have stood on the sheet before two neighbouring digits of `written` were exchanged, with the power of ten of
/// the right-hand one. Zeros that were left off behind the point, down to the report's places, and one that is not
/// written in front count as digits.
#[must_use]
pub fn before_exchange(written: &Reading, decimals: u32) -> Vec<(i32, f64)> {
    let text = written.as_str();
    let (sign, digits) = text.strip_prefix('-').map_or(("", text), |rest| ("-", rest));
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let places = usize::try_from(decimals).unwrap_or(0);
    if whole.len() + fraction.len().max(places) > MOST_DIGITS {
        return Vec::new();
    }
    let front = if whole == "0" { "" } else { "0" };
    let padded: Vec<char> = format!("{front}{whole}.{fraction:0<places$}").chars().collect();
    let point = padded.iter().position(|c| *c == '.').unwrap_or(padded.len());
    let mut found = Vec::new();
    for i in 1..padded.len() {
        let (a, b) = (padded[i - 1], padded[i]);
        if a == b || a == '.' || b == '.' {
            continue;
        }
        let mut exchanged = padded.clone();
        exchanged.swap(i - 1, i);
        let before: String = sign.chars().chain(exchanged).collect();
        let power = if i < point { point - 1 - i } else { i - point };
        let power = i32::try_from(power).unwrap_or(0);
        if let Ok(value) = before.parse::<f64>() {
            found.push((if i < point { power } else { -power }, value));
        }
    }
    found
}

/// Digits of a value beyond which nobody exchanges two.
const MOST_DIGITS: usize = 30;

fn exchange_digits(written: &Reading, place: Option<i32>) -> Reading {
    let mut found = transpositions(written).into_iter();
    let exchanged = match place {
        Some(place) => found.find(|(power, _)| *power == place),
        None => found.next(),
    };
    exchanged.map_or_else(|| written.clone(), |(_, reading)| reading)
}

/// The point moved, all digits kept: 32.034 becomes 3.2034 or 320.34.
#[must_use]
pub fn move_point(written: &Reading, power: i32) -> Reading {
    let value = written.decimal();
    let scale = i64::from(value.scale()) - i64::from(power);
    let moved = match u32::try_from(scale) {
        Ok(scale) => Decimal::try_from_i128_with_scale(value.mantissa(), scale).ok(),
        Err(_) => u32::try_from(-scale).ok().and_then(|zeros| {
            let factor = 10_i128.checked_pow(zeros)?;
            Decimal::try_from_i128_with_scale(value.mantissa().checked_mul(factor)?, 0).ok()
        }),
    };
    moved.map_or_else(|| written.clone(), Reading::from_decimal)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(text: &str) -> Reading {
        text.parse().unwrap()
    }

    /// Written value, power of ten of the right-hand digit, what it becomes.
    fn check_digits(text: &str, place: Option<i32>, expected: &str) {
        assert_eq!(
            exchange_digits(&reading(text), place).as_str(),
            expected,
            "{text} {place:?}"
        );
    }

    #[test]
    fn neighbouring_digits_are_exchanged_on_one_side_of_the_point() {
        check_digits("32.034", Some(0), "23.034");
        check_digits("32.034", Some(-2), "32.304");
        check_digits("32.034", Some(-3), "32.043");
        check_digits("-120.50", Some(0), "-102.50");
        // From one side of the point to the other: not possible, so nothing happens.
        check_digits("32.034", Some(-1), "32.034");
        check_digits("33.044", None, "33.404");
        check_digits("11.111", None, "11.111");
        // A zero that comes to the front is not written.
        check_digits("50.20", Some(0), "5.20");
        let all: Vec<_> = transpositions(&reading("-32.034"))
            .into_iter()
            .map(|(p, r)| (p, r.to_string()))
            .collect();
        let expected = [(0, "-23.034"), (-2, "-32.304"), (-3, "-32.043")].map(|(p, t)| (p, t.to_owned()));
        assert_eq!(all, expected);
    }

    #[test]
    fn exchanged_digits_can_be_exchanged_back() {
        // Written value, places of the report, what may have stood there before; worked by hand.
        let check = |text: &str, decimals, expected: &[(i32, f64)]| {
            assert_eq!(before_exchange(&reading(text), decimals), expected, "{text}");
        };
        check("23.034", 3, &[(1, 203.034), (0, 32.034), (-2, 23.304), (-3, 23.043)]);
        check("5.2", 2, &[(0, 50.2), (-2, 5.02)]);
        check("-0.05", 3, &[(-2, -0.5), (-3, -0.005)]);
    }

    #[test]
    fn a_slipped_point_keeps_all_digits() {
        for (text, power, expected) in [
            ("32.034", 1, "320.34"),
            ("32.034", -1, "3.2034"),
            ("32.034", 3, "32034"),
            ("32.034", 5, "3203400"),
            ("-0.050", -2, "-0.00050"),
        ] {
            assert_eq!(move_point(&reading(text), power).as_str(), expected, "{text} {power}");
        }
    }

    #[test]
    fn a_dropped_sign_keeps_the_places() {
        let slip = Slip::Sign { line: 0 };
        for (text, expected) in [("-8.010", "8.010"), ("8.010", "-8.010"), ("0.000", "0.000")] {
            assert_eq!(slip.strike(reading(text)).as_str(), expected);
        }
    }
}
