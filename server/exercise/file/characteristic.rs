//! `[[feature.characteristic]]` and `[[between.characteristic]]`: number, quantity, tolerance, and what follows.

use rust_decimal::Decimal;

use super::nearest::{list, nearest};
use super::options::Options;
use super::problem::Sink;
use super::section::{Found, Key, Section};
use super::sheet::Sheet;
use super::{head, options, plan, worked};
use crate::exercise::model::{Between, Characteristic, Feature, Owner, Quantity};
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

/// A characteristic and the places that later checks need.
pub(super) struct Read {
    pub(super) characteristic: Characteristic,
    pub(super) no_at: usize,
    pub(super) of_at: usize,
}

/// What is written of a characteristic.
pub(super) struct Written {
    pub(super) of: Found<Quantity>,
    pub(super) tolerance: Option<Found<Tolerance>>,
    pub(super) own_uncertainty: Option<Decimal>,
    pub(super) options: Options,
}

pub(super) fn read(section: &Section<'_>, subject: &Subject, sheet: &Sheet, sink: &mut Sink<'_>) -> Option<Read> {
    section.refuse_unknown(sink);
    let no: Option<Found<&str>> = section.need("no", sink);
    let number: Option<BalloonNo> = no.and_then(|no| no.name(sink));
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
        no: number?,
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
    plan::warn(&characteristic, written.of.at, subject, sheet, sink);
    Some(Read {
        characteristic,
        no_at: no?.at,
        of_at: written.of.at,
    })
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
    let word = found.value;
    let quantity = Quantity::ALL
        .iter()
        .find(|(known, _)| *known == word)
        .map(|(_, quantity)| *quantity);
    if !subject.is_known() {
        if quantity.is_none() {
            found.among::<Quantity>("quantity", &Quantity::ALL, sink);
        }
        return None;
    }
    let possible: Vec<&str> = subject.quantities.iter().map(|q| q.word()).collect();
    match quantity {
        Some(quantity) if subject.quantities.contains(&quantity) => Some(Found {
            value: quantity,
            at: found.at,
        }),
        Some(_) => {
            let what = if subject.is_pair() {
                format!("{} have no {word} between them as they stand", subject.words())
            } else {
                format!("{} has no {word}{}", subject.words(), why_not(subject, word))
            };
            sink.error(found.at, what, possible_ones(&possible, subject.is_pair()));
            None
        }
        None => {
            let meant = nearest(word, possible.iter().copied());
            let meant = meant.map_or_else(String::new, |m| format!("Did you mean `{m}`? "));
            let word = super::section::shortened(word);
            sink.error(
                found.at,
                format!("`{word}` is no quantity"),
                meant + &possible_ones(&possible, subject.is_pair()),
            );
            None
        }
    }
}

fn possible_ones(possible: &[&str], pair: bool) -> String {
    let where_to = if pair { "Between these two" } else { "Here" };
    if possible.is_empty() {
        format!("{where_to} nothing can be measured.")
    } else {
        format!("{where_to} it can be {}.", list(possible.iter().copied()))
    }
}

/// What keeps a feature from having a quantity that its kind can have.
fn why_not(subject: &Subject, word: &str) -> &'static str {
    use crate::exercise::model::Shape;
    match (subject.features.first().map(|f| &f.shape), word) {
        (Some(Shape::Line { .. }), "x" | "y" | "z") => {
            ", which only a line along an axis has, across its direction and along its normal"
        }
        (Some(Shape::Point { .. } | Shape::Plane { .. }), "x" | "y" | "z") => ", which it has along its normal only",
        (Some(Shape::Line { .. }), "angle") => " in plan view",
        (Some(Shape::Cylinder { .. } | Shape::Cone { .. }), "x" | "y" | "position") => " with this axis",
        _ => "",
    }
}
