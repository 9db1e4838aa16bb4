//! The walk over an exercise file, section by section, and what must hold across sections.

use std::collections::BTreeMap;

use toml::de::DeTable;

use super::body_space::BodySpace;
use super::characteristic::{self, Subject};
use super::problem::Sink;
use super::section::{Found, Key, Section};
use super::sheet::Sheet;
use super::{between, body, bonus, datums, feature, head, marks, measurement, mistaken, quantities};
use crate::exercise::model::{Between, Body, Characteristic, Exercise, Feature, MarksRules, MistakenSurface, Owner};
use crate::exercise::names::{BalloonNo, FeatureKey};

/// The exercise of a parsed file. `None` where a part could not be made; the sink knows of all other errors.
pub(super) fn read(document: &DeTable<'_>, sink: &mut Sink<'_>) -> Option<Exercise> {
    let root = Section::new(document, 0, "at the top", head::KEYS);
    root.refuse_unknown(sink);
    let head = head::read(&root, sink);
    let body = part(&root, "body", "in [body]", body::KEYS, sink).and_then(|s| body::read(&s, sink));
    let features = root.tables("feature", "in a feature", feature::KEYS, sink);
    let space = body
        .as_ref()
        .zip(head.decimals)
        .map(|(b, d)| BodySpace::new(b, d, is_raised(&features)));
    let frame = part(&root, "datum_frame", "in [datum_frame]", datums::FRAME_KEYS, sink)
        .and_then(|s| datums::read(&s, space.as_ref(), sink));
    let surfaces = root.tables("mistaken_surface", "in [[mistaken_surface]]", mistaken::KEYS, sink);
    let mistaken_surfaces = mistaken::read(&surfaces, frame.as_ref(), sink);
    let measurement = part(&root, "measurement", "in [measurement]", measurement::KEYS, sink)
        .and_then(|s| measurement::read(&s, sink));
    let marks = marks_rules(&root, sink);
    let sheet = Sheet {
        units: head.units,
        decimals: head.decimals,
        general: head.general,
        has_general: root.has("general_tolerance"),
        space,
        frame,
        measurement,
    };
    let pairs = root.tables("between", "in [[between]]", between::KEYS, sink);
    let measured = measured(&root, &features, &pairs, &sheet, sink);
    assemble(head, body, sheet, mistaken_surfaces, marks, measured)
}

fn assemble(
    head: head::Head,
    body: Option<Body>,
    sheet: Sheet,
    mistaken: Option<Vec<MistakenSurface>>,
    marks: Option<MarksRules>,
    measured: Option<Measured>,
) -> Option<Exercise> {
    let measured = measured?;
    Some(Exercise {
        code: head.code?,
        title: head.title?,
        units: head.units?,
        decimals: head.decimals?,
        general_tolerance: head.general,
        body: body?,
        datum_frame: sheet.frame?,
        mistaken_surfaces: mistaken?,
        measurement: sheet.measurement?,
        marks: marks?,
        features: measured.features,
        between: measured.between,
        characteristics: measured.characteristics,
    })
}

/// A section that must be there.
fn part<'a>(
    root: &Section<'a>,
    key: &str,
    name: &'static str,
    keys: &'static [Key],
    sink: &mut Sink<'_>,
) -> Option<Section<'a>> {
    if !root.has(key) {
        sink.absent(
            root.at,
            format!("there is no [{key}]"),
            "Every exercise has one; see the format's page.",
        );
    }
    root.table(key, name, keys, sink)
}

fn marks_rules(root: &Section<'_>, sink: &mut Sink<'_>) -> Option<MarksRules> {
    if !root.has("marks") {
        return Some(MarksRules::default());
    }
    root.table("marks", "in [marks]", marks::KEYS, sink)
        .and_then(|s| marks::read(&s, sink))
}

