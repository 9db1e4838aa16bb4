//! `[marks]`: how marks are made.

use rust_decimal::Decimal;

use super::head;
use super::problem::Sink;
use super::section::{Key, Section};
use super::value::Found;
use crate::exercise::model::{MarksLine, MarksRules, ScoreKind};
use crate::metrology::conformity::DecisionRule;

pub(super) const KEYS: &[Key] = &[
    ("decision_rule", "decision_rule = \"simple-acceptance\""),
    ("guard_factor", "guard_factor = 1.0"),
    ("measurement", "measurement = 60"),
    ("call_for_plate", "call_for_plate = 25"),
    ("call_for_own_value", "call_for_own_value = 15"),
    ("score", "score = \"en\""),
    ("fitness", "fitness = 0.02"),
    ("full_within", "full_within = 1.0"),
    ("none_beyond", "none_beyond = 3.0"),
    ("follow_through", "follow_through = true"),
    ("fault_charge", "fault_charge = 15"),
    ("clerical_charge", "clerical_charge = 5"),
    ("line", "[[marks.line]]"),
];

const LINE_KEYS: &[Key] = &[("name", "name = \"Plate and tip cleaned\""), ("points", "points = 10")];

/// Words for the decision rules.
pub(super) const RULES: [(&str, DecisionRule); 3] = [
    ("simple-acceptance", DecisionRule::SimpleAcceptance),
    ("guarded-acceptance", DecisionRule::GuardedAcceptance),
    ("three-way", DecisionRule::ThreeWay),
];

/// Rules of an exercise that has no word on them, by kind of score: fitness has limits of its own.
pub(super) fn defaults(score: ScoreKind) -> MarksRules {
    let full_within = match score {
        ScoreKind::En => Decimal::ONE,
        ScoreKind::Fitness(_) => Decimal::TWO,
    };
    MarksRules {
        score,
        full_within,
        ..MarksRules::default()
    }
}

pub(super) fn read(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<MarksRules> {
    section.refuse_unknown(sink);
    let score = score(section, sink);
    let defaults = defaults(score.unwrap_or(ScoreKind::En));
    let mut number = |key: &str, default: Decimal| number(section, key, default, sink);
    let guard_factor = number("guard_factor", defaults.guard_factor);
    let measurement = number("measurement", defaults.measurement);
    let call_for_plate = number("call_for_plate", defaults.call_for_plate);
    let call_for_own_value = number("call_for_own_value", defaults.call_for_own_value);
    let full_within = number("full_within", defaults.full_within);
    let none_beyond = number("none_beyond", defaults.none_beyond);
    let fault_charge = number("fault_charge", defaults.fault_charge);
    let clerical_charge = number("clerical_charge", defaults.clerical_charge);
    let decision_rule = match section.get::<&str>("decision_rule", sink) {
        Some(word) => word.among("decision rule", &RULES, sink),
        None => Some(defaults.decision_rule),
    };
    let follow_through = section
        .get("follow_through", sink)
        .map_or(defaults.follow_through, |found| found.value);
    let lines = lines(section, sink);
    let rules = MarksRules {
        decision_rule: decision_rule?,
        guard_factor: guard_factor?,
        measurement: measurement?,
        call_for_plate: call_for_plate?,
        call_for_own_value: call_for_own_value?,
        score: score?,
        full_within: full_within?,
        none_beyond: none_beyond?,
        follow_through,
        fault_charge: fault_charge?,
        clerical_charge: clerical_charge?,
        lines: lines?,
    };
    check(section, &rules, sink);
    Some(rules)
}

fn number(section: &Section<'_>, key: &str, default: Decimal, sink: &mut Sink<'_>) -> Option<Decimal> {
    if !section.has(key) {
        return Some(default);
    }
    section
        .get::<Decimal>(key, sink)
        .and_then(|found| found.not_negative(key, sink))
}

fn score(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<ScoreKind> {
    let word = match section.get::<&str>("score", sink) {
        Some(word) => word.among("kind of score", &[("en", false), ("fitness", true)], sink)?,
        None => false,
    };
    if word {
        let fitness: Found<Decimal> = section.need("fitness", sink)?;
        return fitness.above_zero("fitness", sink).map(ScoreKind::Fitness);
    }
    if section.has("fitness") {
        let what = "`fitness` is given and the score does not use it";
        sink.error(
            section.key_at("fitness"),
            what,
            "Write `score = \"fitness\"` as well, or take it out.",
        );
    }
    Some(ScoreKind::En)
}

fn check(section: &Section<'_>, rules: &MarksRules, sink: &mut Sink<'_>) {
    let weights = rules.measurement + rules.call_for_plate + rules.call_for_own_value;
    if weights.is_zero() {
        let what = "the three parts of the mark all have the weight zero";
        sink.error(
            section.key_at("measurement"),
            what,
            "Give one of them a weight above zero.",
        );
    }
    if rules.none_beyond <= rules.full_within {
        let what = format!(
            "`none_beyond` is {} and `full_within` is {}",
            rules.none_beyond, rules.full_within
        );
        let at = if section.has("none_beyond") {
            "none_beyond"
        } else {
            "full_within"
        };
        sink.error(
            section.value_at(at),
            what,
            "The score falls from the second to the first, which must be larger.",
        );
    }
    for (key, charge) in [
        ("fault_charge", rules.fault_charge),
        ("clerical_charge", rules.clerical_charge),
    ] {
        if charge > Decimal::ONE_HUNDRED {
            let what = format!("`{key}` is {charge} per cent");
            sink.error(
                section.value_at(key),
                what,
                "It is a share of the measurement part, 0 to 100.",
            );
        }
    }
    let by_hand: Decimal = rules.lines.iter().map(|line| line.points).sum();
    if by_hand > Decimal::ONE_HUNDRED {
        let what = format!("the lines marked by hand have {by_hand} points together");
        sink.error(section.key_at("line"), what, "They are taken out of the hundred.");
    }
}

fn lines(section: &Section<'_>, sink: &mut Sink<'_>) -> Option<Vec<MarksLine>> {
    let sections = section.tables("line", "in [[marks.line]]", LINE_KEYS, sink);
    let mut lines: Vec<MarksLine> = Vec::new();
    for section in &sections {
        section.refuse_unknown(sink);
        let name = section
            .need("name", sink)
            .and_then(|name| head::words("name", name, sink));
        let points = section
            .need::<Decimal>("points", sink)
            .and_then(|p| p.above_zero("points", sink));
        let (Some(name), Some(points)) = (name, points) else {
            continue;
        };
        if lines.iter().any(|line| line.name == name) {
            let what = format!("there are two lines named \"{name}\"");
            sink.error(section.value_at("name"), what, "Give each a name of its own.");
        }
        lines.push(MarksLine { name, points });
    }
    (lines.len() == sections.len()).then_some(lines)
}
