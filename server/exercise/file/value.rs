//! Values with their places, read from TOML into types that cannot be wrong.

use rust_decimal::Decimal;
use toml::de::{DeArray, DeTable, DeValue};

use super::nearest::{list, nearest};
use super::number::{exact, in_words};
use super::problem::Sink;
use crate::exercise::names::NameError;

/// A value and where it stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Found<T> {
    pub(super) value: T,
    /// Byte offset.
    pub(super) at: usize,
}

/// Why a value is not what its key needs; `at` where that is a place within it.
#[derive(Debug)]
pub(super) struct Mismatch {
    pub(super) at: Option<usize>,
    pub(super) what: String,
}

impl Mismatch {
    fn new(what: impl Into<String>) -> Self {
        Self {
            at: None,
            what: what.into(),
        }
    }

    pub(super) fn of(value: &DeValue<'_>, wanted: &str) -> Self {
        Self::new(format!("is {} where {wanted} belongs", in_words(value)))
    }
}

/// What can be read from a TOML value, or all that is wrong with it.
pub(super) trait FromToml<'a>: Sized {
    fn from_toml(value: &'a DeValue<'a>) -> Result<Self, Vec<Mismatch>>;
}

impl<'a> FromToml<'a> for &'a str {
    fn from_toml(value: &'a DeValue<'a>) -> Result<Self, Vec<Mismatch>> {
        value
            .as_str()
            .ok_or_else(|| vec![Mismatch::of(value, "text in quotes")])
    }
}

impl FromToml<'_> for Decimal {
    fn from_toml(value: &DeValue<'_>) -> Result<Self, Vec<Mismatch>> {
        exact(value).map_err(|what| vec![Mismatch::new(what)])
    }
}

/// A number of which only the double counts: the component of a direction.
impl FromToml<'_> for f64 {
    fn from_toml(value: &DeValue<'_>) -> Result<Self, Vec<Mismatch>> {
        let text = match value {
            DeValue::Integer(i) if i.radix() == 10 => i.as_str(),
            DeValue::Float(f) => f.as_str(),
            _ => return Err(vec![Mismatch::of(value, "a number")]),
        };
        let number = text.parse().ok().filter(|n: &Self| n.is_finite());
        number.ok_or_else(|| vec![Mismatch::new(format!("is {text}, which is no finite number"))])
    }
}

impl FromToml<'_> for i64 {
    fn from_toml(value: &DeValue<'_>) -> Result<Self, Vec<Mismatch>> {
        let DeValue::Integer(i) = value else {
            return Err(vec![Mismatch::of(value, "a whole number")]);
        };
        let too_long = |_| vec![Mismatch::new("has more digits than a whole number can have here")];
        Self::from_str_radix(i.as_str(), i.radix()).map_err(too_long)
    }
}

impl FromToml<'_> for bool {
    fn from_toml(value: &DeValue<'_>) -> Result<Self, Vec<Mismatch>> {
        value
            .as_bool()
            .ok_or_else(|| vec![Mismatch::of(value, "true or false")])
    }
}

impl<'a> FromToml<'a> for &'a DeArray<'a> {
    fn from_toml(value: &'a DeValue<'a>) -> Result<Self, Vec<Mismatch>> {
        value.as_array().ok_or_else(|| vec![Mismatch::of(value, "a list")])
    }
}

impl<'a> FromToml<'a> for &'a DeTable<'a> {
    fn from_toml(value: &'a DeValue<'a>) -> Result<Self, Vec<Mismatch>> {
        value.as_table().ok_or_else(|| vec![Mismatch::of(value, "a table")])
    }
}

/// A list of exactly `N` values.
impl<'a, T: FromToml<'a>, const N: usize> FromToml<'a> for [T; N] {
    fn from_toml(value: &'a DeValue<'a>) -> Result<Self, Vec<Mismatch>> {
        let items: Vec<Found<T>> = Vec::from_toml(value)?;
        let count = items.len();
        let values: Vec<T> = items.into_iter().map(|item| item.value).collect();
        let wrong = |_| vec![Mismatch::new(format!("has {count} values where {N} belong"))];
        Self::try_from(values).map_err(wrong)
    }
}

/// A list of any length, each value with its place.
impl<'a, T: FromToml<'a>> FromToml<'a> for Vec<Found<T>> {
    fn from_toml(value: &'a DeValue<'a>) -> Result<Self, Vec<Mismatch>> {
        let items: &DeArray<'a> = FromToml::from_toml(value)?;
        let (mut values, mut wrong) = (Vec::new(), Vec::new());
        for item in items {
            let at = item.span().start;
            match T::from_toml(item.get_ref()) {
                Ok(value) => values.push(Found { value, at }),
                Err(all) => wrong.extend(all.into_iter().map(|m| Mismatch {
                    at: m.at.or(Some(at)),
                    what: m.what,
                })),
            }
        }
        if wrong.is_empty() { Ok(values) } else { Err(wrong) }
    }
}

impl Found<&str> {
    /// The meaning of a word that is one of a few; another word is reported with the choices.
    pub(super) fn among<T: Copy>(self, what: &str, choices: &[(&'static str, T)], sink: &mut Sink<'_>) -> Option<T> {
        if let Some((_, meaning)) = choices.iter().find(|(word, _)| *word == self.value) {
            return Some(*meaning);
        }
        let words = || choices.iter().map(|(word, _)| *word);
        let several = choices.len() > 1;
        let meant = nearest(self.value, words()).filter(|_| several);
        let meant = meant.map_or_else(String::new, |word| format!("Did you mean `{word}`? "));
        sink.error(
            self.at,
            format!("`{}` is no {what}", shortened(self.value)),
            format!("{meant}It can be {}.", list(words())),
        );
        None
    }

    /// A name that must have a certain form; another form is reported.
    pub(super) fn name<T: std::str::FromStr<Err = NameError>>(self, sink: &mut Sink<'_>) -> Option<T> {
        self.value
            .parse()
            .map_err(|error: NameError| report_name(self.at, &error, sink))
            .ok()
    }
}

fn report_name(at: usize, error: &NameError, sink: &mut Sink<'_>) {
    let message = error.to_string();
    let (what, rule) = message.rsplit_once(": ").unwrap_or((&message, ""));
    sink.error(at, what, format!("It has {rule}."));
}

/// At most forty characters of a text, for messages.
pub(super) fn shortened(text: &str) -> String {
    text.chars().take(40).collect()
}

impl Found<Decimal> {
    /// The number, where it is above zero; otherwise that is reported.
    pub(super) fn above_zero(self, key: &str, sink: &mut Sink<'_>) -> Option<Decimal> {
        if self.value > Decimal::ZERO {
            return Some(self.value);
        }
        sink.error(self.at, format!("`{key}` is {}", self.value), "It must be above zero.");
        None
    }

    /// The number, where it is not below zero; otherwise that is reported.
    pub(super) fn not_negative(self, key: &str, sink: &mut Sink<'_>) -> Option<Decimal> {
        if self.value >= Decimal::ZERO {
            return Some(self.value);
        }
        sink.error(
            self.at,
            format!("`{key}` is {}", self.value),
            "It must not be below zero.",
        );
        None
    }
}
