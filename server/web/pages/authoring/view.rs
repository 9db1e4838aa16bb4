//! The form as the page shows it: every field with its label, its choices and what is to be mended at it.

use std::collections::BTreeMap;

use crate::exercise::file::Severity;
use crate::exercise::form::{
    AtField, BETWEEN, BETWEEN_QUANTITIES, BODY, DATUM, DIRECTIONS, Fields, Form, HEAD, LINE, MARKS, MEASUREMENT,
    MISTAKEN, OTHER, Part, Spec, Typed, direction_parts, of_kind, of_quantity, quantities_of_kind, text, usual_side,
};
use crate::exercise::model::Quantity;
use crate::units::capital;

/// What is said at a field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::web) struct Said {
    /// Whether it is only to be looked at.
    pub(in crate::web) warning: bool,
    /// What is wrong and how to mend it.
    pub(in crate::web) text: String,
}

/// One input of a field that has several.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::web) struct Input {
    pub(in crate::web) name: String,
    pub(in crate::web) label: &'static str,
    pub(in crate::web) value: String,
}

/// A field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::web) struct Field {
    pub(in crate::web) name: String,
    pub(in crate::web) label: String,
    pub(in crate::web) hint: &'static str,
    pub(in crate::web) example: String,
    /// `text`, `number`, `lines`, `parts`, `choice` or `direction`.
    pub(in crate::web) how: &'static str,
    pub(in crate::web) value: String,
    /// Inputs of one that has several.
    pub(in crate::web) parts: Vec<Input>,
    /// Choices: value and words.
    pub(in crate::web) options: Vec<(String, String)>,
    pub(in crate::web) said: Vec<Said>,
    /// Whether something must be mended.
    pub(in crate::web) wrong: bool,
    /// Whether the page opens with the cursor here.
    pub(in crate::web) here: bool,
    /// Whether it may not be changed.
    pub(in crate::web) fixed: bool,
}

impl Field {
    /// Classes of its wrapper.
    pub(in crate::web) fn classes(&self) -> String {
        format!("field by-{}{}", self.how, if self.wrong { " wrong" } else { "" })
    }
}

/// A table of fields.
#[derive(Debug, Clone, Default)]
pub(in crate::web) struct Table {
    /// As in `m0`.
    pub(in crate::web) name: String,
    pub(in crate::web) fields: Vec<Field>,
    /// Fields that are seldom needed.
    pub(in crate::web) more: Vec<Field>,
    /// Whether those are shown from the beginning.
    pub(in crate::web) open: bool,
    /// What follows from it: limits, uncertainty.
    pub(in crate::web) follows: Vec<String>,
}

/// A feature or pair with its characteristics.
#[derive(Debug, Clone)]
pub(in crate::web) struct PartView {
    pub(in crate::web) own: Table,
    pub(in crate::web) title: String,
    pub(in crate::web) characteristics: Vec<Table>,
}

/// The whole form.
#[derive(Debug)]
pub(in crate::web) struct FormView {
    pub(in crate::web) head: Table,
    pub(in crate::web) body: Table,
    pub(in crate::web) datums: Vec<Table>,
    pub(in crate::web) mistaken: Vec<Table>,
    pub(in crate::web) measurement: Table,
    pub(in crate::web) marks: Table,
    pub(in crate::web) lines: Vec<Table>,
    pub(in crate::web) features: Vec<PartView>,
    pub(in crate::web) between: Vec<PartView>,
    /// Names of all fields in a short form: pages with the same one differ in what stands in them only.
    pub(in crate::web) shape: String,
}

/// What the fields are shown with.
pub(super) struct Maker<'m> {
    pub(super) form: &'m Form,
    said: BTreeMap<&'m str, Vec<Said>>,
    pub(super) here: &'m str,
    /// Whether the code stays.
    pub(super) published: bool,
    /// By balloon number: what follows.
    pub(super) follows: BTreeMap<String, Vec<String>>,
}

impl<'m> Maker<'m> {
    pub(super) fn new(form: &'m Form, problems: &'m [AtField], here: &'m str) -> Self {
        let mut said: BTreeMap<&str, Vec<Said>> = BTreeMap::new();
        for problem in problems {
            let label = form.field(&problem.field).map_or("", |(spec, _)| spec.label);
            said.entry(problem.field.as_str()).or_default().push(Said {
                warning: problem.severity == Severity::Warning,
                text: sentence(problem, label),
            });
        }
        Self {
            form,
            said,
            here,
            published: false,
            follows: BTreeMap::new(),
        }
    }

