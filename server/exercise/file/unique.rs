//! What must be its own in an exercise: keys, balloon numbers, quantities of one feature.

use std::collections::BTreeMap;

use super::characteristic::Read;
use super::problem::Sink;
use super::sheet::Sheet;
use super::value::Found;
use super::worked::named;
use crate::exercise::names::{BalloonNo, FeatureKey};

/// Keys that are taken, with the places where.
#[derive(Debug, Default)]
pub(super) struct Keys {
    taken: BTreeMap<FeatureKey, usize>,
}

impl Keys {
    /// A key of a feature or pair: unique, and no letter of a datum, because files of points name both.
    pub(super) fn take(&mut self, key: Option<&Found<FeatureKey>>, sheet: &Sheet, sink: &mut Sink<'_>) {
        let Some(key) = key else { return };
        let word = key.value.as_str();
        if let Some(first) = self.taken.get(&key.value) {
            let what = format!("the key `{word}` is taken on line {}", sink.line(*first));
            let mend = "Give each feature, and each quantity between two, a key of its own.";
            sink.error(key.at, what, mend);
            return;
        }
        let mut letters = sheet.frame.iter().flat_map(|f| f.all().map(|d| d.letter));
        if letters.any(|letter| word == letter.to_string()) {
            let what = format!("the key `{word}` is also the letter of a datum");
            sink.error(key.at, what, "Give the feature another key; files of points name both.");
        }
        self.taken.insert(key.value.clone(), key.at);
    }
}

/// Reports numbers that stand twice, and quantities of one feature that do; characteristics come by feature or pair.
pub(super) fn numbers(characteristics: &[Vec<Read>], sink: &mut Sink<'_>) {
    let mut taken: BTreeMap<&BalloonNo, usize> = BTreeMap::new();
    for owner in characteristics {
        for (i, read) in owner.iter().enumerate() {
            if let Some(number) = &read.number {
                if let Some(first) = taken.get(&number.value) {
                    let what = format!("number {} is taken on line {}", number.value, sink.line(*first));
                    sink.error(number.at, what, "Give each characteristic a number of its own.");
                } else {
                    taken.insert(&number.value, number.at);
                }
            }
            repeated(owner.get(..i).unwrap_or_default(), read, sink);
        }
    }
}

/// The same quantity twice: a slip when it is quite the same, impossible when it refers to another datum, because a
/// plate has one deviation of each quantity of a feature.
fn repeated(before: &[Read], read: &Read, sink: &mut Sink<'_>) {
    let Some(c) = &read.characteristic else { return };
    let mut others = before.iter().filter_map(|r| r.characteristic.as_ref());
    let Some(first) = others.find(|other| other.of == c.of && other.along == c.along) else {
        return;
    };
    if first.datum == c.datum {
        let what = format!(
            "the {} is asked for a second time, after number {}",
            named(c.of),
            first.no
        );
        sink.warn(read.of_at, what, "Leave it if that is meant.");
    } else {
        let what = format!(
            "number {} has the {} of the same feature to another datum",
            first.no,
            named(c.of)
        );
        sink.error(read.of_at, what, "Make a second feature of the same face for it.");
    }
}

/// Marks are weighted by characteristic; with no weight at all there are none.
pub(super) fn worthless(characteristics: &[Vec<Read>], sink: &mut Sink<'_>) {
    let mut all = characteristics.iter().flatten();
    let Some(first) = all.clone().find_map(|read| read.number.as_ref()) else {
        return;
    };
    if all.all(|read| read.characteristic.as_ref().is_some_and(|c| c.weight.is_zero())) {
        let mend = "Give one of them a weight above zero, as in `weight = 1`.";
        sink.error(first.at, "every characteristic has the weight zero", mend);
    }
}
