//! What differs between two revisions of an exercise, in words.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::file::write_exercise;
use super::model::{Characteristic, Datum, Exercise, Feature, MarksRules, Material, Owner};
use crate::metrology::tolerance::Limits;
use crate::units::show_number;

/// One difference.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// What it is about: a number, a feature, a part of the sheet.
    pub about: String,
    /// What was and what is.
    pub what: String,
}

#[derive(Default)]
struct Found(Vec<Change>);

impl Found {
    fn say(&mut self, about: impl Into<String>, what: impl Into<String>) {
        self.0.push(Change {
            about: about.into(),
            what: what.into(),
        });
    }

    /// `label` from one to the other, where they differ.
    fn compare(&mut self, about: &str, label: &str, old: &str, new: &str) {
        if old == new {
            return;
        }
        let shown = |text: &str| {
            if text.is_empty() {
                "none".to_owned()
            } else {
                text.to_owned()
            }
        };
        let label = if label.is_empty() {
            String::new()
        } else {
            format!("{label} ")
        };
        self.say(about, format!("{label}{} became {}", shown(old), shown(new)));
    }
}

/// All differences from one revision to the next, in the order of the sheet; nothing where they mean the same.
#[must_use]
pub fn differences(old: &Exercise, new: &Exercise) -> Vec<Change> {
    let mut found = Found::default();
    head(old, new, &mut found);
    frame(old, new, &mut found);
    measurement(old, new, &mut found);
    marks(&old.marks, &new.marks, &mut found);
    features(old, new, &mut found);
    pairs(old, new, &mut found);
    characteristics(old, new, &mut found);
    if found.0.is_empty() && old != new {
        found.say("sheet", "the order of the sheet");
    }
    found.0
}

fn head(old: &Exercise, new: &Exercise, found: &mut Found) {
    let general = |e: &Exercise| {
        e.general_tolerance
            .as_ref()
            .map(ToString::to_string)
            .unwrap_or_default()
    };
    let material = |e: &Exercise| match &e.body.material {
        Material::Named(name) => (*name).to_owned(),
        Material::Expansion(value) => format!("one that expands by {value} per kelvin"),
    };
    found.compare("sheet", "code", old.code.as_str(), new.code.as_str());
    found.compare("sheet", "title", &old.title, &new.title);
    found.compare("sheet", "unit", old.units.as_str(), new.units.as_str());
    found.compare(
        "sheet",
        "places of a report",
        &old.decimals.to_string(),
        &new.decimals.to_string(),
    );
    found.compare("sheet", "general tolerance", &general(old), &general(new));
    found.compare(
        "body",
        "corners",
        &corners(&old.body.outline),
        &corners(&new.body.outline),
    );
    found.compare(
        "body",
        "thickness",
        &number(old.body.thickness),
        &number(new.body.thickness),
    );
    found.compare("body", "material", &material(old), &material(new));
}

fn number(value: Decimal) -> String {
    show_number(value.normalize())
}

fn corners(outline: &[[Decimal; 2]]) -> String {
    let all: Vec<String> = outline
        .iter()
        .map(|[x, y]| format!("({}, {})", number(*x), number(*y)))
        .collect();
    all.join(" ")
}

fn frame(old: &Exercise, new: &Exercise, found: &mut Found) {
    let words = |d: &Datum| format!("{} on the {} face at {}", d.letter, d.face.word(), number(d.at));
    let names = ["primary datum", "secondary datum", "tertiary datum"];
    for ((a, b), name) in old.datum_frame.all().into_iter().zip(new.datum_frame.all()).zip(names) {
        found.compare(name, "", &words(a), &words(b));
        found.compare(name, "touches", &corners(&a.touches), &corners(&b.touches));
    }
    let surfaces = |e: &Exercise| -> String {
        let all: Vec<String> = e
            .mistaken_surfaces
            .iter()
            .map(|m| format!("{} at {} for {}", m.name, number(m.at), m.instead_of))
            .collect();
        all.join("; ")
    };
    found.compare("mistaken surfaces", "", &surfaces(old), &surfaces(new));
}

