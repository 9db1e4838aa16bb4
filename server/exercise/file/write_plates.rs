//! Plates as the text of their file.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::out::{Out, number, quoted};
use crate::exercise::model::Quantity;
use crate::exercise::names::BalloonNo;
use crate::exercise::plate::{Plate, PlateKind, Plates, Seed};

/// Longest line of planted deviations; more of them get a line for each feature.
const LONGEST_LINE: usize = 120;

/// The plates file of an exercise, TOML 1.0; reading it gives the same plates.
#[must_use]
pub fn write_plates(plates: &Plates) -> String {
    let mut out = Out::default();
    out.pair(0, "format", "1");
    out.pair(0, "exercise", quoted(plates.exercise.as_str()));
    for p in &plates.plates {
        plate(p, &mut out);
    }
    out.finish()
}

fn plate(plate: &Plate, out: &mut Out) {
    out.header("[[plate]]");
    out.pair(7, "serial", quoted(plate.serial.as_str()));
    let physical = plate.kind == PlateKind::Physical;
    out.pair(7, "kind", quoted(if physical { "physical" } else { "virtual" }));
    match &plate.seed {
        Some(Seed::Hex(digits)) => out.pair(7, "seed", quoted(digits)),
        Some(Seed::Integer(seed)) => out.pair(7, "seed", seed.to_string()),
        None => {}
    }
    if let Some(shop) = plate.shop_uncertainty {
        out.pair(7, "shop_uncertainty", number(shop));
    }
    planted(plate, out);
    if !plate.references.is_empty() {
        out.line("  [plate.reference]");
    }
    let mut references: Vec<_> = plate.references.iter().collect();
    references.sort_by_key(|(no, _)| leading_number(no));
    for (no, found) in references {
        let (value, expanded, k) = (number(found.value), number(found.expanded), number(found.k));
        out.line(format!(
            "  {} = {{ value = {value}, U = {expanded}, k = {k} }}",
            quoted(no.as_str())
        ));
    }
}

/// The number that a balloon number begins with, so that 10 follows 9; others follow all of them.
fn leading_number(no: &BalloonNo) -> u64 {
    let text = no.as_str();
    let end = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    text.get(..end)
        .and_then(|digits| digits.parse().ok())
        .unwrap_or(u64::MAX)
}

fn planted(plate: &Plate, out: &mut Out) {
    let features: Vec<String> = plate
        .planted
        .iter()
        .map(|(key, deviations)| format!("{key} = {}", deviations_of(deviations)))
        .collect();
    if features.is_empty() {
        return;
    }
    let line = format!("planted = {{ {} }}", features.join(", "));
    if line.chars().count() <= LONGEST_LINE {
        out.line(line);
        return;
    }
    out.line("  [plate.planted]");
    for feature in features {
        out.line(format!("  {feature}"));
    }
}

fn deviations_of(deviations: &BTreeMap<Quantity, Decimal>) -> String {
    let all: Vec<String> = deviations
        .iter()
        .map(|(of, by)| format!("{} = {}", of.word(), number(*by)))
        .collect();
    if all.is_empty() {
        "{}".to_owned()
    } else {
        format!("{{ {} }}", all.join(", "))
    }
}
