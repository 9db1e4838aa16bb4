//! The form of an exercise file, right or wrong: what the file says goes into the fields as it is written.

use toml::de::{DeTable, DeValue};

use super::schema::{
    BODY, CHARACTERISTIC, DIRECTIONS, FEATURE, HEAD, LINE, MARKS, MEASUREMENT, MISTAKEN, OTHER, Spec, Typed,
};
use super::{Fields, Form, Part};
use crate::exercise::file;

/// A file as a form.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Taken {
    /// The form.
    pub form: Form,
    /// Keys that the form has no field for, as in `feature 2: colour`.
    pub lost: Vec<String>,
}

/// Takes the text of an exercise file. Lines that are not TOML are left out; the file's reader tells them.
#[must_use]
pub fn take(text: &str) -> Taken {
    let legible = file::legible(text);
    let (document, _) = DeTable::parse_recoverable(&legible);
    let root = document.get_ref();
    let mut taken = Taken::default();
    let lost = &mut taken.lost;
    let form = &mut taken.form;
    form.head = fields(
        root,
        HEAD,
        "top",
        &[
            "format",
            "body",
            "datum_frame",
            "mistaken_surface",
            "measurement",
            "marks",
            "feature",
            "between",
        ],
        lost,
    );
    if let Some(body) = table(root, "body") {
        form.body = fields(body, BODY, "body", &[], lost);
        if body.contains_key("expansion") {
            form.body.insert("material", OTHER.to_owned());
        }
    }
    if let Some(frame) = table(root, "datum_frame") {
        datums(frame, form, lost);
    }
    for (i, surface) in tables(root, "mistaken_surface").enumerate() {
        form.mistaken.push(fields(
            surface,
            MISTAKEN,
            &format!("mistaken surface {}", i + 1),
            &[],
            lost,
        ));
    }
    if let Some(measurement) = table(root, "measurement") {
        form.measurement = fields(measurement, MEASUREMENT, "measurement", &[], lost);
    }
    marks(root, form, lost);
    parts(root, form, lost);
    taken
}

fn marks(root: &DeTable<'_>, form: &mut Form, lost: &mut Vec<String>) {
    if let Some(marks) = table(root, "marks") {
        form.marks = fields(marks, MARKS, "marks", &["line"], lost);
        default_words(&mut form.marks);
        form.lines = tables(marks, "line")
            .map(|line| fields(line, LINE, "marks line", &[], lost))
            .collect();
    }
}

fn parts(root: &DeTable<'_>, form: &mut Form, lost: &mut Vec<String>) {
    for (i, feature) in tables(root, "feature").enumerate() {
        let about = format!("feature {}", i + 1);
        let own = fields(feature, FEATURE, &about, &["characteristic"], lost);
        form.features.push(Part {
            fields: own,
            characteristics: characteristics(feature, &about, lost),
        });
    }
    for (i, pair) in tables(root, "between").enumerate() {
        let about = format!("between {}", i + 1);
        form.between.push(Part {
            fields: between(pair, &about, lost),
            characteristics: characteristics(pair, &about, lost),
        });
    }
}

fn table<'a>(parent: &'a DeTable<'a>, key: &str) -> Option<&'a DeTable<'a>> {
    parent.get(key).and_then(|v| v.get_ref().as_table())
}

fn tables<'a>(parent: &'a DeTable<'a>, key: &str) -> impl Iterator<Item = &'a DeTable<'a>> {
    let items = parent.get(key).and_then(|v| v.get_ref().as_array());
    items
        .into_iter()
        .flat_map(|items| items.iter())
        .filter_map(|item| item.get_ref().as_table())
}

/// Fields of a table; keys that are neither fields nor read elsewhere are lost, and said so.
fn fields(table: &DeTable<'_>, specs: &[Spec], about: &str, elsewhere: &[&str], lost: &mut Vec<String>) -> Fields {
    let mut found = Fields::new();
    for (key, value) in table {
        let key = key.get_ref().as_ref();
        if let Some(spec) = specs.iter().find(|s| s.key == key) {
            found.insert(spec.key, typed(spec.typed, value.get_ref()));
        } else if !elsewhere.contains(&key) {
            lost.push(format!("{about}: {key}"));
        }
    }
    found
}

