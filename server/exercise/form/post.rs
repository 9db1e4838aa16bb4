//! The form from the fields that a browser sends.

use std::collections::BTreeMap;

use super::schema::{
    BETWEEN, BODY, CHARACTERISTIC, DATUM, DIRECTIONS, FEATURE, HEAD, LINE, MARKS, MEASUREMENT, MISTAKEN, OTHER, Spec,
    Typed,
};
use super::{Fields, Form, Part};

/// Tables of one kind at most: an exercise has some dozens of features.
const MOST: usize = 300;

type Posted<'p> = BTreeMap<&'p str, &'p str>;

/// A form from names and values. A table is there when its first field is; what is missing is empty.
#[must_use]
pub fn from_posted(pairs: &[(String, String)]) -> Form {
    let posted: Posted<'_> = pairs
        .iter()
        .map(|(name, value)| (name.as_str(), value.as_str()))
        .collect();
    let tables = |letter: &str, first: &str, specs: &[Spec]| -> Vec<Fields> {
        (0..MOST)
            .map(|i| format!("{letter}{i}-"))
            .take_while(|prefix| posted.contains_key(format!("{prefix}{first}").as_str()))
            .map(|prefix| fields(&posted, &prefix, specs))
            .collect()
    };
    let parts = |letter: &str, first: &str, specs: &[Spec]| -> Vec<Part> {
        let own = tables(letter, first, specs);
        let measured = |i: usize| tables(&format!("{letter}{i}c"), "no", CHARACTERISTIC);
        own.into_iter()
            .enumerate()
            .map(|(i, fields)| Part {
                fields,
                characteristics: measured(i),
            })
            .collect()
    };
    Form {
        head: fields(&posted, "", HEAD),
        body: fields(&posted, "body-", BODY),
        datums: [0, 1, 2].map(|i| fields(&posted, &format!("d{i}-"), DATUM)),
        mistaken: tables("m", "name", MISTAKEN),
        measurement: fields(&posted, "u-", MEASUREMENT),
        marks: fields(&posted, "k-", MARKS),
        lines: tables("l", "name", LINE),
        features: parts("f", "kind", FEATURE),
        between: parts("b", "first", BETWEEN),
    }
}

fn fields(posted: &Posted<'_>, prefix: &str, specs: &[Spec]) -> Fields {
    let mut found = Fields::new();
    for spec in specs {
        let name = format!("{prefix}{}", spec.key);
        let get = |name: &str| posted.get(name).copied().unwrap_or("");
        let parts = |count: usize| {
            let parts: Vec<&str> = (0..count).map(|i| get(&format!("{name}-{i}")).trim()).collect();
            if parts.iter().all(|p| p.is_empty()) {
                String::new()
            } else {
                parts.join("\t")
            }
        };
        let value = match spec.typed {
            Typed::Place => parts(3),
            Typed::Pair => parts(2),
            Typed::Direction if get(&name) == OTHER => format!("{OTHER} {}", get(&format!("{name}-other")).trim()),
            Typed::Places => lines(get(&name)),
            _ => get(&name).trim().to_owned(),
        };
        if !value.is_empty() {
            found.insert(spec.key, value);
        }
    }
    found
}

/// Lines without the blanks around them and without empty ones.
fn lines(typed: &str) -> String {
    let all: Vec<&str> = typed.lines().map(str::trim).filter(|l| !l.is_empty()).collect();
    all.join("\n")
}

/// The word chosen for a direction, and what is written beside it.
#[must_use]
pub fn direction_parts(typed: &str) -> (&str, &str) {
    let typed = typed.trim();
    match typed.strip_prefix(OTHER) {
        Some(numbers) => (OTHER, numbers.trim()),
        None if DIRECTIONS.iter().any(|(word, _)| *word == typed) || typed.is_empty() => (typed, ""),
        None => (OTHER, typed),
    }
}
