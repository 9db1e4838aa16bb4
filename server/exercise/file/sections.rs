//! The walk over an exercise file, section by section, and what must hold across sections.

use toml::de::DeTable;

use super::body_space::BodySpace;
use super::characteristic::{self, Subject};
use super::frame_noise::FrameNoise;
use super::nearest::list_all;
use super::problem::Sink;
use super::section::{Key, Section};
use super::sheet::Sheet;
use super::unique::Keys;
use super::{
    between, body, bonus, datums, feature, head, marks, measurement, mistaken, neighbours, quantities, unique,
};
use crate::exercise::model::{Between, Body, Characteristic, Exercise, Feature, MarksRules, MistakenSurface, Owner};
use crate::units::{LengthUnit, decimal_to_f64};

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
        .map(|(b, d)| BodySpace::new(b, head.units.unwrap_or(LengthUnit::Mm), d, is_raised(&features)));
    let before = sink.errors();
    let frame = part(&root, "datum_frame", "in [datum_frame]", datums::FRAME_KEYS, sink)
        .and_then(|s| datums::read(&s, space.as_ref(), sink));
    let sound_frame = sink.errors() == before;
    let surfaces = root.tables("mistaken_surface", "in [[mistaken_surface]]", mistaken::KEYS, sink);
    let mistaken_surfaces = mistaken::read(&surfaces, frame.as_ref(), sink);
    let measurement = part(&root, "measurement", "in [measurement]", measurement::KEYS, sink)
        .and_then(|s| measurement::read(&s, sink));
    let repeatability = measurement.as_ref().map(|m| decimal_to_f64(m.repeatability));
    let noise = frame
        .as_ref()
        .filter(|_| sound_frame)
        .zip(repeatability)
        .and_then(|(f, s)| FrameNoise::new(f, s));
    let marks = marks_rules(&root, sink);
    let sheet = Sheet {
        units: head.units,
        decimals: head.decimals,
        general: head.general,
        has_general: root.has("general_tolerance") || root.misspells("general_tolerance"),
        space,
        frame,
        noise,
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
    if !root.has(key) && !root.misspells(key) {
        let inside = list_all(keys.iter().map(|(key, _)| *key));
        sink.absent(
            root.at,
            format!("there is no [{key}]"),
            format!("Add it; what can stand in it are {inside}."),
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
    let mut taken = Keys::default();
    let mut found = Vec::new();
    let mut characteristics = Vec::new();
    for (index, section) in features.iter().enumerate() {
        let read = feature::read(section, sheet.space.as_ref(), sink);
        taken.take(read.key.as_ref(), sheet, sink);
        characteristics.push(of_feature(section, index, read.feature.as_ref(), sheet, sink));
        found.push((section.text("key"), read.feature));
    }
    if let Some(space) = &sheet.space {
        let read: Vec<Option<&Feature>> = found.iter().map(|(_, feature)| feature.as_ref()).collect();
        neighbours::check(features, &read, space, sink);
    }
    let known: between::Known<'_> = found
        .iter()
        .enumerate()
        .filter_map(|(i, (key, feature))| Some(((*key)?, feature.as_ref().map(|f| (i, f)))))
        .collect();
    let mut between = Vec::new();
    for (index, section) in pairs.iter().enumerate() {
        let read = between::read(section, index, &known, sheet, sink);
        taken.take(read.key.as_ref(), sheet, sink);
        characteristics.push(read.characteristics);
        between.push(read.between);
    }
    unique::numbers(&characteristics, sink);
    unique::worthless(&characteristics, sink);
    let anything = features.iter().chain(pairs).any(|s| s.has("characteristic"));
    if !anything {
        let mend = "Add a table `[[feature]]` with a `[[feature.characteristic]]` in it.";
        sink.absent(root.at, super::NOTHING_TO_MEASURE, mend);
    }
    let features: Option<Vec<Feature>> = found.into_iter().map(|(_, feature)| feature).collect();
    Some(Measured {
        features: features?,
        between: between.into_iter().collect::<Option<_>>()?,
        characteristics: characteristics
            .into_iter()
            .flatten()
            .map(|read| read.characteristic)
            .collect::<Option<_>>()?,
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
        .map(|s| characteristic::read(s, &subject, sheet, sink))
        .collect();
    bonus::check(&sections, &all, &subject, sink);
    all
}
