//! `[measurement]`: what a careful pair achieves.

use rust_decimal::Decimal;

use super::problem::Sink;
use super::section::{Key, Section};
use crate::exercise::model::Measurement;

pub(super) const KEYS: &[Key] = &[
    ("expanded_uncertainty", "expanded_uncertainty = 0.008"),
    ("per_length", "per_length = 4e-6"),
    ("repeatability", "repeatability = 0.002"),
    ("tip_diameter", "tip_diameter = 3.0"),
];

pub(super) fn read(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<Measurement> {
    section.refuse_unknown(sink);
    let above = |key: &str, sink: &mut Sink<'_>| {
        section
            .need::<Decimal>(key, sink)
            .and_then(|found| found.above_zero(key, sink))
    };
    let not_negative = |key: &str, sink: &mut Sink<'_>| {
        section
            .need::<Decimal>(key, sink)
            .and_then(|found| found.not_negative(key, sink))
    };
    let expanded_uncertainty = above("expanded_uncertainty", sink);
    let per_length = not_negative("per_length", sink);
    let repeatability = not_negative("repeatability", sink);
    let tip_diameter = above("tip_diameter", sink);
    Some(Measurement {
        expanded_uncertainty: expanded_uncertainty?,
        per_length: per_length?,
        repeatability: repeatability?,
        tip_diameter: tip_diameter?,
    })
}
