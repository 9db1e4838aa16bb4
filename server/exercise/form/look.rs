//! What is wrong with a form, field by field; and the exercise that can be drawn of it meanwhile.

use super::emit::{Emitted, Slot, emit};
use super::number::{in_file, words};
use super::propose::{propose_datums, usual_measurement};
use super::schema::{OTHER, Spec, Typed};
use super::{Form, text};
use crate::exercise::file::{self, Problem, Severity};
use crate::exercise::model::Exercise;

/// A problem at a field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AtField {
    /// Name of the field.
    pub field: String,
    /// Error or warning.
    pub severity: Severity,
    /// What is wrong.
    pub what: String,
    /// How to mend it.
    pub mend: String,
}

/// A form looked through.
#[derive(Debug, Clone)]
pub struct Look {
    /// The file that it stands for.
    pub toml: String,
    /// The exercise, where nothing is wrong with it.
    pub exercise: Option<Exercise>,
    /// The exercise as far as it can be drawn.
    pub drawn: Option<Exercise>,
    /// What the drawing leaves out until it is mended.
    pub left_out: Vec<String>,
    /// All problems in the order of the form.
    pub problems: Vec<AtField>,
}

/// Where it is told that there is nothing to measure yet; not a field.
pub const NO_FEATURES: &str = "add";

/// Rounds of leaving out; what is left out makes others fall that refer to it.
const ROUNDS: usize = 6;

/// Looks a form through.
#[must_use]
pub fn look(form: &Form) -> Look {
    let written = emit(form);
    let (made, found) = file::read_draft(&written.text);
    let clean = !found.iter().any(|p| p.severity == Severity::Error);
    let mut problems: Vec<AtField> = Vec::new();
    for problem in found.iter().map(|p| at_field(form, &written, p)) {
        // Each number of a place that is wrong is told by the file; a field says it once.
        if !problems.contains(&problem) {
            problems.push(problem);
        }
    }
    one_unit(form, &mut problems);
    let (drawn, left_out) = match &made {
        Some(exercise) => (Some(exercise.clone()), Vec::new()),
        None => without_what_is_wrong(form, &written, &found),
    };
    Look {
        toml: written.text,
        exercise: made.filter(|_| clean),
        drawn,
        left_out,
        problems,
    }
}

/// Where most tolerances are no wider than the uncertainty that is stated for all, that one is wrong and not they: it is said
/// once, at its field, with the unit that it was probably typed in.
fn one_unit(form: &Form, problems: &mut Vec<AtField>) {
    let too_narrow = |p: &AtField| p.what.starts_with(file::TOLERANCE_TOO_NARROW);
    let count = problems.iter().filter(|p| too_narrow(p)).count();
    let all = form.characteristics().count();
    if count < 3 || count * 2 < all {
        return;
    }
    problems.retain(|p| !too_narrow(p));
    let (unit, small) = match text(&form.head, "units") {
        "inch" => ("inches", "3 ten-thousandths are 0.0003"),
        _ => ("mm", "3 micrometres are 0.003"),
    };
    let u = text(&form.measurement, "expanded_uncertainty").trim();
    problems.push(AtField {
        field: "u-expanded_uncertainty".to_owned(),
        severity: Severity::Error,
        what: format!(
            "Expanded uncertainty, k = 2: with {u} {unit} the tolerance of {count} of {all} numbers is no wider than it"
        ),
        mend: format!("Write it in {unit}: {small}. No measurement could tell a good plate from a bad one otherwise."),
    });
}

fn slot<'e>(written: &'e Emitted, problem: &Problem) -> Option<&'e Slot> {
    written.slots.get(problem.line.checked_sub(1)?)
}

fn at_field(form: &Form, written: &Emitted, problem: &Problem) -> AtField {
    let Some(slot) = slot(written, problem) else {
        return whole(form, problem);
    };
    if problem.what == file::NOTHING_TO_MEASURE {
        return whole(form, problem);
    }
    let key = problem.key.unwrap_or(slot.key);
    let field = format!("{}{key}", slot.prefix);
    let Some((spec, typed)) = form.field(&field) else {
        return AtField {
            field: format!("{}{}", slot.prefix, slot.key),
            ..whole(form, problem)
        };
    };
    let (what, mend) = untyped(spec, &typed, slot.item)
        .or_else(|| letter_twice(form, &field, &typed))
        .unwrap_or_else(|| {
            let prefix = slot.prefix.as_str();
            (named(form, prefix, &problem.what), in_form(form, prefix, &problem.mend))
        });
    AtField {
        field,
        severity: problem.severity,
        what: without_lines(form, written, &what),
        mend,
    }
}

