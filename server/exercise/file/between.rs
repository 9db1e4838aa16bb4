//! `[[between]]`: two features and what is measured between them.

use std::collections::BTreeMap;

use super::characteristic::{self, Subject};
use super::nearest::{list_all, nearest};
use super::problem::Sink;
use super::section::{Key, Section};
use super::sheet::Sheet;
use super::value::Found;
use super::{feature, quantities};
use crate::exercise::model::{Between, Feature, Owner};
use crate::exercise::names::FeatureKey;

pub(super) const KEYS: &[Key] = &[
    ("key", "key = \"centre-distance\""),
    ("features", "features = [\"bore\", \"dowel\"]"),
    ("characteristic", "[[between.characteristic]]"),
];

/// The features of the file by key; `None` for one that could not be read.
pub(super) type Known<'f> = BTreeMap<&'f str, Option<(usize, &'f Feature)>>;

/// A pair as far as it could be read, and its characteristics.
pub(super) struct Read {
    pub(super) key: Option<Found<FeatureKey>>,
    pub(super) between: Option<Between>,
    pub(super) characteristics: Vec<characteristic::Read>,
}

pub(super) fn read(section: &Section<'_>, index: usize, known: &Known<'_>, sheet: &Sheet, sink: &mut Sink<'_>) -> Read {
    section.refuse_unknown(sink);
    let key = feature::key(section, sink);
    let pair = pair(section, known, sink);
    let between = key.as_ref().zip(pair).map(|(key, pair)| Between {
        key: key.value.clone(),
        features: pair.map(|(index, _)| index),
    });
    let subject = subject(index, pair, between.as_ref());
    let sections = section.tables("characteristic", "in a characteristic", characteristic::KEYS, sink);
    if !section.has("characteristic") {
        let mend = "Add a table `[[between.characteristic]]` below it, or take it out.";
        sink.absent(section.at, "nothing is measured between these two", mend);
    }
    let characteristics = sections
        .iter()
        .map(|s| characteristic::read(s, &subject, sheet, sink))
        .collect();
    Read {
        key,
        between,
        characteristics,
    }
}

fn subject(index: usize, pair: Option<[(usize, &Feature); 2]>, between: Option<&Between>) -> Subject {
    let features: Vec<Feature> = pair.iter().flatten().map(|(_, feature)| (*feature).clone()).collect();
    let quantities = match features.as_slice() {
        [a, b] => quantities::of_pair(a, b),
        _ => Vec::new(),
    };
    let pair = between.map(|b| Between {
        key: b.key.clone(),
        features: [0, 1],
    });
    Subject {
        owner: Owner::Between(index),
        features,
        pair,
        quantities,
    }
}

fn pair<'f>(section: &Section<'_>, known: &Known<'f>, sink: &mut Sink<'_>) -> Option<[(usize, &'f Feature); 2]> {
    let found: Found<Vec<Found<&str>>> = section.need("features", sink)?;
    let [a, b] = found.value.as_slice() else {
        let what = format!("`features` names {} features", found.value.len());
        sink.error(
            found.at,
            what,
            "It names exactly two; the second is the reference of the two.",
        );
        return None;
    };
    let (first, second) = (named(*a, known, sink), named(*b, known, sink));
    if a.value == b.value {
        sink.error(b.at, format!("`{}` is named twice", a.value), "Name two features.");
        return None;
    }
    Some([first?, second?])
}

fn named<'f>(name: Found<&str>, known: &Known<'f>, sink: &mut Sink<'_>) -> Option<(usize, &'f Feature)> {
    if let Some(feature) = known.get(name.value) {
        return *feature;
    }
    let meant = nearest(name.value, known.keys().copied());
    let mend = match meant {
        Some(meant) => format!("Did you mean `{meant}`?"),
        None => format!("The features are {}.", list_all(known.keys().copied())),
    };
    let what = format!("there is no feature `{}`", super::value::shortened(name.value));
    sink.error(name.at, what, mend);
    None
}
