//! The fields of report entry, as they came from the draft or from the browser.

use std::collections::{BTreeMap, BTreeSet};

use super::entry::Back;
use crate::actions::keep_draft::Sent;
use crate::exercise::model::Exercise;
use crate::report::assemble::{self, Field, FromForm};
use crate::report::check::with_other_unit;
use crate::report::draft::{Base, Written};
use crate::report::entry::{self, NotFilled};
use crate::report::model::Report;
use crate::report::setup_record::{Otherwise, SetUp};
use crate::report::table::{DecimalMark, MustAsk, ReadOptions, Reading, Role};
use crate::store::reports::SourceKind;
use crate::units::{capital, hex, unhex};
use crate::web::upload::{File, Upload};

/// Most bytes of a source that travel with the form until it is handed in.
const SOURCE_BYTES: usize = 200_000;

/// One way in which numbers can be read, to choose.
#[derive(Debug)]
pub(super) struct Ask {
    pub(super) value: &'static str,
    pub(super) words: String,
    pub(super) chosen: bool,
}

/// What was typed, pasted and chosen.
#[derive(Debug, Default)]
pub(super) struct Form {
    pub(super) fields: Vec<Field>,
    pub(super) attempt: i64,
    pub(super) key: String,
    pub(super) pasted: String,
    /// More was pasted than is read at all, and so it is not in `pasted`.
    pasted_too_long: bool,
    /// A table that was put into the fields before, in hexadecimal, so that it is kept with the report as it came.
    pub(super) source_hex: String,
    pub(super) source_name: String,
    file: Option<File>,
    decimal: String,
    columns: String,
    /// Remarks and the set-up record, by field.
    pub(super) beside: BTreeMap<String, String>,
    /// What the page came with; none where it did not say.
    base: Option<Base>,
    /// Which of two partners' texts counts, by field.
    chosen: BTreeMap<String, String>,
    /// Fields that the page has; none is all of them. What a page does not have it does not empty.
    present: Option<BTreeSet<String>>,
}

/// Field of the plate that was measured, where it is another than the pair's own.
pub(super) const PLATE: &str = "plate";
/// Field of the remarks.
pub(super) const REMARKS: &str = "remarks";

/// Names of the fields beside the table.
pub(super) fn beside_names(exercise: &Exercise) -> Vec<String> {
    let frame = &exercise.datum_frame;
    let datums = [&frame.primary, &frame.secondary, &frame.tertiary];
    let mut names: Vec<String> = datums.iter().map(|d| format!("s-{}", d.letter)).collect();
    names.extend(["s-tip", "s-unit", "s-temperature", REMARKS, PLATE].map(str::to_owned));
    names
}

impl Form {
    pub(super) fn of_draft(exercise: &Exercise, draft: BTreeMap<String, String>, attempt: i64) -> Self {
        Self {
            fields: fields(exercise, |name| draft.get(name).cloned()),
            beside: draft
                .into_iter()
                .filter(|(name, _)| is_beside(exercise, name))
                .collect(),
            attempt,
            ..Self::default()
        }
    }

    pub(super) fn of_upload(exercise: &Exercise, upload: &Upload, next_attempt: i64) -> Self {
        let own = |name: &str| upload.field(name).to_owned();
        let sent = upload.fields.iter();
        let chosen = sent
            .clone()
            .filter_map(|(name, text)| Some((name.strip_prefix("pick-")?.to_owned(), text.clone())));
        Self {
            beside: sent
                .filter(|(name, _)| is_beside(exercise, name))
                .map(|(name, text)| (name.clone(), text.clone()))
                .collect(),
            base: serde_json::from_str(upload.field("base")).ok(),
            chosen: chosen.collect(),
            present: Some(upload.fields.keys().cloned().collect()),
            fields: fields(exercise, |name| Some(own(name))),
            attempt: upload.field("attempt").parse().unwrap_or(next_attempt),
            key: own("key"),
            pasted: own("pasted"),
            pasted_too_long: upload.too_long.iter().any(|name| name == "pasted"),
            source_hex: own("source"),
            source_name: own("source_name"),
            file: upload.file("table").cloned(),
            decimal: own("decimal"),
            columns: own("columns"),
        }
    }

    /// What is sent to be kept.
    pub(super) fn sent(&self) -> Sent {
        let mut fields = self.draft();
        if let Some(present) = &self.present {
            fields.retain(|name, _| present.contains(name));
        }
        Sent {
            fields,
            base: self.base.clone(),
            chosen: self.chosen.clone(),
        }
    }