/// What is wrong with the whole: nothing to measure yet is told where features are added, the rest at the code.
fn whole(form: &Form, problem: &Problem) -> AtField {
    if form.characteristics().next().is_none() && problem.what == file::NOTHING_TO_MEASURE {
        return AtField {
            field: NO_FEATURES.to_owned(),
            severity: problem.severity,
            what: "nothing is measured yet".to_owned(),
            mend: "Add a hole, a face or another feature in part 4, and say what is measured on it.".to_owned(),
        };
    }
    AtField {
        field: "code".to_owned(),
        severity: problem.severity,
        what: named(form, "", &problem.what),
        mend: in_form(form, "", &problem.mend),
    }
}

/// What is wrong where a field is empty or holds no number, in words of the form.
fn untyped(spec: &Spec, typed: &str, item: Option<usize>) -> Option<(String, String)> {
    let bare = typed.trim();
    let label = spec.label;
    if bare.is_empty() && spec.need {
        let mend = match spec.typed {
            Typed::Choice(_) | Typed::Datum | Typed::Feature | Typed::Quantity | Typed::Direction => {
                "Choose one.".to_owned()
            }
            _ => format!("Write it, as in {}.", spec.example),
        };
        return Some((format!("{label}: still empty"), mend));
    }
    if spec.key == "diameter"
        && let (number, behind, _) = super::words::nominal(bare)
        && !behind.is_empty()
        && in_file(&number).is_some()
    {
        let what = format!("{label}: \u{201c}{bare}\u{201d} is more than the diameter");
        let mend = format!("Write {number} here, and {behind} as the tolerance of the diameter below.");
        return Some((what, mend));
    }
    let no_number = |text: &str| {
        let point = if text.contains(',') { "with a point, " } else { "" };
        let what = format!("{label}: \u{201c}{text}\u{201d} is no number");
        (what, format!("Write it {point}without a unit, as in {}.", spec.example))
    };
    match spec.typed {
        Typed::Number if !bare.is_empty() && in_file(bare).is_none() => Some(no_number(bare)),
        Typed::Place => missing_part(label, typed, &["X", "Y", "Z"]).or_else(|| part(typed).map(no_number)),
        Typed::Pair => missing_part(label, typed, &["first", "second"]).or_else(|| part(typed).map(no_number)),
        Typed::Places => bad_line(spec, typed, item),
        Typed::Direction => {
            let numbers = bare.strip_prefix(OTHER)?;
            let three = words(numbers);
            let good = three.len() == 3 && three.iter().all(|w| in_file(w).is_some());
            (!good).then(|| {
                (
                    format!("{label}: three numbers make a direction"),
                    "Write them as in 0 0.5 0.866.".to_owned(),
                )
            })
        }
        _ => None,
    }
}

fn missing_part(label: &str, typed: &str, names: &[&str]) -> Option<(String, String)> {
    let mut parts = typed.split('\t');
    let empty: Vec<&str> = names
        .iter()
        .filter(|_| parts.next().is_none_or(|p| p.trim().is_empty()))
        .copied()
        .collect();
    let is = if empty.len() == 1 { "is" } else { "are" };
    let what = || format!("{label}: {} {is} still empty", empty.join(" and "));
    (!empty.is_empty()).then(|| (what(), "Write the number.".to_owned()))
}

fn part(typed: &str) -> Option<&str> {
    typed.split('\t').map(str::trim).find(|p| in_file(p).is_none())
}

fn bad_line(spec: &Spec, typed: &str, item: Option<usize>) -> Option<(String, String)> {
    let line = typed.lines().filter(|l| !l.trim().is_empty()).nth(item?)?;
    let numbers = words(line);
    if numbers.len() == 2 && numbers.iter().all(|n| in_file(n).is_some()) {
        return None;
    }
    let what = format!(
        "{}, line {}: \u{201c}{}\u{201d} is not two numbers",
        spec.label,
        item? + 1,
        line.trim()
    );
    Some((
        what,
        format!("Write two numbers with a blank between, as in {}.", spec.example),
    ))
}

fn letter_twice(form: &Form, field: &str, typed: &str) -> Option<(String, String)> {
    let twice = form
        .datums
        .iter()
        .filter(|d| text(d, "letter").trim() == typed.trim())
        .count()
        > 1;
    (field.ends_with("-letter") && twice).then(|| {
        (
            format!("datum {} stands twice", typed.trim()),
            "Give it another letter.".to_owned(),
        )
    })
}

/// Advice of the file in words of the form: what to write without keys and quotes, and fields by the names that they have here.
fn in_form(form: &Form, prefix: &str, mend: &str) -> String {
    let written = |piece: &str| match piece.split_once(" = ") {
        Some((_, value)) => value.trim_matches('"').to_owned(),
        None => label(form, prefix, piece).unwrap_or_else(|| piece.trim_matches('"').to_owned()),
    };
    pieces(mend, written).replace("Add a line such as", "Write it, as in")
}

/// What the file's reader found, with fields by their names here and what was typed in quotation marks.
fn named(form: &Form, prefix: &str, what: &str) -> String {
    pieces(what, |piece| {
        label(form, prefix, piece).unwrap_or_else(|| format!("\u{201c}{piece}\u{201d}"))
    })
}