    fn field(&self, prefix: &str, spec: &Spec, fields: &Fields, quantities: &[&str]) -> Field {
        let name = format!("{prefix}{}", spec.key);
        let value = text(fields, spec.key).to_owned();
        let said = self.said.get(name.as_str()).cloned().unwrap_or_default();
        let part = |i: usize, label: &'static str| Input {
            name: format!("{name}-{i}"),
            label,
            value: value.split('\t').nth(i).unwrap_or("").to_owned(),
        };
        let (how, parts, options) = match spec.typed {
            Typed::Text => ("text", Vec::new(), Vec::new()),
            Typed::Number => ("number", Vec::new(), Vec::new()),
            Typed::Places => ("lines", Vec::new(), Vec::new()),
            Typed::Place => ("parts", vec![part(0, "X"), part(1, "Y"), part(2, "Z")], Vec::new()),
            Typed::Pair => ("parts", vec![part(0, "along"), part(1, "across")], Vec::new()),
            Typed::Direction => {
                let other = Input {
                    name: format!("{name}-other"),
                    label: "another, as three numbers",
                    value: direction_parts(&value).1.to_owned(),
                };
                ("direction", vec![other], directions(spec.need, value.is_empty()))
            }
            Typed::Choice(all) => ("choice", Vec::new(), chosen(all, spec, &value)),
            Typed::Datum => (
                "choice",
                Vec::new(),
                with_empty(self.form.letters().into_iter().map(same), &value),
            ),
            Typed::Quantity => (
                "choice",
                Vec::new(),
                with_empty(quantities.iter().copied().map(same), &value),
            ),
            Typed::Feature => {
                let all = self.form.features.iter().map(|f| (f.text("key").to_owned(), f.name()));
                ("choice", Vec::new(), with_empty(all, &value))
            }
        };
        Field {
            how,
            parts,
            options,
            label: spec.label.to_owned(),
            hint: spec.hint,
            example: self.example(spec, fields),
            value: shown_value(spec, fields, value),
            wrong: said.iter().any(|s| !s.warning),
            said,
            here: self.here == name,
            fixed: self.published && name == "code",
            name,
        }
    }

    /// What an empty field shows: the general tolerance where it holds, otherwise how the field is written.
    fn example(&self, spec: &Spec, fields: &Fields) -> String {
        let general = text(&self.form.head, "general_tolerance").trim();
        let length = Quantity::ALL.iter().find(|(word, _)| *word == text(fields, "of"));
        let holds = length.is_some_and(|(_, q)| !q.is_geometrical() && !q.is_angle());
        if spec.key == "tolerance" && holds && !general.is_empty() {
            return format!("general {general}");
        }
        if spec.key == "tolerance" && length.is_some_and(|(_, q)| q.is_geometrical()) {
            return "max 0.05".to_owned();
        }
        spec.example.to_owned()
    }

    fn table<'s>(&self, prefix: &str, specs: impl IntoIterator<Item = &'s Spec>, fields: &Fields) -> Table {
        Table {
            name: prefix.trim_end_matches('-').to_owned(),
            fields: specs.into_iter().map(|s| self.field(prefix, s, fields, &[])).collect(),
            ..Table::default()
        }
    }

    /// With these keys under "more", open where something stands in one of them or is wrong there.
    fn set_aside(mut table: Table, keys: &[&str]) -> Table {
        let aside = |f: &Field| keys.iter().any(|k| f.name.ends_with(&format!("-{k}")));
        let (more, fields): (Vec<Field>, Vec<Field>) = table.fields.into_iter().partition(aside);
        table.open = more.iter().any(|f| f.wrong || f.here || !f.said.is_empty());
        table.fields = fields;
        table.more = more;
        table
    }

    fn part(&self, letter: char, i: usize, part: &Part) -> PartView {
        let prefix = format!("{letter}{i}-");
        let kind = part.text("kind");
        let between = letter == 'b';
        let specs: Vec<&Spec> = if between {
            BETWEEN.iter().collect()
        } else {
            of_kind(kind)
        };
        let quantities = if between {
            BETWEEN_QUANTITIES
        } else {
            quantities_of_kind(kind)
        };
        let own = Self::set_aside(self.table(&prefix, specs, &part.fields), &["key", "points"]);
        let measured = part.characteristics.iter().enumerate();
        PartView {
            title: self.form.name_at(letter, i).unwrap_or_default(),
            own,
            characteristics: measured
                .map(|(j, f)| self.characteristic(&format!("{letter}{i}c{j}-"), f, kind, quantities))
                .collect(),
        }
    }

    fn characteristic(&self, prefix: &str, fields: &Fields, kind: &str, quantities: &[&str]) -> Table {
        let specs = of_quantity(text(fields, "of"), kind);
        let made = Table {
            name: prefix.trim_end_matches('-').to_owned(),
            fields: specs
                .into_iter()
                .map(|s| self.field(prefix, s, fields, quantities))
                .collect(),
            follows: self.follows.get(text(fields, "no").trim()).cloned().unwrap_or_default(),
            ..Table::default()
        };
        Self::set_aside(made, &["nominal", "weight", "expanded_uncertainty", "criterion"])
    }

    /// The whole form.
    pub(super) fn view(&self) -> FormView {
        let form = self.form;
        let other = text(&form.body, "material") == OTHER;
        let fitness = text(&form.marks, "score") == "fitness";
        let many = |letter: &str, specs: &'static [Spec], all: &[Fields]| -> Vec<Table> {
            let table = |(i, f): (usize, &Fields)| self.table(&format!("{letter}{i}-"), specs, f);
            all.iter().enumerate().map(table).collect()
        };
        let parts = |letter: char, all: &[Part]| -> Vec<PartView> {
            all.iter().enumerate().map(|(i, p)| self.part(letter, i, p)).collect()
        };
        let mut view = FormView {
            head: self.table("", HEAD, &form.head),
            body: self.table(
                "body-",
                BODY.iter().filter(|s| other || s.key != "expansion"),
                &form.body,
            ),
            datums: many("d", DATUM, &form.datums),
            mistaken: many("m", MISTAKEN, &form.mistaken),
            measurement: self.table("u-", MEASUREMENT, &form.measurement),
            marks: self.table(
                "k-",
                MARKS.iter().filter(|s| fitness || s.key != "fitness"),
                &form.marks,
            ),
            lines: many("l", LINE, &form.lines),
            features: parts('f', &form.features),
            between: parts('b', &form.between),
            shape: String::new(),
        };
        view.marks.open = view.marks.fields.iter().any(|f| f.wrong || f.here);
        view.shape = shape(&view);
        view
    }
}

