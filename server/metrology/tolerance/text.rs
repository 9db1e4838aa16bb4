//! Tolerances as text: every form of the exercise file, and the one that is written back.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use thiserror::Error;

use super::{GeneralClass, IsoClass, Tolerance};
use crate::units::{MINUS, parse_plain_decimal};

/// What can be written, for the end of every message.
const FORMS: &str =
    "write one of \u{b1}0.05, +0.02 -0.01, +0.02/0, 32.00..32.05, max 0.1, H7 (ISO 286-1, on a size) or ISO 2768-m";

/// Largest magnitude of a number in a tolerance; far beyond any plate, and no sum of two can leave Decimal's range.
const LARGEST: Decimal = Decimal::from_parts(1_000_000_000, 0, 0, false, 0);

/// Most places of a number in a tolerance.
const MOST_PLACES: u32 = 12;

/// A text that is no tolerance.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("the tolerance is \"{found}\": {problem}; {FORMS}")]
pub struct ToleranceTextError {
    /// What was written.
    pub found: String,
    /// What is wrong with it.
    pub problem: TextProblem,
}

/// What is wrong with the text of a tolerance.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum TextProblem {
    /// Nothing there.
    #[error("there is nothing in it")]
    Empty,
    /// A decimal comma.
    #[error("it has a comma; the decimal mark is a point")]
    Comma,
    /// A part that should be a number.
    #[error("\"{0}\" is not a number that can stand here")]
    NotANumber(String),
    /// A number with too many digits.
    #[error("\"{0}\" has more digits than a tolerance can have (up to 1000000000, 12 decimal places)")]
    TooLong(String),
    /// A zero or negative amount where a width stands.
    #[error("the amount {0} leaves no room; it must be above zero")]
    NoWidth(Decimal),
    /// A negative largest value.
    #[error("the largest value {0} is below zero")]
    NegativeMax(Decimal),
    /// Both deviations, or both limits, are the same.
    #[error("both ends are {0}, which leaves no room")]
    SameEnds(Decimal),
    /// Limits the wrong way round.
    #[error("the lower limit {lower} is above the upper limit {upper}; the smaller one stands first")]
    Reversed {
        /// What stands first.
        lower: Decimal,
        /// What stands second.
        upper: Decimal,
    },
    /// A number alone, without a sign.
    #[error("\"{0}\" alone does not say to which side; \u{b1}{0} is to both")]
    NoSign(String),
    /// One deviation where two belong.
    #[error("\"{0}\" is one deviation of two; the other one is needed too, as in {0}/0")]
    OneDeviation(String),
    /// A deviation without its sign.
    #[error("the deviation \"{0}\" has no sign; only 0 can stand without one")]
    UnsignedDeviation(String),
    /// A code of ISO 286 that does not exist or is mixed in case.
    #[error("{0}")]
    Class(String),
    /// A general tolerance that is none of the four.
    #[error("the class \"{0}\" is none of ISO 2768-1, which are f, m, c and v")]
    General(String),
    /// Anything else.
    #[error("it has none of the known forms")]
    Unknown,
}

impl FromStr for Tolerance {
    type Err = ToleranceTextError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        parse(text.trim()).map_err(|problem| ToleranceTextError {
            found: text.to_owned(),
            problem,
        })
    }
}

impl TryFrom<String> for Tolerance {
    type Error = ToleranceTextError;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

impl From<Tolerance> for String {
    fn from(tolerance: Tolerance) -> Self {
        tolerance.to_string()
    }
}

impl fmt::Display for Tolerance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::PlusMinus(amount) => write!(f, "\u{b1}{amount}"),
            Self::Deviations { upper, lower } => write!(f, "{}/{}", Signed(*upper), Signed(*lower)),
            Self::Limits { lower, upper } => write!(f, "{lower}..{upper}"),
            Self::Max(most) => write!(f, "max {most}"),
            Self::IsoClass(class) => class.fmt(f),
            Self::General(class) => write!(f, "ISO 2768-{class}"),
        }
    }
}

