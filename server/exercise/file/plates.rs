//! `plates.toml`: what each plate of an exercise really is.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use toml::de::{DeTable, DeValue};

use super::nearest::{list, nearest};
use super::problem::Sink;
use super::section::{Found, Key, Section};
use super::{head, planted};
use crate::exercise::model::Exercise;
use crate::exercise::names::{BalloonNo, ExerciseCode, Serial};
use crate::exercise::plate::{Calibrated, Plate, PlateKind, Plates, Seed};

pub(super) const KEYS: &[Key] = &[
    ("format", "format = 1"),
    ("exercise", "exercise = \"BR-02\""),
    ("plate", "[[plate]]"),
];

const PLATE_KEYS: &[Key] = &[
    ("serial", "serial = \"BR-02-01\""),
    ("kind", "kind = \"physical\""),
    ("seed", "seed = \"9f1c0a7be2d44c51\""),
    ("shop_uncertainty", "shop_uncertainty = 0.02"),
    ("planted", "planted = { bore = { x = 0.12, diameter = 0.031 } }"),
    ("reference", "[plate.reference]"),
];

/// Numbers are the author's; one line shows them all.
const NUMBERS: &[Key] = &[("", "\"1\" = { value = 32.0312, U = 0.003, k = 2 }")];

const REFERENCE_KEYS: &[Key] = &[("value", "value = 32.0312"), ("U", "U = 0.003"), ("k", "k = 2")];

/// Hexadecimal digits of a seed at most: 128 bits.
const LONGEST_SEED: usize = 32;

/// The plates of a parsed file; `None` where a part could not be made.
pub(super) fn read(document: &DeTable<'_>, exercise: &Exercise, sink: &mut Sink<'_>) -> Option<Plates> {
    let root = Section::new(document, 0, "at the top", KEYS);
    root.refuse_unknown(sink);
    head::format(&root, sink);
    let code = code(&root, exercise, sink);
    let sections = root.tables("plate", "in a plate", PLATE_KEYS, sink);
    let mut serials: BTreeMap<Serial, usize> = BTreeMap::new();
    let mut plates = Vec::new();
    for section in &sections {
        let Some(plate) = plate(section, exercise, sink) else {
            continue;
        };
        let at = section.value_at("serial");
        if let Some(first) = serials.get(&plate.serial) {
            let what = format!("serial {} is taken on line {}", plate.serial, sink.line(*first));
            sink.error(
                at,
                what,
                "Give each plate a serial of its own, as it is marked on the metal.",
            );
        } else {
            serials.insert(plate.serial.clone(), at);
        }
        plates.push(plate);
    }
    Some(Plates {
        exercise: code?,
        plates,
    })
    .filter(|p| p.plates.len() == sections.len())
}

fn code(root: &Section<'_>, exercise: &Exercise, sink: &mut Sink<'_>) -> Option<ExerciseCode> {
    let found: Found<&str> = root.need("exercise", sink)?;
    let code: ExerciseCode = found.name(sink)?;
    if code != exercise.code {
        let what = format!("these are plates of {code}, and the exercise is {}", exercise.code);
        sink.error(
            found.at,
            what,
            "Put the file beside its own exercise, or mend the code.",
        );
    }
    Some(code)
}

fn plate(section: &Section<'_>, exercise: &Exercise, sink: &mut Sink<'_>) -> Option<Plate> {
    section.refuse_unknown(sink);
    let serial = section
        .need::<&str>("serial", sink)
        .and_then(|serial| serial.name(sink));
    let kinds = [("physical", PlateKind::Physical), ("virtual", PlateKind::Virtual)];
    let kind = section
        .need::<&str>("kind", sink)
        .and_then(|kind| kind.among("kind of plate", &kinds, sink));
    let seed = seed(section, sink);
    let shop_uncertainty = match section.get::<Decimal>("shop_uncertainty", sink) {
        Some(found) => found.not_negative("shop_uncertainty", sink),
        None => None,
    };
    let planted = planted::read(section, exercise, sink);
    let references = references(section, exercise, sink);
    Some(Plate {
        serial: serial?,
        kind: kind?,
        seed,
        shop_uncertainty,
        planted: planted?,
        references: references?,
    })
}

