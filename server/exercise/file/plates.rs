//! `plates.toml`: what each plate of an exercise really is.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use toml::de::{DeTable, DeValue};

use super::nearest::{list_all, nearest};
use super::problem::Sink;
use super::section::{Key, Section};
use super::value::Found;
use super::{head, planted};
use crate::exercise::geometry::at_nearest_half_turn;
use crate::exercise::model::{Characteristic, Exercise};
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
        if !section.has("shop_uncertainty") && !section.misspells("shop_uncertainty") {
            established(&plate, at, exercise, sink);
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
            let what = format!("the seed `{}` is not hexadecimal", super::value::shortened(found.value));
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
        super::value::shortened(key.value)
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
    let (_, c) = exercise.characteristic(no)?;
    possible(value, c, sink).then(|| {
        let off = if exercise.is_plan_direction(c) {
            at_nearest_half_turn(value.value, c.nominal) - c.nominal
        } else {
            value.value - c.nominal
        };
        far(value.at, off, c, sink);
        Calibrated {
            value: value.value,
            expanded,
            k,
        }
    })
}

/// Form and orientation are never below zero, and sizes always above it.
fn possible(value: Found<Decimal>, c: &Characteristic, sink: &mut Sink<'_>) -> bool {
    let never = if c.of.is_geometrical() && value.value < Decimal::ZERO {
        "It is never below zero."
    } else if c.of.is_size() && value.value <= Decimal::ZERO {
        "It is always above zero."
    } else {
        return true;
    };
    sink.error(value.at, format!("the {} is {}", c.of.word(), value.value), never);
    false
}

/// Widths of the tolerance from nominal beyond which a reference is more likely a slip than a plate.
const FAR: Decimal = Decimal::TEN;

fn far(at: usize, off: Decimal, c: &Characteristic, sink: &mut Sink<'_>) {
    let width = c.limits.width().or(c.limits.upper.filter(|_| c.of.is_geometrical()));
    if width.is_some_and(|width| width > Decimal::ZERO && off.abs() > FAR * width) {
        let what = format!("number {} is {off} off its nominal {}", c.no, c.nominal);
        sink.warn(
            at,
            what,
            "Is it the value, and not its deviation, in the unit of the exercise?",
        );
    }
}

/// Numbers that are named in one message at most.
const NAMED: usize = 8;

/// What a physical plate leaves open is not graded.
fn established(plate: &Plate, at: usize, exercise: &Exercise, sink: &mut Sink<'_>) {
    if plate.kind == PlateKind::Virtual {
        return;
    }
    let open = exercise
        .characteristics
        .iter()
        .map(|c| &c.no)
        .filter(|no| !plate.references.contains_key(*no));
    let open: Vec<&str> = open.map(BalloonNo::as_str).collect();
    if open.is_empty() {
        return;
    }
    let more = if open.len() > NAMED {
        format!(" and {} more", open.len() - NAMED)
    } else {
        String::new()
    };
    let word = if open.len() == 1 { "number" } else { "numbers" };
    let named = open.iter().take(NAMED).copied().collect::<Vec<_>>().join(", ");
    let what = format!(
        "nothing is established of {word} {named}{more} of plate {}",
        plate.serial
    );
    sink.warn(
        at,
        what,
        "They are not graded; give their `reference`, or `shop_uncertainty` where the shop is trusted.",
    );
}

/// The name that was probably meant, or all there are.
pub(super) fn meant_or_all<'k>(found: &str, known: impl Iterator<Item = &'k str> + Clone) -> String {
    match nearest(found, known.clone()) {
        Some(meant) => format!("Did you mean `{meant}`?"),
        None => format!("There are {}.", list_all(known)),
    }
}