impl Tolerance {
    /// The text for screens and sheets, with a real minus sign.
    #[must_use]
    pub fn shown(&self) -> String {
        match self {
            Self::IsoClass(_) | Self::General(_) => self.to_string(),
            plain => plain.to_string().replace('-', "\u{2212}"),
        }
    }
}

/// A deviation with its sign; zero has none.
struct Signed(Decimal);

impl fmt::Display for Signed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let plus = if self.0.is_zero() || self.0.is_sign_negative() {
            ""
        } else {
            "+"
        };
        write!(f, "{plus}{}", self.0)
    }
}

fn parse(text: &str) -> Result<Tolerance, TextProblem> {
    if text.is_empty() {
        return Err(TextProblem::Empty);
    }
    if text.contains(',') {
        return Err(TextProblem::Comma);
    }
    // Dashes that are pasted for a minus; U+2212 is read by the numbers themselves.
    let text = text.replace(['\u{2010}', '\u{2011}', '\u{2013}', MINUS], "-");
    if let Some(amount) = ["\u{b1}", "+/-", "+-"].iter().find_map(|sign| text.strip_prefix(sign)) {
        return plus_minus(amount.trim_start());
    }
    if let Some((lower, upper)) = text.split_once("..") {
        return limits(lower.trim(), upper.trim());
    }
    if let Some(most) = strip_word(&text, "max") {
        let most = number(most.trim_start())?;
        return if most.is_sign_negative() {
            Err(TextProblem::NegativeMax(most))
        } else {
            Ok(Tolerance::Max(most))
        };
    }
    if let Some(rest) = strip_word(&text, "iso") {
        return general(rest);
    }
    if text.starts_with(|c: char| c.is_ascii_alphabetic()) {
        let class: IsoClass = text.parse().map_err(|error| class_problem(&text, error))?;
        return Ok(Tolerance::IsoClass(class));
    }
    deviations(&text)
}

fn class_problem(text: &str, error: super::iso286::IsoError) -> TextProblem {
    // A word without a digit was hardly meant as a code.
    if text.bytes().any(|b| b.is_ascii_digit()) {
        TextProblem::Class(error.to_string())
    } else {
        TextProblem::Unknown
    }
}

/// What follows a word, in either case.
fn strip_word<'a>(text: &'a str, word: &str) -> Option<&'a str> {
    let head = text.get(..word.len())?;
    head.eq_ignore_ascii_case(word)
        .then(|| text.get(word.len()..))
        .flatten()
}

fn plus_minus(text: &str) -> Result<Tolerance, TextProblem> {
    if text.starts_with(['+', '-']) {
        return Err(TextProblem::NotANumber(text.to_owned()));
    }
    let amount = number(text)?;
    if amount.is_zero() {
        Err(TextProblem::NoWidth(amount))
    } else {
        Ok(Tolerance::PlusMinus(amount))
    }
}

fn limits(lower: &str, upper: &str) -> Result<Tolerance, TextProblem> {
    let (lower, upper) = (number(lower)?, number(upper)?);
    match lower.cmp(&upper) {
        std::cmp::Ordering::Less => Ok(Tolerance::Limits { lower, upper }),
        std::cmp::Ordering::Equal => Err(TextProblem::SameEnds(lower)),
        std::cmp::Ordering::Greater => Err(TextProblem::Reversed { lower, upper }),
    }
}

fn general(rest: &str) -> Result<Tolerance, TextProblem> {
    let rest = rest
        .trim_start()
        .strip_prefix("2768")
        .ok_or(TextProblem::Unknown)?
        .trim_start();
    let class = rest.strip_prefix('-').unwrap_or(rest).trim_start();
    // Part 1 may be named in full, as in ISO 2768-1 m.
    let class = class
        .strip_prefix('1')
        .map_or(class, |named| named.trim_start_matches([' ', '-']));
    class
        .parse::<GeneralClass>()
        .map(Tolerance::General)
        .map_err(|_| TextProblem::General(class.to_owned()))
}

