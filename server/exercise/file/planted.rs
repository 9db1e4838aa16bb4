//! `planted`: what a plate was made off nominal, by feature and quantity.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use toml::de::DeTable;

use super::nearest::list;
use super::plates::meant_or_all;
use super::problem::Sink;
use super::quantities;
use super::section::{Key, Section};
use super::value::Found;
use crate::exercise::model::{Exercise, Feature, Quantity, Shape};
use crate::exercise::names::FeatureKey;

/// Keys are the author's; one line shows them all.
const FEATURES: &[Key] = &[("", "bore = { x = 0.12, diameter = 0.031 }")];
const QUANTITIES: &[Key] = &[("", "x = 0.12")];

/// Deviations by feature, or by pair of features, and quantity.
type Planted = BTreeMap<FeatureKey, BTreeMap<Quantity, Decimal>>;

/// What can be planted under a key, and the feature where it is one.
struct Target<'e> {
    key: &'e FeatureKey,
    quantities: Vec<Quantity>,
    feature: Option<&'e Feature>,
}

/// What can be planted on an exercise's plates: features in the order of the file, then pairs of features.
#[must_use]
pub fn plantable(exercise: &Exercise) -> Vec<(FeatureKey, Vec<Quantity>)> {
    let all = targets(exercise).into_iter();
    all.filter(|t| !t.quantities.is_empty())
        .map(|t| (t.key.clone(), t.quantities))
        .collect()
}

pub(super) fn read(section: &Section<'_>, exercise: &Exercise, sink: &mut Sink<'_>) -> Option<Planted> {
    let mut planted = Planted::new();
    if !section.has("planted") {
        return Some(planted);
    }
    let table = section.table("planted", "in `planted`", FEATURES, sink)?;
    let targets = targets(exercise);
    let mut complete = true;
    for (key, _) in table.entries() {
        let Some(target) = targets.iter().find(|t| t.key.as_str() == key.value) else {
            let what = format!("the exercise has no feature `{}`", super::value::shortened(key.value));
            sink.error(
                key.at,
                what,
                meant_or_all(key.value, targets.iter().map(|t| t.key.as_str())),
            );
            complete = false;
            continue;
        };
        let Some(found) = table.get::<&DeTable<'_>>(key.value, sink) else {
            complete = false;
            continue;
        };
        let inner = Section::new(found.value, found.at, "in `planted`", QUANTITIES);
        match deviations(&inner, target, sink) {
            Some(deviations) => {
                planted.insert(target.key.clone(), deviations);
            }
            None => complete = false,
        }
    }
    complete.then_some(planted)
}

fn targets(exercise: &Exercise) -> Vec<Target<'_>> {
    let feature = |(i, feature): (usize, &Feature)| {
        let mut all = quantities::plantable(&feature.shape);
        // What is measured of a feature to another one is made on the first of the two.
        let first = exercise.between.iter().filter(|b| b.features[0] == i);
        all.extend(first.flat_map(|b| orientations(exercise, b.features)));
        all.sort_unstable();
        all.dedup();
        all
    };
    let features = exercise.features.iter().enumerate().map(|(i, f)| Target {
        key: &f.key,
        quantities: feature((i, f)),
        feature: Some(f),
    });
    let pairs = exercise.between.iter().map(|b| Target {
        key: &b.key,
        quantities: orientations(exercise, b.features),
        feature: None,
    });
    features.chain(pairs).collect()
}

/// Orientations that two features can have to each other.
fn orientations(exercise: &Exercise, pair: [usize; 2]) -> Vec<Quantity> {
    let [Some(first), Some(second)] = pair.map(|i| exercise.features.get(i)) else {
        return Vec::new();
    };
    let mut all = quantities::of_pair(first, second);
    all.retain(|q| matches!(q, Quantity::Parallelism | Quantity::Perpendicularity));
    all
}

fn deviations(section: &Section<'_>, target: &Target<'_>, sink: &mut Sink<'_>) -> Option<BTreeMap<Quantity, Decimal>> {
    let mut deviations = BTreeMap::new();
    let mut complete = true;
    for (key, _) in section.entries() {
        let deviation = quantity(key, target, sink).and_then(|quantity| {
            let deviation: Found<Decimal> = section.get(key.value, sink)?;
            makeable(deviation, quantity, target, sink).then_some((quantity, deviation.value))
        });
        complete &= deviation.is_some();
        deviations.extend(deviation);
    }
    complete.then_some(deviations)
}

fn quantity(key: Found<&str>, target: &Target<'_>, sink: &mut Sink<'_>) -> Option<Quantity> {
    let quantity = Quantity::ALL
        .iter()
        .find(|(word, _)| *word == key.value)
        .map(|(_, q)| *q);
    if let Some(quantity) = quantity.filter(|q| target.quantities.contains(q)) {
        return Some(quantity);
    }
    let word = super::value::shortened(key.value);
    let (what, why) = match (quantity, target.feature) {
        (Some(Quantity::Position), _) => (
            "position follows from where the feature is".to_owned(),
            "Plant x and y. ",
        ),
        (Some(_), Some(feature)) => (format!("a {} has no {word} to plant here", feature.shape.word()), ""),
        (Some(Quantity::Parallelism | Quantity::Perpendicularity), None) => (
            format!("the two features of `{}` have no {word} between them", target.key),
            "",
        ),
        (Some(_), None) => (
            format!("the {word} of `{}` follows from its two features", target.key),
            "Plant what makes it on one of them, not here. ",
        ),
        (None, _) => (format!("`{word}` is no quantity"), ""),
    };
    let possible = target.quantities.iter().map(|q| q.word());
    let possible = if target.quantities.is_empty() {
        "Take it out.".to_owned()
    } else {
        format!("Under `{}` it can be {}.", target.key, list(possible))
    };
    sink.error(key.at, what, why.to_owned() + &possible);
    None
}

/// Form and orientation are never below zero, and sizes stay above it.
fn makeable(deviation: Found<Decimal>, quantity: Quantity, target: &Target<'_>, sink: &mut Sink<'_>) -> bool {
    if quantity.is_geometrical() && deviation.value < Decimal::ZERO {
        let what = format!("the {} of `{}` is {}", quantity.word(), target.key, deviation.value);
        sink.error(deviation.at, what, "It is never below zero.");
        return false;
    }
    let nominal = target.feature.and_then(|f| size(&f.shape, quantity));
    if let Some(nominal) = nominal.filter(|nominal| nominal + deviation.value <= Decimal::ZERO) {
        let what = format!(
            "nothing is left of the {} {nominal} of `{}`",
            quantity.word(),
            target.key
        );
        sink.error(
            deviation.at,
            what,
            "What is planted is the deviation from nominal, not the value.",
        );
        return false;
    }
    true
}

fn size(shape: &Shape, quantity: Quantity) -> Option<Decimal> {
    match (shape, quantity) {
        (
            Shape::Circle { diameter, .. }
            | Shape::Cylinder { diameter, .. }
            | Shape::Cone { diameter, .. }
            | Shape::Sphere { diameter, .. },
            Quantity::Diameter,
        ) => Some(*diameter),
        (Shape::Slot { length, .. }, Quantity::Length) => Some(*length),
        (Shape::Slot { width, .. }, Quantity::Width) => Some(*width),
        (Shape::Cone { angle, .. }, Quantity::Angle) => Some(*angle),
        _ => None,
    }
}
