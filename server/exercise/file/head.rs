//! What stands at the top of an exercise file: its format, code, title, unit and places.

use rust_decimal::Decimal;

use super::problem::Sink;
use super::section::{Key, Section};
use super::value::Found;
use crate::exercise::names::ExerciseCode;
use crate::metrology::tolerance::{Tolerance, ToleranceTextError};
use crate::units::LengthUnit;

pub(super) const KEYS: &[Key] = &[
    ("format", "format = 1"),
    ("code", "code = \"BR-02\""),
    ("title", "title = \"Bearing bracket, top face\""),
    ("units", "units = \"mm\""),
    ("decimals", "decimals = 3"),
    ("general_tolerance", "general_tolerance = \"±0.1\""),
    ("body", "[body]"),
    ("datum_frame", "[datum_frame]"),
    ("mistaken_surface", "[[mistaken_surface]]"),
    ("measurement", "[measurement]"),
    ("marks", "[marks]"),
    ("feature", "[[feature]]"),
    ("between", "[[between]]"),
];

/// The only format that there is.
const FORMAT: i64 = 1;

/// Longest title or name.
const LONGEST_NAME: usize = 200;

/// Most places that a report carries.
const MOST_DECIMALS: i64 = 6;

/// The top of the file, as far as it could be read.
pub(super) struct Head {
    pub(super) code: Option<ExerciseCode>,
    pub(super) title: Option<String>,
    pub(super) units: Option<LengthUnit>,
    pub(super) decimals: Option<u32>,
    pub(super) general: Option<Tolerance>,
}

pub(super) fn read(root: &Section<'_>, sink: &mut Sink<'_>) -> Head {
    format(root, sink);
    Head {
        code: root.need::<&str>("code", sink).and_then(|code| code.name(sink)),
        title: root.need("title", sink).and_then(|title| words("title", title, sink)),
        units: root
            .need::<&str>("units", sink)
            .and_then(|unit| unit.among("unit", &[("mm", LengthUnit::Mm), ("inch", LengthUnit::Inch)], sink)),
        decimals: root.need("decimals", sink).and_then(|found| decimals(found, sink)),
        general: root.get("general_tolerance", sink).and_then(|text| general(text, sink)),
    }
}

/// Reports a format that is not the known one; `plates.toml` has the same.
pub(super) fn format(root: &Section<'_>, sink: &mut Sink<'_>) {
    let Some(found) = root.need::<i64>("format", sink) else {
        return;
    };
    if found.value != FORMAT {
        let mend = "This program reads format 1; a newer one may read the file.";
        sink.error(found.at, format!("the format is {}", found.value), mend);
    }
}

/// A title or name: something to read on one line.
pub(super) fn words(key: &str, found: Found<&str>, sink: &mut Sink<'_>) -> Option<String> {
    let text = found.value;
    let wrong = if text.trim().is_empty() {
        "is empty"
    } else if text.chars().any(char::is_control) {
        "has a line break or another control character"
    } else if text.chars().count() > LONGEST_NAME {
        "is longer than 200 characters"
    } else {
        return Some(text.to_owned());
    };
    sink.error(
        found.at,
        format!("`{key}` {wrong}"),
        "Write it as it should stand on the sheet, on one line.",
    );
    None
}

fn decimals(found: Found<i64>, sink: &mut Sink<'_>) -> Option<u32> {
    let places = u32::try_from(found.value).ok().filter(|_| found.value <= MOST_DECIMALS);
    if places.is_none() {
        let what = format!("`decimals` is {}", found.value);
        sink.error(
            found.at,
            what,
            "It is the number of places that a report carries, 0 to 6.",
        );
    }
    places
}

fn general(text: Found<&str>, sink: &mut Sink<'_>) -> Option<Tolerance> {
    let tolerance = tolerance(text, sink)?;
    let suits = match tolerance {
        Tolerance::PlusMinus(_) | Tolerance::General(_) => true,
        Tolerance::Deviations { upper, lower } => lower <= Decimal::ZERO && upper >= Decimal::ZERO,
        Tolerance::Limits { .. } | Tolerance::Max(_) | Tolerance::IsoClass(_) => false,
    };
    if suits {
        return Some(tolerance);
    }
    let what = format!("the general tolerance {tolerance} cannot hold for all lengths");
    sink.error(
        text.at,
        what,
        "Write it as ±0.1, +0.1/-0.2 or ISO 2768-m, and others at their characteristics.",
    );
    None
}

/// A tolerance as text; what cannot be read is reported.
pub(super) fn tolerance(text: Found<&str>, sink: &mut Sink<'_>) -> Option<Tolerance> {
    let report = |error: ToleranceTextError| {
        let found = super::value::shortened(text.value);
        let forms =
            "Write one of ±0.05, +0.02 -0.01, +0.02/0, 32.00..32.05, max 0.1, H7 (ISO 286-1, on a size) or ISO 2768-m.";
        sink.error(
            text.at,
            format!("the tolerance is \"{found}\": {}", error.problem),
            forms,
        );
    };
    text.value.parse().map_err(report).ok()
}
