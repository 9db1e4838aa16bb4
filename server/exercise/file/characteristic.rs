//! `[[feature.characteristic]]` and `[[between.characteristic]]`: number, quantity, tolerance, and what follows.

use rust_decimal::Decimal;

use super::nearest::{list, nearest};
use super::options::Options;
use super::problem::Sink;
use super::section::{Key, Section};
use super::sheet::Sheet;
use super::value::Found;
use super::worked::named;
use super::{head, options, plan, quantities, worked};
use crate::exercise::model::{Between, Characteristic, Feature, Owner, Quantity, Shape};
use crate::exercise::names::BalloonNo;
use crate::metrology::tolerance::Tolerance;

pub(super) const KEYS: &[Key] = &[
    ("no", "no = \"1\""),
    ("of", "of = \"diameter\""),
    ("nominal", "nominal = 32"),
    ("tolerance", "tolerance = \"±0.05\""),
    ("weight", "weight = 1"),
    ("expanded_uncertainty", "expanded_uncertainty = 0.004"),
    ("criterion", "criterion = \"minimum-zone\""),
    ("datum", "datum = \"A\""),
    ("material_condition", "material_condition = \"mmc\""),
    ("along", "along = \"x\""),
];

/// What the characteristics of one table belong to.
pub(super) struct Subject {
    pub(super) owner: Owner,
    /// One feature, or the two of a pair; empty where they could not be read.
    pub(super) features: Vec<Feature>,
    /// The pair, with indices into `features`.
    pub(super) pair: Option<Between>,
    /// What can be measured on it.
    pub(super) quantities: Vec<Quantity>,
}

impl Subject {
    pub(super) fn is_known(&self) -> bool {
        !self.features.is_empty()
    }

    pub(super) fn is_pair(&self) -> bool {
        matches!(self.owner, Owner::Between(_))
    }

    /// For messages: "a circle", "a line and a plane".
    pub(super) fn words(&self) -> String {
        let words: Vec<String> = self.features.iter().map(|f| format!("a {}", f.shape.word())).collect();
        words.join(" and ")
    }
}

/// A characteristic as far as it could be worked out, and its number, which must be its own in any case.
pub(super) struct Read {
    pub(super) number: Option<Found<BalloonNo>>,
    pub(super) of_at: usize,
    pub(super) characteristic: Option<Characteristic>,
}

/// What is written of a characteristic.
pub(super) struct Written {
    pub(super) of: Found<Quantity>,
    pub(super) tolerance: Option<Found<Tolerance>>,
    pub(super) own_uncertainty: Option<Decimal>,
    pub(super) options: Options,
}

pub(super) fn read(section: &Section<'_>, subject: &Subject, sheet: &Sheet, sink: &mut Sink<'_>) -> Read {
    section.refuse_unknown(sink);
    let number = section.need::<&str>("no", sink).and_then(|no| {
        Some(Found {
            value: no.name(sink)?,
            at: no.at,
        })
    });
    let characteristic = made(section, number.as_ref().map(|n| &n.value), subject, sheet, sink);
    Read {
        number,
        of_at: section.value_at("of"),
        characteristic,
    }
}

fn made(
    section: &Section<'_>,
    number: Option<&BalloonNo>,
    subject: &Subject,
    sheet: &Sheet,
    sink: &mut Sink<'_>,
) -> Option<Characteristic> {
    let of = quantity(section, subject, sink);
    let tolerance = section.get::<&str>("tolerance", sink).and_then(|text| {
        Some(Found {
            value: head::tolerance(text, sink)?,
            at: text.at,
        })
    });
    let weight = weight(section, sink);
    let own_uncertainty = section
        .get::<Decimal>("expanded_uncertainty", sink)
        .and_then(|u| u.above_zero("expanded_uncertainty", sink));
    let options = options::read(section, of, subject, sheet, sink);
    let written = Written {
        of: of?,
        tolerance,
        own_uncertainty,
        options: options?,
    };
    let worked = worked::out(section, subject, &written, sheet, sink)?;
    let characteristic = Characteristic {
        no: number?.clone(),
        owner: subject.owner,
        of: written.of.value,
        nominal: worked.nominal,
        nominal_given: section.has("nominal"),
        tolerance: worked.tolerance,
        tolerance_is_general: written.tolerance.is_none(),
        limits: worked.limits,
        weight: weight?,
        own_uncertainty,
        u_lab: worked.u_lab,
        criterion: written.options.criterion,
        criterion_given: section.has("criterion"),
        datum: written.options.datum,
        maximum_material: written.options.maximum_material,
        along: written.options.along,
    };
    let tolerance_at = written.tolerance.map(|found| found.at);
    plan::warn(&characteristic, written.of.at, tolerance_at, subject, sheet, sink);
    Some(characteristic)
}

