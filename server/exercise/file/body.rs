//! `[body]`: outline, thickness and material.

use rust_decimal::Decimal;

use super::outline;
use super::problem::Sink;
use super::section::{Key, Section};
use super::value::Found;
use crate::exercise::model::{Body, MATERIALS, Material};

pub(super) const KEYS: &[Key] = &[
    ("outline", "outline = [[0, 0], [140, 0], [140, 90], [0, 90]]"),
    ("thickness", "thickness = 18"),
    ("material", "material = \"aluminium\""),
    ("expansion", "expansion = 23.6e-6"),
];

/// Expansion per kelvin beyond that of any solid that is machined, 1e-3.
const EXPANSION_TOO_LARGE: Decimal = Decimal::from_parts(1, 0, 0, false, 3);

pub(super) fn read(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<Body> {
    section.refuse_unknown(sink);
    let outline = section
        .need("outline", sink)
        .and_then(|points| outline::checked(points, sink));
    let thickness = section
        .need::<Decimal>("thickness", sink)
        .and_then(|t| t.above_zero("thickness", sink));
    let material = material(section, sink);
    Some(Body {
        outline: outline?,
        thickness: thickness?,
        material: material?,
    })
}

fn material(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<Material> {
    if section.has("material") && section.has("expansion") {
        let what = "`material` and `expansion` both say how the body expands";
        sink.error(section.key_at("expansion"), what, "Keep one of the two.");
        return None;
    }
    if section.has("expansion") {
        return section.get("expansion", sink).and_then(|found| expansion(found, sink));
    }
    let name: Found<&str> = section.need("material", sink)?;
    let choices = MATERIALS.map(|(name, _)| (name, name));
    name.among("material of the table", &choices, sink).map(Material::Named)
}

fn expansion(found: Found<Decimal>, sink: &mut Sink<'_>) -> Option<Material> {
    let value = found.not_negative("expansion", sink)?;
    if value >= EXPANSION_TOO_LARGE {
        let what = format!("an expansion of {value} per kelvin is beyond that of any material");
        sink.error(found.at, what, "It is per kelvin, as in `expansion = 23.6e-6`.");
        return None;
    }
    Some(Material::Expansion(value))
}