/// A scalar as it is written; a list with tabs between.
fn plain(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => text.to_string(),
        DeValue::Integer(number) if number.radix() == 10 => number.as_str().to_owned(),
        DeValue::Integer(number) => {
            i64::from_str_radix(number.as_str(), number.radix()).map_or_else(|_| number.to_string(), |n| n.to_string())
        }
        DeValue::Float(number) => number.as_str().to_owned(),
        DeValue::Boolean(flag) => flag.to_string(),
        DeValue::Array(items) => items
            .iter()
            .map(|item| plain(item.get_ref()))
            .collect::<Vec<_>>()
            .join("\t"),
        DeValue::Datetime(time) => time.to_string(),
        DeValue::Table(_) => String::new(),
    }
}

fn typed(how: Typed, value: &DeValue<'_>) -> String {
    match (how, value) {
        (Typed::Places, DeValue::Array(items)) => {
            let lines: Vec<String> = items
                .iter()
                .map(|item| plain(item.get_ref()).replace('\t', " "))
                .collect();
            lines.join("\n")
        }
        (Typed::Direction, _) => direction(&plain(value)),
        // Of a place nothing may be typed yet.
        (Typed::Place | Typed::Pair, _) => Some(plain(value)).filter(|p| !p.trim().is_empty()).unwrap_or_default(),
        _ => plain(value),
    }
}

fn direction(numbers: &str) -> String {
    let parts: Option<Vec<f64>> = numbers.split('\t').map(|n| n.trim().parse().ok()).collect();
    let word = parts.as_deref().and_then(|v| match v {
        [x, y, z] => DIRECTIONS.iter().find(|(_, d)| {
            let along = |a: f64, b: i8| (a - f64::from(b)).abs() <= 0.0;
            along(*x, d[0]) && along(*y, d[1]) && along(*z, d[2])
        }),
        _ => None,
    });
    match word {
        Some((word, _)) => (*word).to_owned(),
        None if numbers.trim().is_empty() => String::new(),
        None => format!("{OTHER} {}", numbers.replace('\t', " ")),
    }
}

fn datums(frame: &DeTable<'_>, form: &mut Form, lost: &mut Vec<String>) {
    let mut entries: Vec<_> = frame.iter().collect();
    entries.sort_by_key(|(key, _)| key.span().start);
    for (i, (key, value)) in entries.into_iter().enumerate() {
        let letter = key.get_ref().trim_end_matches('\'').to_owned();
        let (Some(datum), Some(table)) = (form.datums.get_mut(i), value.get_ref().as_table()) else {
            lost.push(format!("datum {letter}"));
            continue;
        };
        *datum = fields(table, super::DATUM, &format!("datum {letter}"), &["sets"], lost);
        datum.insert("letter", letter);
    }
}

/// Words that say what is so by default have an empty field.
fn default_words(marks: &mut Fields) {
    for (key, word) in [
        ("decision_rule", "simple-acceptance"),
        ("score", "en"),
        ("follow_through", "true"),
    ] {
        if marks.get(key).is_some_and(|w| w == word) {
            marks.remove(key);
        }
    }
}

fn characteristics(owner: &DeTable<'_>, about: &str, lost: &mut Vec<String>) -> Vec<Fields> {
    tables(owner, "characteristic")
        .map(|c| fields(c, CHARACTERISTIC, about, &[], lost))
        .collect()
}

fn between(pair: &DeTable<'_>, about: &str, lost: &mut Vec<String>) -> Fields {
    let mut found = fields(pair, super::BETWEEN, about, &["features", "characteristic"], lost);
    let names: Vec<String> = pair
        .get("features")
        .and_then(|v| v.get_ref().as_array())
        .into_iter()
        .flat_map(|items| items.iter())
        .map(|item| plain(item.get_ref()))
        .collect();
    for (key, name) in ["first", "second"].into_iter().zip(names) {
        found.insert(key, name);
    }
    found
}