fn deviations(text: &str) -> Result<Tolerance, TextProblem> {
    let Some((first, second)) = split_pair(text) else {
        number(text)?;
        return Err(if text.starts_with(['+', '-']) {
            TextProblem::OneDeviation(text.to_owned())
        } else {
            TextProblem::NoSign(text.to_owned())
        });
    };
    let (first, second) = (deviation(first)?, deviation(second)?);
    if first == second {
        return Err(TextProblem::SameEnds(first));
    }
    Ok(Tolerance::Deviations {
        upper: first.max(second),
        lower: first.min(second),
    })
}

/// Splits two deviations at a slash, at blanks, or before the second sign.
fn split_pair(text: &str) -> Option<(&str, &str)> {
    if let Some((first, second)) = text.split_once('/') {
        return Some((first.trim(), second.trim()));
    }
    if let Some((first, second)) = text.split_once(char::is_whitespace) {
        return Some((first, second.trim()));
    }
    let sign = text.char_indices().skip(1).find(|(_, c)| matches!(c, '+' | '-'))?.0;
    text.split_at_checked(sign)
}

fn deviation(text: &str) -> Result<Decimal, TextProblem> {
    let value = number(text)?;
    if value.is_zero() || text.starts_with(['+', '-']) {
        Ok(value)
    } else {
        Err(TextProblem::UnsignedDeviation(text.to_owned()))
    }
}