    /// The form as the draft is now, with what a partner wrote meanwhile.
    pub(super) fn take(&mut self, exercise: &Exercise, written: &Written) {
        self.fields = fields(exercise, |name| written.fields.get(name).cloned());
        for (name, text) in &written.fields {
            if is_beside(exercise, name) {
                self.beside.insert(name.clone(), text.clone());
            }
        }
        self.base = Some(written.base());
        self.chosen.clear();
        self.present = None;
    }

    /// What the page comes with, for the page itself.
    pub(super) fn base_text(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string(&self.base.clone().unwrap_or_default())
    }

    /// Puts the other unit behind the values of these numbers, as the pair says that it read them.
    pub(super) fn say_other_unit(&mut self, exercise: &Exercise, nos: &[String]) {
        for field in self.fields.iter_mut().filter(|f| nos.contains(&f.no)) {
            field.measured = with_other_unit(exercise, &field.measured);
        }
    }

    /// What is said of how the plate was set up.
    pub(super) fn set_up(&self, exercise: &Exercise) -> Result<SetUp, Vec<Otherwise>> {
        SetUp::from_fields(exercise, |name| self.beside.get(name).cloned().unwrap_or_default())
    }

    /// Serial of the plate that was measured, as typed; empty: the pair's own.
    pub(super) fn plate(&self) -> &str {
        self.beside.get(PLATE).map_or("", String::as_str).trim()
    }

    /// The fields for the draft.
    fn draft(&self) -> BTreeMap<String, String> {
        let both = |f: &Field| {
            [
                (format!("m-{}", f.no), f.measured.clone()),
                (format!("c-{}", f.no), f.call.clone()),
            ]
        };
        let beside = self.beside.iter().map(|(name, text)| (name.clone(), text.clone()));
        self.fields.iter().flat_map(both).chain(beside).collect()
    }

    /// Whether a table stands beside the fields.
    pub(super) fn has_table(&self) -> bool {
        self.file.is_some() || self.pasted_too_long || !self.pasted.trim().is_empty()
    }

    fn options(&self) -> ReadOptions {
        let role = |word: &str| match word {
            "no" => Some(Role::Label),
            "name" => Some(Role::Name),
            "nominal" => Some(Role::Nominal),
            "measured" => Some(Role::Measured),
            "call" => Some(Role::Call),
            _ => None,
        };
        let columns = (!self.columns.is_empty()).then(|| self.columns.split(',').map(role).collect());
        ReadOptions {
            decimal: DecimalMark::parse_word(&self.decimal),
            columns,
            ..ReadOptions::default()
        }
    }

    /// The table beside the fields and its name, or what is wrong with it before it is read.
    fn table(&self) -> Result<(Vec<u8>, String), Box<Back>> {
        let file_mend = |text: &str| {
            Box::new(Back {
                file_mend: text.to_owned(),
                ..Back::default()
            })
        };
        let pasted_mend = |text: &str| {
            Box::new(Back {
                pasted_mend: text.to_owned(),
                ..Back::default()
            })
        };
        if self.pasted_too_long {
            return Err(pasted_mend(
                "The pasted table is too long to be read here. Save it as CSV and choose it as a file.",
            ));
        }
        match &self.file {
            Some(file) if file.too_big => Err(file_mend(
                "The file is bigger than 8 MB. A report has some kilobytes: save the table alone as CSV and choose that file.",
            )),
            Some(_) if !self.pasted.trim().is_empty() => Err(pasted_mend(
                "A table is pasted and a file is chosen, and only one can count. Clear this field, or send the page again without the file.",
            )),
            Some(file) => Ok((file.bytes.clone(), file.name.clone())),
            None if self.pasted.trim().is_empty() => Err(pasted_mend(
                "Nothing is pasted and no file is chosen. Paste the table here, or choose a CSV file.",
            )),
            None => Ok((self.pasted.clone().into_bytes(), String::new())),
        }
    }

    /// Puts the table into the fields; what came of it.
    pub(super) fn read_table(&mut self, exercise: &Exercise) -> Back {
        let mut back = match self.table() {
            Ok((bytes, name)) => self.fill(exercise, &bytes, name),
            Err(back) => *back,
        };
        // A browser never sends a file twice of its own accord.
        if back.is_wrong() && self.file.is_some() {
            back.said
                .push("The file was not taken: choose it again when you send the page.".to_owned());
        }
        back
    }

