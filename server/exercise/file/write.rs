//! An exercise as the text of its file, in the layout of the format's page.

use rust_decimal::Decimal;

use super::marks::{self, RULES};
use super::out::{Out, direction, listed, number, numbers, places, quoted, tiny};
use crate::exercise::model::{
    Axis, Body, Characteristic, Criterion, Datum, Exercise, Feature, MarksRules, Material, Measurement, Owner,
    ScoreKind, Shape, Side,
};

/// The file of an exercise, TOML 1.0; reading it gives the same exercise. What an author may leave out and is as by
/// default is left out.
#[must_use]
pub fn write_exercise(exercise: &Exercise) -> String {
    let mut out = Out::default();
    head(exercise, &mut out);
    body(&exercise.body, &mut out);
    out.header("[datum_frame]");
    for d in exercise.datum_frame.all() {
        out.line(datum(d));
    }
    for surface in &exercise.mistaken_surfaces {
        out.header("[[mistaken_surface]]");
        out.pair(0, "name", quoted(&surface.name));
        out.pair(0, "instead_of", quoted(&surface.instead_of.to_string()));
        out.pair(0, "at", number(surface.at));
    }
    measurement(&exercise.measurement, &mut out);
    rules(&exercise.marks, &mut out);
    for (i, f) in exercise.features.iter().enumerate() {
        feature(f, &mut out);
        characteristics(exercise, Owner::Feature(i), "feature", &mut out);
    }
    for (i, between) in exercise.between.iter().enumerate() {
        let key = |i: usize| exercise.features.get(i).map_or("", |f| f.key.as_str());
        out.header("[[between]]");
        out.pair(0, "key", quoted(between.key.as_str()));
        out.pair(0, "features", listed(between.features.iter().map(|i| quoted(key(*i)))));
        characteristics(exercise, Owner::Between(i), "between", &mut out);
    }
    out.finish()
}

fn head(exercise: &Exercise, out: &mut Out) {
    out.pair(8, "format", "1");
    out.pair(8, "code", quoted(exercise.code.as_str()));
    out.pair(8, "title", quoted(&exercise.title));
    out.pair(8, "units", quoted(exercise.units.as_str()));
    out.pair(8, "decimals", exercise.decimals.to_string());
    if let Some(tolerance) = &exercise.general_tolerance {
        out.pair(8, "general_tolerance", quoted(&tolerance.to_string()));
    }
}

fn body(body: &Body, out: &mut Out) {
    out.header("[body]");
    out.pair(9, "outline", places(&body.outline));
    out.pair(9, "thickness", number(body.thickness));
    match &body.material {
        Material::Named(name) => out.pair(9, "material", quoted(name)),
        Material::Expansion(value) => out.pair(9, "expansion", tiny(*value)),
    }
}

fn datum(d: &Datum) -> String {
    let (face, sets) = (quoted(d.face.word()), quoted(axis_word(d.sets)));
    let (at, touches) = (number(d.at), places(&d.touches));
    format!(
        "{} = {{ face = {face}, sets = {sets}, at = {at}, touches = {touches} }}",
        d.letter
    )
}

fn axis_word(axis: Axis) -> &'static str {
    match axis {
        Axis::X => "x",
        Axis::Y => "y",
        Axis::Z => "z",
    }
}

fn measurement(m: &Measurement, out: &mut Out) {
    out.header("[measurement]");
    out.pair(13, "expanded_uncertainty", number(m.expanded_uncertainty));
    out.pair(13, "per_length", tiny(m.per_length));
    out.pair(13, "repeatability", number(m.repeatability));
    out.pair(13, "tip_diameter", number(m.tip_diameter));
}

fn rules(rules: &MarksRules, out: &mut Out) {
    let default = marks::defaults(rules.score);
    if *rules == MarksRules::default() {
        return;
    }
    out.header("[marks]");
    if rules.decision_rule != default.decision_rule {
        let word = RULES
            .iter()
            .find(|(_, rule)| *rule == rules.decision_rule)
            .map_or("", |(word, _)| word);
        out.pair(0, "decision_rule", quoted(word));
    }
    stated("guard_factor", rules.guard_factor, default.guard_factor, out);
    stated("measurement", rules.measurement, default.measurement, out);
    stated("call_for_plate", rules.call_for_plate, default.call_for_plate, out);
    stated(
        "call_for_own_value",
        rules.call_for_own_value,
        default.call_for_own_value,
        out,
    );
    if let ScoreKind::Fitness(fitness) = rules.score {
        out.pair(0, "score", quoted("fitness"));
        out.pair(0, "fitness", number(fitness));
    }
    stated("full_within", rules.full_within, default.full_within, out);
    stated("none_beyond", rules.none_beyond, default.none_beyond, out);
    if rules.follow_through != default.follow_through {
        out.pair(0, "follow_through", rules.follow_through.to_string());
    }
    stated("fault_charge", rules.fault_charge, default.fault_charge, out);
    stated("clerical_charge", rules.clerical_charge, default.clerical_charge, out);
    for line in &rules.lines {
        out.line("  [[marks.line]]");
        out.pair(0, "  name", quoted(&line.name));
        out.pair(0, "  points", number(line.points));
    }
}