fn seed(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<Seed> {
    let wanted = "It is an integer, or up to 32 hexadecimal digits in quotes.";
    if section.is_text("seed") {
        let found: Found<&str> = section.get("seed", sink)?;
        let digits = found.value.len();
        if digits == 0 || digits > LONGEST_SEED || !found.value.bytes().all(|b| b.is_ascii_hexdigit()) {
            let what = format!(
                "the seed `{}` is not hexadecimal",
                super::section::shortened(found.value)
            );
            sink.error(found.at, what, wanted);
            return None;
        }
        return Some(Seed::Hex(found.value.to_owned()));
    }
    section.get::<i64>("seed", sink).map(|found| Seed::Integer(found.value))
}

fn references(
    section: &Section<'_>,
    exercise: &Exercise,
    sink: &mut Sink<'_>,
) -> Option<BTreeMap<BalloonNo, Calibrated>> {
    let mut references = BTreeMap::new();
    if !section.has("reference") {
        return Some(references);
    }
    let table = section.table("reference", "in [plate.reference]", NUMBERS, sink)?;
    let mut entries: Vec<_> = table.entries().collect();
    entries.sort_by_key(|(key, _)| key.at);
    let mut complete = true;
    for (key, value) in entries {
        let number = number(key, value.get_ref(), exercise, sink);
        let calibrated = number.as_ref().and_then(|no| {
            let found: Found<&DeTable<'_>> = table.get(key.value, sink)?;
            let inner = Section::new(found.value, found.at, "in a reference", REFERENCE_KEYS);
            calibrated(&inner, no, exercise, sink)
        });
        complete &= calibrated.is_some();
        references.extend(number.zip(calibrated));
    }
    complete.then_some(references)
}

fn number(key: Found<&str>, value: &DeValue<'_>, exercise: &Exercise, sink: &mut Sink<'_>) -> Option<BalloonNo> {
    let known: Option<BalloonNo> = key
        .value
        .parse()
        .ok()
        .filter(|no| exercise.characteristic(no).is_some());
    if known.is_some() {
        return known;
    }
    let what = format!(
        "the exercise has no characteristic `{}`",
        super::section::shortened(key.value)
    );
    // 4.1 without quotes is the key 1 in a table 4.
    let dotted = value
        .as_table()
        .and_then(|t| t.keys().next())
        .map(|inner| format!("{}.{}", key.value, inner.get_ref()));
    let meant = dotted
        .and_then(|d| d.parse().ok())
        .filter(|no| exercise.characteristic(no).is_some());
    let mend = match meant {
        Some(no) => format!("Write the number in quotes, as in `\"{no}\"`."),
        None => "Its numbers are the `no` of its characteristics.".to_owned(),
    };
    sink.error(key.at, what, mend);
    None
}

fn calibrated(section: &Section<'_>, no: &BalloonNo, exercise: &Exercise, sink: &mut Sink<'_>) -> Option<Calibrated> {
    section.refuse_unknown(sink);
    let value: Option<Found<Decimal>> = section.need("value", sink);
    let expanded = section
        .need::<Decimal>("U", sink)
        .and_then(|u| u.not_negative("U", sink));
    let k = match section.has("k") {
        true => section.get::<Decimal>("k", sink).and_then(|k| k.above_zero("k", sink)),
        false => Some(Decimal::TWO),
    };
    let (value, expanded, k) = (value?, expanded?, k?);
    let of = exercise.characteristic(no).map(|(_, c)| c.of)?;
    if of.is_geometrical() && value.value < Decimal::ZERO {
        sink.error(
            value.at,
            format!("the {} is {}", of.word(), value.value),
            "It is never below zero.",
        );
        return None;
    }
    if of.is_size() && value.value <= Decimal::ZERO {
        sink.error(
            value.at,
            format!("the {} is {}", of.word(), value.value),
            "It is always above zero.",
        );
        return None;
    }
    Some(Calibrated {
        value: value.value,
        expanded,
        k,
    })
}

/// The name that was probably meant, or all there are.
pub(super) fn meant_or_all<'k>(found: &str, known: impl Iterator<Item = &'k str> + Clone) -> String {
    match nearest(found, known.clone()) {
        Some(meant) => format!("Did you mean `{meant}`?"),
        None => format!("There are {}.", list(known)),
    }
}