/// Whether something stands on the top face: an outside round feature, or a ball.
fn is_raised(features: &[Section<'_>]) -> bool {
    let word = |section: &Section<'_>, key: &str, wanted: &str| section.text(key) == Some(wanted);
    features
        .iter()
        .any(|s| word(s, "side", "outside") || (word(s, "kind", "sphere") && !word(s, "side", "inside")))
}

/// Features, pairs and all their characteristics in sheet order.
struct Measured {
    features: Vec<Feature>,
    between: Vec<Between>,
    characteristics: Vec<Characteristic>,
}

fn measured(
    root: &Section<'_>,
    features: &[Section<'_>],
    pairs: &[Section<'_>],
    sheet: &Sheet,
    sink: &mut Sink<'_>,
) -> Option<Measured> {
    let mut taken = Taken::default();
    let mut found = Vec::new();
    let mut characteristics = Vec::new();
    for (index, section) in features.iter().enumerate() {
        let read = feature::read(section, sheet.space.as_ref(), sink);
        taken.key(read.key.as_ref(), sheet, sink);
        characteristics.push(of_feature(section, index, read.feature.as_ref(), sheet, sink));
        found.push((section.text("key"), read.feature));
    }
    let known: between::Known<'_> = found
        .iter()
        .enumerate()
        .filter_map(|(i, (key, feature))| Some(((*key)?, feature.as_ref().map(|f| (i, f)))))
        .collect();
    let mut between = Vec::new();
    for (index, section) in pairs.iter().enumerate() {
        let read = between::read(section, index, &known, sheet, sink);
        taken.key(read.key.as_ref(), sheet, sink);
        characteristics.push(read.characteristics);
        between.push(read.between);
    }
    taken.numbers(&characteristics, sink);
    let anything = features.iter().chain(pairs).any(|s| s.has("characteristic"));
    if !anything {
        let mend = "Add a table `[[feature]]` with a `[[feature.characteristic]]` in it.";
        sink.absent(root.at, "there is no characteristic to measure", mend);
    }
    let features: Option<Vec<Feature>> = found.into_iter().map(|(_, feature)| feature).collect();
    Some(Measured {
        features: features?,
        between: between.into_iter().collect::<Option<_>>()?,
        characteristics: characteristics
            .into_iter()
            .flatten()
            .map(|read| read.characteristic)
            .collect(),
    })
}

fn of_feature(
    section: &Section<'_>,
    index: usize,
    feature: Option<&Feature>,
    sheet: &Sheet,
    sink: &mut Sink<'_>,
) -> Vec<characteristic::Read> {
    let subject = Subject {
        owner: Owner::Feature(index),
        features: feature.cloned().into_iter().collect(),
        pair: None,
        quantities: feature.map(|f| quantities::of_feature(&f.shape)).unwrap_or_default(),
    };
    let sections = section.tables("characteristic", "in a characteristic", characteristic::KEYS, sink);
    let all: Vec<_> = sections
        .iter()
        .filter_map(|s| characteristic::read(s, &subject, sheet, sink))
        .collect();
    bonus::check(&sections, &all, &subject, sink);
    all
}

/// Names that are taken, with the places where.
#[derive(Default)]
struct Taken {
    keys: BTreeMap<FeatureKey, usize>,
}

impl Taken {
    /// A key of a feature or pair: unique, and no letter of a datum, which point files use alike.
    fn key(&mut self, key: Option<&Found<FeatureKey>>, sheet: &Sheet, sink: &mut Sink<'_>) {
        let Some(key) = key else { return };
        let word = key.value.as_str();
        if let Some(first) = self.keys.get(&key.value) {
            let what = format!("the key `{word}` is taken on line {}", sink.line(*first));
            sink.error(
                key.at,
                what,
                "Give each feature, and each quantity between two, a key of its own.",
            );
            return;
        }
        let datum = sheet
            .frame
            .iter()
            .flat_map(|f| f.all().map(|d| d.letter))
            .any(|l| word == l.to_string());
        if datum {
            let what = format!("the key `{word}` is also the letter of a datum");
            sink.error(key.at, what, "Give the feature another key; points files name both.");
        }
        self.keys.insert(key.value.clone(), key.at);
    }

    fn numbers(&self, characteristics: &[Vec<characteristic::Read>], sink: &mut Sink<'_>) {
        let mut numbers: BTreeMap<&BalloonNo, usize> = BTreeMap::new();
        for owner in characteristics {
            for (i, read) in owner.iter().enumerate() {
                if let Some(first) = numbers.get(&read.characteristic.no) {
                    let what = format!(
                        "number {} is taken on line {}",
                        read.characteristic.no,
                        sink.line(*first)
                    );
                    sink.error(read.no_at, what, "Give each characteristic a number of its own.");
                } else {
                    numbers.insert(&read.characteristic.no, read.no_at);
                }
                repeated(owner.get(..i).unwrap_or_default(), read, sink);
            }
        }
    }
}

/// The same quantity twice: a slip when it is quite the same, impossible when it refers to another datum, because a
/// plate has one deviation of each quantity of a feature.
fn repeated(before: &[characteristic::Read], read: &characteristic::Read, sink: &mut Sink<'_>) {
    let c = &read.characteristic;
    let same = |r: &&characteristic::Read| r.characteristic.of == c.of && r.characteristic.along == c.along;
    let Some(first) = before.iter().find(same) else { return };
    let number = &first.characteristic.no;
    if first.characteristic.datum == c.datum {
        let what = format!("the {} is asked for a second time, after number {number}", c.of.word());
        sink.warn(read.of_at, what, "Leave it if that is meant.");
    } else {
        let what = format!(
            "number {number} has the {} of the same feature to another datum",
            c.of.word()
        );
        sink.error(read.of_at, what, "Make a second feature of the same face for it.");
    }
}