/// What is said at a field, which has its label above it already.
fn sentence(problem: &AtField, label: &str) -> String {
    let what = problem
        .what
        .strip_prefix(label)
        .and_then(|rest| rest.strip_prefix(": "));
    format!("{}. {}", capital(what.unwrap_or(&problem.what)), problem.mend)
}

fn same(word: &str) -> (String, String) {
    (word.to_owned(), word.to_owned())
}

/// Choices of a direction; one that is needed and not chosen yet has none that looks chosen.
fn directions(need: bool, empty: bool) -> Vec<(String, String)> {
    let words = [
        ("up", "up"),
        ("down", "down"),
        ("left", "to the left"),
        ("right", "to the right"),
        ("front", "to the front"),
        ("back", "to the back"),
        (OTHER, "another way"),
    ];
    let unchosen = match (need, empty) {
        (false, _) => Some((String::new(), "along Z".to_owned())),
        (true, true) => Some((String::new(), "choose".to_owned())),
        (true, false) => None,
    };
    debug_assert_eq!(words.len(), DIRECTIONS.len() + 1);
    unchosen
        .into_iter()
        .chain(words.map(|(v, w)| (v.to_owned(), w.to_owned())))
        .collect()
}

/// Choices with an empty one, and with what stands there though it is none of them.
fn with_empty(all: impl Iterator<Item = (String, String)>, value: &str) -> Vec<(String, String)> {
    let mut options = vec![(String::new(), "choose".to_owned())];
    options.extend(all.filter(|(v, _)| !v.is_empty()));
    if !options.iter().any(|(v, _)| v == value) {
        options.push((value.to_owned(), format!("{value} (not here)")));
    }
    options
}

fn chosen(all: &[(&'static str, &'static str)], spec: &Spec, value: &str) -> Vec<(String, String)> {
    let mut options: Vec<(String, String)> = all.iter().map(|(v, w)| ((*v).to_owned(), (*w).to_owned())).collect();
    let known = options.iter().any(|(v, _)| v == value);
    if spec.need && value.is_empty() {
        options.insert(0, (String::new(), "choose".to_owned()));
    } else if !known && !value.is_empty() {
        options.push((value.to_owned(), format!("{value} (not known)")));
    }
    options
}

/// What the input shows: a side that is not stated is the usual one of the kind, a direction is its word.
fn shown_value(spec: &Spec, fields: &Fields, value: String) -> String {
    if spec.key == "side" && value.is_empty() {
        return usual_side(text(fields, "kind")).to_owned();
    }
    if spec.typed == Typed::Direction {
        return direction_parts(&value).0.to_owned();
    }
    value
}

/// Names of all fields, folded to a short word (FNV-1a, 64 bits).
fn shape(view: &FormView) -> String {
    let tables = [&view.head, &view.body, &view.measurement, &view.marks].into_iter();
    let tables = tables.chain(&view.datums).chain(&view.mistaken).chain(&view.lines);
    let parts = view.features.iter().chain(&view.between);
    let of_parts = parts.flat_map(|p| std::iter::once(&p.own).chain(&p.characteristics));
    let mut folded: u64 = 0xcbf2_9ce4_8422_2325;
    for table in tables.chain(of_parts) {
        for field in table.fields.iter().chain(&table.more) {
            let options = field.options.iter().flat_map(|(v, _)| v.bytes());
            for byte in field.name.bytes().chain(options).chain([b' ']) {
                folded = (folded ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
            }
        }
    }
    format!("{folded:016x}")
}