/// A number that is not as by default.
fn stated(key: &str, value: Decimal, default: Decimal, out: &mut Out) {
    if value != default {
        out.pair(0, key, number(value));
    }
}

fn feature(f: &Feature, out: &mut Out) {
    out.header("[[feature]]");
    out.pair(6, "key", quoted(f.key.as_str()));
    if f.name != f.key.as_str() {
        out.pair(6, "name", quoted(&f.name));
    }
    out.pair(6, "kind", quoted(f.shape.word()));
    let default = if matches!(f.shape, Shape::Sphere { .. }) {
        Side::Outside
    } else {
        Side::Inside
    };
    if let Some(side) = f.side.filter(|side| *side != default) {
        out.pair(
            6,
            "side",
            quoted(if side == Side::Inside { "inside" } else { "outside" }),
        );
    }
    for (key, value) in geometry(&f.shape) {
        out.pair(6, key, value);
    }
    if f.points_given {
        out.pair(6, "points", f.points.to_string());
    }
}

/// Keys and values of the shape, in the order of the format's table.
fn geometry(shape: &Shape) -> Vec<(&'static str, String)> {
    let normal = |n: &[f64; 3]| ("normal", direction(*n));
    let length = |key: &'static str, value: &Decimal| (key, number(*value));
    let depth = |d: &Option<Decimal>| d.map(|d| ("depth", number(d)));
    // Along Z is the default.
    let axis = |a: &[f64; 3]| Some(("axis", direction(*a))).filter(|(_, text)| text != "[0, 0, 1]");
    let mut pairs = match shape {
        Shape::Line { from, to, .. } => vec![("from", numbers(from)), ("to", numbers(to))],
        Shape::Point { at, .. }
        | Shape::Plane { at, .. }
        | Shape::Circle { at, .. }
        | Shape::Slot { at, .. }
        | Shape::Cylinder { at, .. }
        | Shape::Cone { at, .. }
        | Shape::Sphere { at, .. } => vec![("at", numbers(at))],
    };
    match shape {
        Shape::Point { normal: n, .. } | Shape::Line { normal: n, .. } => pairs.push(normal(n)),
        Shape::Plane { normal: n, size, .. } => pairs.extend([normal(n), ("size", numbers(size))]),
        Shape::Sphere { diameter, .. } => pairs.push(length("diameter", diameter)),
        Shape::Circle { diameter, depth: d, .. } => {
            pairs.extend([length("diameter", diameter)].into_iter().chain(depth(d)))
        }
        Shape::Slot {
            length: l,
            width,
            angle,
            depth: d,
            ..
        } => {
            pairs.extend([length("length", l), length("width", width), length("angle", angle)]);
            pairs.extend(depth(d));
        }
        Shape::Cylinder {
            axis: a,
            diameter,
            depth: d,
            ..
        } => {
            pairs.extend(
                axis(a)
                    .into_iter()
                    .chain([length("diameter", diameter)])
                    .chain(depth(d)),
            );
        }
        Shape::Cone {
            axis: a,
            angle,
            diameter,
            depth: d,
            ..
        } => {
            pairs.extend(
                axis(a)
                    .into_iter()
                    .chain([length("angle", angle), length("diameter", diameter)]),
            );
            pairs.extend(depth(d));
        }
    }
    pairs
}

fn characteristics(exercise: &Exercise, owner: Owner, table: &str, out: &mut Out) {
    for c in exercise.characteristics.iter().filter(|c| c.owner == owner) {
        out.header(&format!("  [[{table}.characteristic]]"));
        characteristic(c, out);
    }
}

fn characteristic(c: &Characteristic, out: &mut Out) {
    out.pair(0, "  no", quoted(c.no.as_str()));
    out.pair(0, "  of", quoted(c.of.word()));
    if let Some(axis) = c.along {
        out.pair(0, "  along", quoted(axis_word(axis)));
    }
    if let Some(letter) = c.datum {
        out.pair(0, "  datum", quoted(&letter.to_string()));
    }
    if c.nominal_given {
        out.pair(0, "  nominal", number(c.nominal));
    }
    if !c.tolerance_is_general {
        out.pair(0, "  tolerance", quoted(&c.tolerance.to_string()));
    }
    if c.maximum_material {
        out.pair(0, "  material_condition", quoted("mmc"));
    }
    if let Some(criterion) = c.criterion.filter(|_| c.criterion_given) {
        let zone = criterion == Criterion::MinimumZone;
        out.pair(
            0,
            "  criterion",
            quoted(if zone { "minimum-zone" } else { "least-squares" }),
        );
    }
    if c.weight != Decimal::ONE {
        out.pair(0, "  weight", number(c.weight));
    }
    if let Some(own) = c.own_uncertainty {
        out.pair(0, "  expanded_uncertainty", number(own));
    }
}
