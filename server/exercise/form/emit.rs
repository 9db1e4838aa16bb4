//! The form as an exercise file, and which field stands on which line of it.

use super::number::{in_file, words};
use super::schema::{
    BODY, DIRECTIONS, HEAD, LINE, MARKS, MEASUREMENT, MISTAKEN, OTHER, Spec, Typed, of_kind, of_quantity,
};
use super::words::{DIAMETER_SIGNS, as_printed};
use super::{Fields, Form, Part, text};
use crate::exercise::file::quoted;

/// What stands on a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Slot {
    /// Beginning of the names of its table's fields.
    pub(super) prefix: String,
    /// Key of the field; of a header that of the field where problems of the whole table are told.
    pub(super) key: &'static str,
    /// Which place of several, from 0.
    pub(super) item: Option<usize>,
}

/// A written form.
#[derive(Debug, Default)]
pub(super) struct Emitted {
    pub(super) text: String,
    /// One for each line, from line 1.
    pub(super) slots: Vec<Slot>,
}

impl Emitted {
    fn line(&mut self, line: &str, prefix: &str, key: &'static str, item: Option<usize>) {
        self.text.push_str(line);
        self.text.push('\n');
        self.slots.push(Slot {
            prefix: prefix.to_owned(),
            key,
            item,
        });
    }

    fn header(&mut self, header: &str, prefix: &str, key: &'static str) {
        self.line("", prefix, key, None);
        self.line(header, prefix, key, None);
    }

    fn table<'s>(&mut self, prefix: &str, specs: impl IntoIterator<Item = &'s Spec>, fields: &Fields) {
        for spec in specs {
            self.field(prefix, spec, text(fields, spec.key));
        }
    }

    fn field(&mut self, prefix: &str, spec: &Spec, typed: &str) {
        let key = spec.key;
        if typed.trim().is_empty() && !spec.need {
            return;
        }
        if spec.typed == Typed::Places {
            self.places(prefix, key, typed);
            return;
        }
        let value = match spec.typed {
            Typed::Number if key == "diameter" => number(typed.trim().trim_start_matches(DIAMETER_SIGNS)),
            Typed::Number => number(typed),
            Typed::Place => list(typed, 3),
            Typed::Pair => list(typed, 2),
            Typed::Direction => direction(typed),
            // A code has capitals alone, however it is typed.
            _ if key == "code" => quoted(&typed.trim().to_uppercase()),
            _ if key == "follow_through" && typed == "false" => "false".to_owned(),
            _ => quoted(typed.trim()),
        };
        self.line(&format!("{key} = {value}"), prefix, key, None);
    }

    fn places(&mut self, prefix: &str, key: &'static str, typed: &str) {
        self.line(&format!("{key} = ["), prefix, key, None);
        let lines = typed.lines().filter(|l| !l.trim().is_empty());
        for (i, line) in lines.enumerate() {
            let numbers: Option<Vec<String>> = words(line).into_iter().map(in_file).collect();
            let value = match numbers {
                Some(numbers) if !numbers.is_empty() => format!("  [{}],", numbers.join(", ")),
                _ => format!("  [{}],", quoted(line.trim())),
            };
            self.line(&value, prefix, key, Some(i));
        }
        self.line("]", prefix, key, None);
    }
}

fn number(typed: &str) -> String {
    in_file(typed).unwrap_or_else(|| quoted(typed.trim()))
}

fn list(typed: &str, count: usize) -> String {
    let mut parts: Vec<&str> = typed.split('\t').collect();
    parts.resize(count.max(parts.len()), "");
    let values: Vec<String> = parts.into_iter().map(number).collect();
    format!("[{}]", values.join(", "))
}

fn direction(typed: &str) -> String {
    if let Some((_, v)) = DIRECTIONS.iter().find(|(word, _)| *word == typed.trim()) {
        let [x, y, z] = v;
        return format!("[{x}, {y}, {z}]");
    }
    let numbers = typed.trim().strip_prefix(OTHER).unwrap_or(typed);
    let parts = words(numbers).join("\t");
    list(&parts, 3)
}

/// The axis that a face sets.
fn sets(face: &str) -> &'static str {
    match face {
        "left" | "right" => "x",
        "front" | "back" => "y",
        _ => "z",
    }
}