fn weight(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<Decimal> {
    if !section.has("weight") {
        return Some(Decimal::ONE);
    }
    section
        .get::<Decimal>("weight", sink)
        .and_then(|weight| weight.not_negative("weight", sink))
}

fn quantity(section: &Section<'_>, subject: &Subject, sink: &mut Sink<'_>) -> Option<Found<Quantity>> {
    let found: Found<&str> = section.need("of", sink)?;
    let known = Quantity::ALL
        .iter()
        .find(|(word, _)| *word == found.value)
        .map(|(_, quantity)| *quantity);
    if !subject.is_known() {
        if known.is_none() {
            found.among::<Quantity>("quantity", &Quantity::ALL, sink);
        }
        return None;
    }
    let Some(quantity) = known else {
        let possible = subject.quantities.iter().map(|q| q.word());
        let meant = nearest(found.value, possible).map_or_else(String::new, |m| format!("Did you mean `{m}`? "));
        let what = format!("`{}` is no quantity", super::value::shortened(found.value));
        sink.error(found.at, what, meant + &possible_ones(subject));
        return None;
    };
    if subject.quantities.contains(&quantity) {
        return Some(Found {
            value: quantity,
            at: found.at,
        });
    }
    if subject.is_pair() {
        let what = format!(
            "{} have no {} between them as they stand",
            subject.words(),
            quantity.word()
        );
        sink.error(
            found.at,
            what,
            format!("{}{}", between_two(quantity), possible_ones(subject)),
        );
    } else {
        let what = format!(
            "{} has no {}{}",
            subject.words(),
            named(quantity),
            why_not(subject, quantity)
        );
        sink.error(found.at, what, possible_ones(subject));
    }
    None
}

fn possible_ones(subject: &Subject) -> String {
    let place = if subject.is_pair() { "Between these two" } else { "Here" };
    if subject.quantities.is_empty() {
        format!("{place} nothing can be measured.")
    } else {
        format!(
            "{place} it can be {}.",
            list(subject.quantities.iter().map(|q| q.word()))
        )
    }
}

/// What two features must be to have a quantity between them.
fn between_two(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Distance => {
            "A distance is one of two centres (circle, sphere, cylinder, slot, point), or of a line or plane and one \
             parallel to it. "
        }
        Quantity::Angle => "An angle is one of two lines or slots in plan view, or of two planes. ",
        Quantity::Parallelism => {
            "Parallelism is one of lines, slots, planes and cylinders that stand parallel on the print. "
        }
        Quantity::Perpendicularity => {
            "Perpendicularity is one of lines, slots, planes and cylinders that stand square on the print. "
        }
        Quantity::Coaxiality => "Coaxiality is one of round features on the same place of the print, axes along Z. ",
        _ => "Between two features there are distance, angle, parallelism, perpendicularity and coaxiality. ",
    }
}

/// What keeps a feature from having a quantity that its kind can have.
fn why_not(subject: &Subject, quantity: Quantity) -> &'static str {
    let Some(shape) = subject.features.first().map(|f| &f.shape) else {
        return "";
    };
    match (shape, quantity) {
        (Shape::Line { .. }, Quantity::X | Quantity::Y | Quantity::Z) => {
            "; a line along an axis has the one across it, along its normal"
        }
        (Shape::Point { normal, .. } | Shape::Plane { normal, .. }, Quantity::X | Quantity::Y | Quantity::Z) => {
            if quantities::along_axis(*normal).is_some() {
                "; it has the one along its normal"
            } else {
                ", because its normal runs along no axis"
            }
        }
        (Shape::Line { .. }, Quantity::Angle) => " in plan view that touches could find",
        (Shape::Cylinder { .. } | Shape::Cone { .. }, Quantity::X | Quantity::Y | Quantity::Position) => {
            " with this axis"
        }
        _ => "",
    }
}
