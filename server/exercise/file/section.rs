//! One table of the file with the keys that it can have, and typed ways to its values.

use rust_decimal::Decimal;
use toml::Spanned;
use toml::de::{DeArray, DeTable, DeValue};

use super::nearest::{list, nearest};
use super::number::{exact, in_words};
use super::problem::Sink;

/// A key and a line that shows how it is written.
pub(super) type Key = (&'static str, &'static str);

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
    at: Option<usize>,
    what: String,
}

impl Mismatch {
    fn new(what: impl Into<String>) -> Self {
        Self {
            at: None,
            what: what.into(),
        }
    }

    fn of(value: &DeValue<'_>, wanted: &str) -> Self {
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

/// One table.
#[derive(Debug, Clone)]
pub(super) struct Section<'a> {
    table: &'a DeTable<'a>,
    /// Byte offset of its header or opening brace.
    pub(super) at: usize,
    name: &'static str,
    keys: &'static [Key],
}

impl<'a> Section<'a> {
    /// `name` stands in messages, as in "unknown key in [body]".
    pub(super) fn new(table: &'a DeTable<'a>, at: usize, name: &'static str, keys: &'static [Key]) -> Self {
        Self { table, at, name, keys }
    }

    /// Reports every key that has no meaning here.
    pub(super) fn refuse_unknown(&self, sink: &mut Sink<'_>) {
        for key in self.table.keys() {
            let word = key.get_ref().as_ref();
            if self.keys.iter().any(|(known, _)| *known == word) {
                continue;
            }
            let known = || self.keys.iter().map(|(known, _)| *known);
            let mend = match nearest(word, known()) {
                Some(meant) => format!("Did you mean `{meant}`?"),
                None => format!("What can stand there is {}.", list(known())),
            };
            sink.error(
                key.span().start,
                format!("unknown key `{}` {}", shortened(word), self.name),
                mend,
            );
        }
    }

    pub(super) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// Whether an unknown key stands here that was probably meant to be this one.
    pub(super) fn misspells(&self, key: &str) -> bool {
        let known = || self.keys.iter().map(|(known, _)| *known);
        let words = self.table.keys().map(|k| k.get_ref().as_ref());
        let mut unknown = words.filter(|word| known().all(|k| k != *word));
        unknown.any(|word| nearest(word, known()) == Some(key))
    }

    /// The text under a key, where it is text; nothing is reported.
    pub(super) fn text(&self, key: &str) -> Option<&'a str> {
        self.table.get(key).and_then(|value| value.get_ref().as_str())
    }

    pub(super) fn is_text(&self, key: &str) -> bool {
        self.table.get(key).is_some_and(|value| value.get_ref().is_str())
    }

    /// Where the key itself stands; the table's place without it.
    pub(super) fn key_at(&self, key: &str) -> usize {
        self.table
            .get_key_value(key)
            .map_or(self.at, |(key, _)| key.span().start)
    }

    /// Where the value of a key stands; the table's place without it.
    pub(super) fn value_at(&self, key: &str) -> usize {
        self.table.get(key).map_or(self.at, |value| value.span().start)
    }

    /// All keys with their places, in alphabetical order.
    pub(super) fn entries(&self) -> impl Iterator<Item = (Found<&'a str>, &'a Spanned<DeValue<'a>>)> + use<'a> {
        self.table.iter().map(|(key, value)| {
            (
                Found {
                    value: key.get_ref().as_ref(),
                    at: key.span().start,
                },
                value,
            )
        })
    }

    /// The value of a key, where it is there and of the right type; a wrong type is reported.
    pub(super) fn get<T: FromToml<'a>>(&self, key: &str, sink: &mut Sink<'_>) -> Option<Found<T>> {
        let value = self.table.get(key)?;
        let at = value.span().start;
        match T::from_toml(value.get_ref()) {
            Ok(value) => Some(Found { value, at }),
            Err(mismatches) => {
                for wrong in mismatches {
                    sink.error(
                        wrong.at.unwrap_or(at),
                        format!("`{key}` {}", wrong.what),
                        self.shown(key),
                    );
                }
                None
            }
        }
    }

    /// The value of a key that must be there; a missing one is reported too.
    pub(super) fn need<T: FromToml<'a>>(&self, key: &str, sink: &mut Sink<'_>) -> Option<Found<T>> {
        if !self.has(key) && !self.misspells(key) {
            sink.absent(self.at, format!("missing key `{key}` {}", self.name), self.shown(key));
        }
        self.get(key, sink)
    }

    /// The sentence that shows how a key is written.
    pub(super) fn shown(&self, key: &str) -> String {
        // Where keys are names of the author's, one example stands for all.
        let line = self
            .keys
            .iter()
            .find(|(known, _)| *known == key)
            .or_else(|| self.keys.first());
        line.map_or_else(String::new, |(_, example)| format!("Write it as in `{example}`."))
    }

    /// A table under a key.
    pub(super) fn table(
        &self,
        key: &str,
        name: &'static str,
        keys: &'static [Key],
        sink: &mut Sink<'_>,
    ) -> Option<Self> {
        let found: Found<&DeTable<'a>> = self.get(key, sink)?;
        // A table that is made of dotted keys or of headers of its own tables has the place of its key.
        Some(Self::new(found.value, found.at, name, keys))
    }

    /// All tables of an array of tables; none where the key is absent.
    pub(super) fn tables(&self, key: &str, name: &'static str, keys: &'static [Key], sink: &mut Sink<'_>) -> Vec<Self> {
        if let Some(DeValue::Table(_)) = self.table.get(key).map(Spanned::get_ref) {
            let what = format!("`{key}` is one table where a list of tables belongs");
            sink.error(self.key_at(key), what, self.shown(key));
            return Vec::new();
        }
        let Some(items) = self.get::<&DeArray<'a>>(key, sink) else {
            return Vec::new();
        };
        let mut sections = Vec::new();
        for item in items.value {
            let at = item.span().start;
            match item.get_ref() {
                DeValue::Table(table) => sections.push(Self::new(table, at, name, keys)),
                other => sink.error(
                    at,
                    format!("`{key}` {}", Mismatch::of(other, "a table").what),
                    self.shown(key),
                ),
            }
        }
        sections
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
    pub(super) fn name<T: std::str::FromStr<Err = super::super::names::NameError>>(
        self,
        sink: &mut Sink<'_>,
    ) -> Option<T> {
        self.value
            .parse()
            .map_err(|error: super::super::names::NameError| report_name(self.at, &error, sink))
            .ok()
    }
}

fn report_name(at: usize, error: &super::super::names::NameError, sink: &mut Sink<'_>) {
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