pub(super) fn emit(form: &Form) -> Emitted {
    let mut out = Emitted::default();
    out.line("format = 1", "", "code", None);
    out.table("", HEAD, &form.head);
    out.header("[body]", "body-", "outline");
    let other = text(&form.body, "material") == OTHER;
    let left_out = if other { "material" } else { "expansion" };
    out.table("body-", BODY.iter().filter(|s| s.key != left_out), &form.body);
    datums(form, &mut out);
    for (i, fields) in form.mistaken.iter().enumerate() {
        let prefix = format!("m{i}-");
        out.header("[[mistaken_surface]]", &prefix, "name");
        out.table(&prefix, MISTAKEN, fields);
    }
    out.header("[measurement]", "u-", "expanded_uncertainty");
    out.table("u-", MEASUREMENT, &form.measurement);
    marks(form, &mut out);
    for (i, part) in form.features.iter().enumerate() {
        feature(i, part, &mut out);
    }
    for (i, part) in form.between.iter().enumerate() {
        between(i, part, &mut out);
    }
    out
}

fn datums(form: &Form, out: &mut Emitted) {
    out.header("[datum_frame]", "d0-", "letter");
    let mut before: Vec<&str> = Vec::new();
    for (i, fields) in form.datums.iter().enumerate() {
        let prefix = format!("d{i}-");
        let letter = text(fields, "letter").trim();
        // A letter that stands twice is no key of a file; the stroke says so and is taken off when it is read.
        let strokes = "'".repeat(before.iter().filter(|b| **b == letter).count());
        before.push(letter);
        out.header(
            &format!("[datum_frame.{}]", quoted(&format!("{letter}{strokes}"))),
            &prefix,
            "letter",
        );
        let face = text(fields, "face");
        out.line(&format!("face = {}", quoted(face)), &prefix, "face", None);
        out.line(&format!("sets = {}", quoted(sets(face))), &prefix, "face", None);
        out.line(&format!("at = {}", number(text(fields, "at"))), &prefix, "at", None);
        out.places(&prefix, "touches", text(fields, "touches"));
    }
}

fn marks(form: &Form, out: &mut Emitted) {
    if form.marks.values().all(|v| v.trim().is_empty()) && form.lines.is_empty() {
        return;
    }
    out.header("[marks]", "k-", "decision_rule");
    let fitness = text(&form.marks, "score") == "fitness";
    out.table(
        "k-",
        MARKS.iter().filter(|s| fitness || s.key != "fitness"),
        &form.marks,
    );
    for (i, fields) in form.lines.iter().enumerate() {
        let prefix = format!("l{i}-");
        out.header("[[marks.line]]", &prefix, "name");
        out.table(&prefix, LINE, fields);
    }
}

fn feature(i: usize, part: &Part, out: &mut Emitted) {
    let prefix = format!("f{i}-");
    let kind = part.text("kind");
    out.header("[[feature]]", &prefix, "name");
    out.table(&prefix, of_kind(kind), &part.fields);
    for (j, fields) in part.characteristics.iter().enumerate() {
        characteristic("feature", &format!("f{i}c{j}-"), kind, fields, out);
    }
}

fn between(i: usize, part: &Part, out: &mut Emitted) {
    let prefix = format!("b{i}-");
    out.header("[[between]]", &prefix, "first");
    out.line(
        &format!("key = {}", quoted(part.text("key").trim())),
        &prefix,
        "key",
        None,
    );
    out.line("features = [", &prefix, "first", None);
    for key in ["first", "second"] {
        out.line(&format!("  {},", quoted(part.text(key).trim())), &prefix, key, None);
    }
    out.line("]", &prefix, "second", None);
    for (j, fields) in part.characteristics.iter().enumerate() {
        characteristic("between", &format!("b{i}c{j}-"), "", fields, out);
    }
}

fn characteristic(table: &str, prefix: &str, kind: &str, fields: &Fields, out: &mut Emitted) {
    out.header(&format!("[[{table}.characteristic]]"), prefix, "no");
    let mut fields = fields.clone();
    let of = text(&fields, "of").to_owned();
    if let Some(tolerance) = fields.get_mut("tolerance") {
        *tolerance = as_printed(tolerance, &of);
    }
    let fields = &fields;
    // A datum that is not chosen yet is missing, which the reader says better than that it is no letter.
    let empty_datum = text(fields, "datum").is_empty();
    let specs = of_quantity(&of, kind);
    out.table(
        prefix,
        specs.into_iter().filter(|s| !(s.key == "datum" && empty_datum)),
        fields,
    );
}