    fn fill(&mut self, exercise: &Exercise, bytes: &[u8], name: String) -> Back {
        match entry::fill(exercise, &self.fields, bytes, &self.options(), None) {
            Ok(filled) => {
                self.fields = filled.fields;
                self.keep_source(bytes, name);
                let values = if filled.values == 1 {
                    "1 value was".to_owned()
                } else {
                    format!("{} values were", filled.values)
                };
                let mut said = vec![format!(
                    "{values} put into the table below. Look them over, then hand in."
                )];
                said.extend(filled.notes.into_iter().map(|n| {
                    n.line
                        .map_or_else(|| n.text.clone(), |l| format!("Line {l}: {}", n.text))
                }));
                Back {
                    said,
                    ..Back::default()
                }
            }
            Err(why) => self.not_filled(why),
        }
    }

    fn keep_source(&mut self, bytes: &[u8], name: String) {
        self.pasted = String::new();
        self.file = None;
        self.source_hex = if bytes.len() <= SOURCE_BYTES {
            hex(bytes)
        } else {
            String::new()
        };
        self.source_name = name;
    }

    fn not_filled(&self, why: NotFilled) -> Back {
        let mut back = Back::default();
        match why {
            NotFilled::Refused(refusal) if self.file.is_some() => back.file_mend = capital(&refusal.to_string()),
            NotFilled::Refused(refusal) => back.pasted_mend = capital(&refusal.to_string()),
            NotFilled::Points => {
                back.pasted_mend =
                    "These are probed points. A report needs the columns no, measured and call.".to_owned()
            }
            NotFilled::Ask(MustAsk::DecimalMark, readings) => back.ask = self.ask(&readings),
            NotFilled::Ask(MustAsk::Columns, _) => back.ask_columns = true,
            NotFilled::Ask(MustAsk::Delimiter, _) => {
                back.pasted_mend = "The cells could be separated in more than one way. Save the table with semicolons between the cells and send it again.".to_owned();
            }
            NotFilled::Problems(problems) => back.problems = problems,
        }
        back
    }

    fn ask(&self, readings: &[Reading]) -> Vec<Ask> {
        let way = |reading: &Reading| {
            let mark = reading.decimal?;
            let example: Vec<&str> = reading.values.iter().flatten().take(3).map(String::as_str).collect();
            let words = match mark {
                DecimalMark::Point => format!("decimal point: the values are {}", example.join(", ")),
                DecimalMark::Comma => format!("decimal comma: the values are {}", example.join(", ")),
                DecimalMark::Mixed => format!("each number by its own mark: the values are {}", example.join(", ")),
            };
            Some(Ask {
                value: mark.as_str(),
                words,
                chosen: self.decimal == mark.as_str(),
            })
        };
        readings.iter().filter_map(way).collect()
    }

    /// The report of the fields.
    pub(super) fn report(&self, exercise: &Exercise) -> Result<Report, Box<Back>> {
        let back = match assemble::from_form(exercise, &self.fields, &self.options()) {
            FromForm::Report(assembled) => return Ok(assembled.report),
            FromForm::Problems(problems) => Back {
                problems,
                ..Back::default()
            },
            FromForm::AskDecimalMark(readings) => Back {
                ask: self.ask(&readings),
                ..Back::default()
            },
        };
        Err(Box::new(back))
    }

    /// How the report came in, and the bytes that are kept with it.
    pub(super) fn source(&self, report: &Report) -> Result<(SourceKind, Vec<u8>), serde_json::Error> {
        match (unhex(&self.source_hex), self.source_name.is_empty()) {
            (Some(bytes), false) => Ok((SourceKind::Csv, bytes)),
            (Some(bytes), true) => Ok((SourceKind::Paste, bytes)),
            (None, _) => Ok((SourceKind::Form, serde_json::to_vec(report)?)),
        }
    }

    /// Name of the file that the report came in.
    pub(super) fn source_name(&self) -> Option<&str> {
        (!self.source_name.is_empty()).then_some(self.source_name.as_str())
    }
}

fn is_beside(exercise: &Exercise, name: &str) -> bool {
    beside_names(exercise).iter().any(|n| n == name)
}

fn fields(exercise: &Exercise, typed: impl Fn(&str) -> Option<String>) -> Vec<Field> {
    let field = |no: &str| Field {
        no: no.to_owned(),
        measured: typed(&format!("m-{no}")).unwrap_or_default(),
        call: typed(&format!("c-{no}")).unwrap_or_default(),
    };
    exercise.characteristics.iter().map(|c| field(c.no.as_str())).collect()
}
