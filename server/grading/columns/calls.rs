//! A column of calls: a letter for each line.

use std::fmt;

use serde::de::value::SeqAccessDeserializer;
use serde::de::{Error, SeqAccess, Unexpected, Visitor};
use serde::{Deserialize, Deserializer, Serializer};

use crate::report::call::Call;

const LETTERS: [(Option<Call>, char); 4] = [
    (None, '-'),
    (Some(Call::Conforming), 'c'),
    (Some(Call::Nonconforming), 'n'),
    (Some(Call::Undecided), 'u'),
];

pub(super) fn serialize<S: Serializer>(calls: impl Iterator<Item = Option<Call>>, to: S) -> Result<S::Ok, S::Error> {
    let letter = |call| LETTERS.iter().find(|(of, _)| *of == call).map(|(_, letter)| *letter);
    let text: String = calls.filter_map(letter).collect();
    to.serialize_str(&text)
}

/// Reads these, and words one after another as they were stored before.
struct Calls;

impl<'de> Visitor<'de> for Calls {
    type Value = Vec<Option<Call>>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a column of calls: letters - c n u")
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Self::Value, E> {
        let call = |letter| LETTERS.iter().find(|(_, of)| *of == letter).map(|(call, _)| *call);
        let calls: Option<_> = text.chars().map(call).collect();
        calls.ok_or_else(|| E::invalid_value(Unexpected::Str(text), &self))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, words: A) -> Result<Self::Value, A::Error> {
        Deserialize::deserialize(SeqAccessDeserializer::new(words))
    }
}

pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<Option<Call>>, D::Error> {
    from.deserialize_any(Calls)
}

#[cfg(test)]
mod tests {
    use serde::Serialize;

    use super::*;

    #[derive(Debug, PartialEq)]
    struct Column(Vec<Option<Call>>);

    impl Serialize for Column {
        fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
            serialize(self.0.iter().copied(), to)
        }
    }

    impl<'de> Deserialize<'de> for Column {
        fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
            deserialize(from).map(Self)
        }
    }

    #[test]
    fn every_call_has_its_letter_and_words_are_read_too() {
        let mut calls = vec![None];
        calls.extend(Call::ALL.map(Some));
        let letters = rmp_serde::to_vec(&Column(calls.clone())).unwrap();
        assert_eq!(letters, rmp_serde::to_vec("-cnu").unwrap());
        let words = rmp_serde::to_vec(&calls).unwrap();
        for bytes in [letters, words] {
            assert_eq!(rmp_serde::from_slice::<Column>(&bytes).unwrap().0, calls);
        }
        let error = rmp_serde::from_slice::<Column>(&rmp_serde::to_vec("cx").unwrap()).unwrap_err();
        assert!(error.to_string().contains("letters - c n u"), "{error}");
    }
}
