//! One table of the file with the keys that it can have, and typed ways to its values.

use toml::Spanned;
use toml::de::{DeArray, DeTable, DeValue};

use super::nearest::{list, nearest};
use super::problem::Sink;
use super::value::{Found, FromToml, Mismatch, shortened};

/// A key and a line that shows how it is written.
pub(super) type Key = (&'static str, &'static str);

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
    /// `name` stands in messages, as in "unknown key in `[body]`".
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
            if let Some((known, _)) = self.keys.iter().find(|(known, _)| *known == key) {
                sink.about(known);
            }
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