fn measurement(old: &Exercise, new: &Exercise, found: &mut Found) {
    let (a, b) = (&old.measurement, &new.measurement);
    let mut compare = |label: &str, x: Decimal, y: Decimal| found.compare("measurement", label, &number(x), &number(y));
    compare("expanded uncertainty", a.expanded_uncertainty, b.expanded_uncertainty);
    compare("uncertainty per unit of length", a.per_length, b.per_length);
    compare("repeatability", a.repeatability, b.repeatability);
    compare("diameter of the tip", a.tip_diameter, b.tip_diameter);
}

fn marks(old: &MarksRules, new: &MarksRules, found: &mut Found) {
    let rule = |m: &MarksRules| format!("{:?}", m.decision_rule);
    let score = |m: &MarksRules| match m.score {
        super::model::ScoreKind::En => "E_n".to_owned(),
        super::model::ScoreKind::Fitness(f) => format!("fitness {}", number(f)),
    };
    let lines = |m: &MarksRules| -> String {
        let all: Vec<String> = m
            .lines
            .iter()
            .map(|l| format!("{} ({})", l.name, number(l.points)))
            .collect();
        all.join("; ")
    };
    let mut say = |label: &str, a: &str, b: &str| found.compare("marks", label, a, b);
    say("decision rule", &rule(old), &rule(new));
    say("score", &score(old), &score(new));
    for (label, a, b) in [
        ("guard factor", old.guard_factor, new.guard_factor),
        ("weight of the measurement", old.measurement, new.measurement),
        (
            "weight of the call for the plate",
            old.call_for_plate,
            new.call_for_plate,
        ),
        (
            "weight of the call for the own number",
            old.call_for_own_value,
            new.call_for_own_value,
        ),
        ("all points up to", old.full_within, new.full_within),
        ("none from", old.none_beyond, new.none_beyond),
        ("charge for a mistake of setting up", old.fault_charge, new.fault_charge),
        ("charge for a slip of writing", old.clerical_charge, new.clerical_charge),
    ] {
        say(label, &number(a), &number(b));
    }
    let follow = |m: &MarksRules| {
        if m.follow_through {
            "charged once"
        } else {
            "charged at every number"
        }
    };
    say("a mistake is", follow(old), follow(new));
    say("lines marked by hand", &lines(old), &lines(new));
}

fn features(old: &Exercise, new: &Exercise, found: &mut Found) {
    let before: BTreeMap<&str, &Feature> = old.features.iter().map(|f| (f.key.as_str(), f)).collect();
    for feature in &new.features {
        let Some(was) = before.get(feature.key.as_str()) else {
            found.say(&feature.name, format!("a {} was added", feature.shape.word()));
            continue;
        };
        let about = feature.name.as_str();
        found.compare(about, "name", &was.name, &feature.name);
        found.compare(about, "kind", was.shape.word(), feature.shape.word());
        let (a, b) = (geometry(old, was), geometry(new, feature));
        let said: Vec<&str> = a.keys().chain(b.keys()).map(String::as_str).collect();
        let mut keys: Vec<&str> = said;
        keys.sort_unstable();
        keys.dedup();
        for key in keys {
            let get = |m: &BTreeMap<String, String>| m.get(key).cloned().unwrap_or_default();
            found.compare(about, key, &get(&a), &get(&b));
        }
        found.compare(about, "touches", &was.points.to_string(), &feature.points.to_string());
    }
    let gone = |f: &&Feature| !new.features.iter().any(|n| n.key == f.key);
    for feature in old.features.iter().filter(gone) {
        found.say(&feature.name, format!("the {} was taken out", feature.shape.word()));
    }
}

/// Geometry keys and values as the file has them.
fn geometry(exercise: &Exercise, feature: &Feature) -> BTreeMap<String, String> {
    let alone = Exercise {
        features: vec![feature.clone()],
        between: Vec::new(),
        characteristics: Vec::new(),
        ..exercise.clone()
    };
    let text = write_exercise(&alone);
    let table = text.split("[[feature]]").nth(1).unwrap_or("");
    let pairs = table.lines().filter_map(|l| l.split_once('='));
    pairs
        .map(|(key, value)| (key.trim().to_owned(), value.trim().to_owned()))
        .filter(|(key, _)| !["key", "name", "kind", "points"].contains(&key.as_str()))
        .collect()
}

