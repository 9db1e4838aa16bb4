//! A position at maximum material needs a size to have a bonus from.

use super::characteristic::{Read, Subject};
use super::problem::Sink;
use super::section::Section;
use crate::exercise::model::{Quantity, Side};

/// Reports positions at maximum material on a feature that has no size with the limit that the bonus counts from.
pub(super) fn check(sections: &[Section<'_>], read: &[Read], subject: &Subject, sink: &mut Sink<'_>) {
    // A size that could not be read has its own message.
    let written = |word: &str| sections.iter().any(|s| s.text("of") == Some(word));
    let has_size = written("diameter") || written("width");
    let size = read
        .iter()
        .filter_map(|r| r.characteristic.as_ref())
        .find(|c| matches!(c.of, Quantity::Diameter | Quantity::Width));
    for position in read
        .iter()
        .filter(|r| r.characteristic.as_ref().is_some_and(|c| c.maximum_material))
    {
        if !has_size {
            let what = "a position at maximum material has no size to take a bonus from";
            let mend = "Add a characteristic of its diameter (of a slot its width), or take `material_condition` out.";
            sink.error(position.of_at, what, mend);
        }
        let Some(size) = size else { continue };
        let inside = subject.features.first().and_then(|f| f.side) != Some(Side::Outside);
        let (limit, word) = if inside {
            (size.limits.lower, "lower")
        } else {
            (size.limits.upper, "upper")
        };
        if limit.is_none() {
            let what = format!(
                "the bonus counts from the {word} limit of number {}, which has none",
                size.no
            );
            sink.error(position.of_at, what, "Give the size a tolerance with two limits.");
        }
    }
}