fn number(text: &str) -> Result<Decimal, TextProblem> {
    let digits = text.bytes().filter(u8::is_ascii_digit).count();
    match parse_plain_decimal(text) {
        Some(value) if value.abs() <= LARGEST && value.scale() <= MOST_PLACES => Ok(value),
        Some(_) => Err(TextProblem::TooLong(text.to_owned())),
        None if digits > 20 => Err(TextProblem::TooLong(text.to_owned())),
        None => Err(TextProblem::NotANumber(text.to_owned())),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn dec(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    fn check(text: &str, canonical: &str) {
        let tolerance: Tolerance = text.parse().unwrap();
        assert_eq!(tolerance.to_string(), canonical, "{text}");
        assert_eq!(canonical.parse::<Tolerance>().unwrap(), tolerance);
    }

    #[test]
    fn every_form_is_read() {
        for text in [
            "\u{b1}0.05",
            "+/-0.05",
            "+-0.05",
            " \u{b1} 0.05 ",
            "+/- 0.05",
            "+/\u{2212}0.05",
            "\u{b1}.05",
        ] {
            check(text, "\u{b1}0.05");
        }
        for text in [
            "+0.02 -0.01",
            "+0.02/-0.01",
            "-0.01/+0.02",
            "+0.02 / \u{2212}0.01",
            "+0.02-0.01",
            "-0.01  +0.02",
        ] {
            check(text, "+0.02/-0.01");
        }
        check("+0.02/0", "+0.02/0");
        check("0/+0.02", "+0.02/0");
        check("+0.02 0", "+0.02/0");
        check("-0.01/-0.03", "-0.01/-0.03");
        check("-0.03/-0.01", "-0.01/-0.03");
        check("+0.020/0", "+0.020/0");
        check("32.00..32.05", "32.00..32.05");
        check("32.00 .. 32.05", "32.00..32.05");
        check("-0.1..0.1", "-0.1..0.1");
        check("\u{2212}0.3..-0.1", "-0.3..-0.1");
        check("max 0.1", "max 0.1");
        check("Max 0.1", "max 0.1");
        check("max 0", "max 0");
        for class in ["H7", "g6", "JS9", "js6", "N4", "H01", "zc11"] {
            check(class, class);
        }
        for text in [
            "ISO 2768-m",
            "ISO 2768 m",
            "iso2768-m",
            "ISO 2768-1 m",
            "ISO 2768-1-m",
            "ISO 2768\u{2013}m",
        ] {
            check(text, "ISO 2768-m");
        }
    }

    #[test]
    fn every_mistake_has_its_message() {
        for (text, problem) in [
            ("", TextProblem::Empty),
            ("\u{b1}0,05", TextProblem::Comma),
            ("\u{b1}x", TextProblem::NotANumber("x".to_owned())),
            ("\u{b1}-0.05", TextProblem::NotANumber("-0.05".to_owned())),
            ("\u{b1}0", TextProblem::NoWidth(dec("0"))),
            ("\u{b1}1e-3", TextProblem::NotANumber("1e-3".to_owned())),
            (
                "\u{b1}0.0000000000001",
                TextProblem::TooLong("0.0000000000001".to_owned()),
            ),
            ("max -0.1", TextProblem::NegativeMax(dec("-0.1"))),
            ("+0.02/+0.020", TextProblem::SameEnds(dec("0.02"))),
            (
                "32.05..32.00",
                TextProblem::Reversed {
                    lower: dec("32.05"),
                    upper: dec("32.00"),
                },
            ),
            ("32..32.0", TextProblem::SameEnds(dec("32"))),
            ("0.05", TextProblem::NoSign("0.05".to_owned())),
            ("+0.05", TextProblem::OneDeviation("+0.05".to_owned())),
            ("0.02/0", TextProblem::UnsignedDeviation("0.02".to_owned())),
            ("ISO 2768-mK", TextProblem::General("mK".to_owned())),
            ("ISO 2768-k", TextProblem::General("k".to_owned())),
            ("ISO 286", TextProblem::Unknown),
            ("about right", TextProblem::Unknown),
        ] {
            assert_eq!(text.parse::<Tolerance>().unwrap_err().problem, problem, "{text}");
        }
        insta::assert_snapshot!("0,05".parse::<Tolerance>().unwrap_err(), @"the tolerance is \"0,05\": it has a comma; the decimal mark is a point; write one of \u{b1}0.05, +0.02 -0.01, +0.02/0, 32.00..32.05, max 0.1, H7 (ISO 286-1, on a size) or ISO 2768-m");
    }

    #[test]
    fn screens_show_a_real_minus_and_serde_the_text() {
        assert_eq!(
            "+0.02/-0.01".parse::<Tolerance>().unwrap().shown(),
            "+0.02/\u{2212}0.01"
        );
        assert_eq!("ISO 2768-m".parse::<Tolerance>().unwrap().shown(), "ISO 2768-m");
        let json = serde_json::to_string(&"H7".parse::<Tolerance>().unwrap()).unwrap();
        assert_eq!(json, "\"H7\"");
        assert_eq!(serde_json::from_str::<Tolerance>(&json).unwrap().to_string(), "H7");
        assert!(serde_json::from_str::<Tolerance>("\"0.1\"").is_err());
    }

    fn small() -> impl Strategy<Value = Decimal> {
        (-1_000_000_i64..1_000_000, 0_u32..7).prop_map(|(units, places)| Decimal::new(units, places))
    }

    proptest! {
        #[test]
        fn what_is_written_reads_back(a in small(), b in small()) {
            prop_assume!(a != b && !a.is_zero());
            let (upper, lower) = (a.max(b), a.min(b));
            for tolerance in [
                Tolerance::PlusMinus(a.abs()),
                Tolerance::Deviations { upper, lower },
                Tolerance::Limits { lower, upper },
                Tolerance::Max(a.abs()),
            ] {
                prop_assert_eq!(tolerance.to_string().parse::<Tolerance>(), Ok(tolerance));
                prop_assert_eq!(tolerance.shown().parse::<Tolerance>(), Ok(tolerance));
            }
        }

        #[test]
        fn no_text_stops_the_reader(text in ".{0,30}") {
            let _ = text.parse::<Tolerance>().map(|t| t.to_string().parse::<Tolerance>().unwrap());
        }
    }
}