/// A text with each piece between backticks put in other words.
fn pieces(text: &str, put: impl Fn(&str) -> String) -> String {
    let mut out = String::new();
    for (i, piece) in text.split('`').enumerate() {
        if i % 2 == 0 {
            out.push_str(piece);
        } else {
            out.push_str(&put(piece));
        }
    }
    out
}

/// The name of the field with this key beside the one under a prefix.
fn label(form: &Form, prefix: &str, key: &str) -> Option<String> {
    let (spec, _) = form.field(&format!("{prefix}{key}"))?;
    Some(format!("\u{201c}{}\u{201d}", spec.label))
}

/// Lines of the file mean nothing on the form: the number or name of what stands there does.
fn without_lines(form: &Form, written: &Emitted, what: &str) -> String {
    let Some((before, number)) = what.split_once(" on line ") else {
        return what.to_owned();
    };
    let (digits, after) = number.split_at(number.find(|c: char| !c.is_ascii_digit()).unwrap_or(number.len()));
    let place = digits
        .parse::<usize>()
        .ok()
        .and_then(|line| written.slots.get(line.checked_sub(1)?));
    let owner = place.map_or_else(String::new, |slot| format!(" at {}", owner_name(form, &slot.prefix)));
    format!("{before}{owner}{after}")
}

/// What the tables under a prefix are called by people.
fn owner_name(form: &Form, prefix: &str) -> String {
    let digits: String = prefix.chars().skip(1).take_while(char::is_ascii_digit).collect();
    let letter = if prefix.starts_with('b') { 'b' } else { 'f' };
    let name = digits.parse().ok().and_then(|i| form.name_at(letter, i));
    name.unwrap_or_default()
}

/// The form without the tables that have errors, until what is left can be drawn.
fn without_what_is_wrong(form: &Form, written: &Emitted, found: &[Problem]) -> (Option<Exercise>, Vec<String>) {
    let mut form = form.clone();
    let mut left_out = Vec::new();
    let mut prefixes = wrong_tables(written, found);
    for _ in 0..ROUNDS {
        if !leave_out(&mut form, &prefixes, &mut left_out) {
            return (None, left_out);
        }
        let written = emit(&form);
        let (made, found) = file::read_draft(&written.text);
        if made.is_some() {
            left_out.dedup();
            return (made, left_out);
        }
        prefixes = wrong_tables(&written, &found);
    }
    (None, left_out)
}

fn wrong_tables(written: &Emitted, found: &[Problem]) -> Vec<String> {
    let errors = found.iter().filter(|p| p.severity == Severity::Error);
    let mut prefixes: Vec<String> = errors
        .filter_map(|p| slot(written, p))
        .map(|s| s.prefix.clone())
        .collect();
    prefixes.sort();
    prefixes.dedup();
    prefixes
}

/// Leaves the tables with these prefixes out, or puts what is usual in their place. False where the body itself is wrong.
fn leave_out(form: &mut Form, prefixes: &[String], left_out: &mut Vec<String>) -> bool {
    let wrong = |prefix: &str| prefixes.iter().any(|p| p == prefix);
    if wrong("body-") {
        return false;
    }
    if wrong("") {
        let unit = if text(&form.head, "units") == "inch" {
            "inch"
        } else {
            "mm"
        };
        let usual = [
            ("code", "X-0"),
            ("title", "-"),
            ("units", unit),
            ("decimals", "3"),
            ("general_tolerance", "±0.1"),
        ];
        form.head = usual.into_iter().map(|(k, v)| (k, v.to_owned())).collect();
    }
    if ["d0-", "d1-", "d2-"].iter().any(|p| wrong(p)) {
        propose_datums(form);
        left_out.push("the datum frame (the usual one is drawn)".to_owned());
    }
    if wrong("u-") {
        form.measurement = usual_measurement(text(&form.head, "units"));
    }
    if prefixes.iter().any(|p| p.starts_with('k') || p.starts_with('l')) {
        form.marks.clear();
        form.lines.clear();
    }
    keep(&mut form.mistaken, |i| !wrong(&format!("m{i}-")));
    let named = form.clone();
    for (letter, parts) in [('f', &mut form.features), ('b', &mut form.between)] {
        for (i, part) in parts.iter_mut().enumerate() {
            keep(&mut part.characteristics, |j| !wrong(&format!("{letter}{i}c{j}-")));
        }
        let gone = |i: usize| wrong(&format!("{letter}{i}-"));
        let those = (0..parts.len()).filter(|i| gone(*i));
        left_out.extend(those.filter_map(|i| named.name_at(letter, i)));
        keep(parts, |i| !gone(i));
    }
    form.between.retain(|b| !b.characteristics.is_empty());
    true
}

fn keep<T>(items: &mut Vec<T>, mut kept: impl FnMut(usize) -> bool) {
    let mut i = 0;
    items.retain(|_| {
        i += 1;
        kept(i - 1)
    });
}