fn pairs(old: &Exercise, new: &Exercise, found: &mut Found) {
    let name = |e: &Exercise, features: [usize; 2]| -> String {
        let names: Vec<&str> = features
            .iter()
            .filter_map(|i| e.features.get(*i))
            .map(|f| f.name.as_str())
            .collect();
        names.join(" to ")
    };
    for pair in &new.between {
        let now = name(new, pair.features);
        match old.between.iter().find(|b| b.key == pair.key) {
            None => found.say(now, "was added between the two"),
            Some(was) => found.compare(pair.key.as_str(), "between", &name(old, was.features), &now),
        }
    }
    for pair in old
        .between
        .iter()
        .filter(|b| !new.between.iter().any(|n| n.key == b.key))
    {
        found.say(name(old, pair.features), "was taken out between the two");
    }
}

fn characteristics(old: &Exercise, new: &Exercise, found: &mut Found) {
    for c in &new.characteristics {
        let about = format!("number {}", c.no);
        match old.characteristic(&c.no) {
            None => found.say(
                about,
                format!("added: {}, {} {}", new.owner_name(c), c.of.word(), shown(c)),
            ),
            Some((_, was)) => characteristic(&about, (old, was), (new, c), found),
        }
    }
    for c in old
        .characteristics
        .iter()
        .filter(|c| new.characteristic(&c.no).is_none())
    {
        found.say(
            format!("number {}", c.no),
            format!("taken out: {}, {}", old.owner_name(c), c.of.word()),
        );
    }
}

fn shown(c: &Characteristic) -> String {
    format!("{} {}", number(c.nominal), c.tolerance)
}

fn characteristic(
    about: &str,
    (old, a): (&Exercise, &Characteristic),
    (new, b): (&Exercise, &Characteristic),
    found: &mut Found,
) {
    let optional = |v: Option<Decimal>| v.map(number).unwrap_or_default();
    if owner(old, a) != owner(new, b) {
        found.compare(about, "of", &old.owner_name(a), &new.owner_name(b));
    }
    found.compare(about, "quantity", a.of.word(), b.of.word());
    found.compare(about, "nominal", &number(a.nominal), &number(b.nominal));
    found.compare(about, "tolerance", &a.tolerance.to_string(), &b.tolerance.to_string());
    if a.limits != b.limits {
        found.compare(about, "limits", &limits(&a.limits), &limits(&b.limits));
    }
    let datum = |c: &Characteristic| c.datum.map(String::from).unwrap_or_default();
    let condition = |c: &Characteristic| if c.maximum_material { "at maximum material" } else { "" };
    let along = |c: &Characteristic| c.along.map(|a| a.letter().to_string()).unwrap_or_default();
    let criterion = |c: &Characteristic| format!("{:?}", c.criterion);
    found.compare(about, "datum", &datum(a), &datum(b));
    found.compare(about, "bonus", condition(a), condition(b));
    found.compare(about, "along", &along(a), &along(b));
    if a.of == b.of {
        found.compare(about, "criterion", &criterion(a), &criterion(b));
    }
    found.compare(about, "weight", &number(a.weight), &number(b.weight));
    found.compare(
        about,
        "own uncertainty",
        &optional(a.own_uncertainty),
        &optional(b.own_uncertainty),
    );
}

/// The key of what a characteristic belongs to.
fn owner<'e>(exercise: &'e Exercise, c: &Characteristic) -> Option<&'e str> {
    match c.owner {
        Owner::Feature(i) => exercise.features.get(i).map(|f| f.key.as_str()),
        Owner::Between(i) => exercise.between.get(i).map(|b| b.key.as_str()),
    }
}

fn limits(limits: &Limits) -> String {
    match (limits.lower, limits.upper) {
        (Some(a), Some(b)) => format!("{} to {}", number(a), number(b)),
        (None, Some(b)) => format!("up to {}", number(b)),
        (Some(a), None) => format!("from {}", number(a)),
        (None, None) => "none".to_owned(),
    }
}
