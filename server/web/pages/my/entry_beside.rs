//! What report entry asks beside the numbers: the set-up record, remarks, a photo or PDF.

use super::entry::Back;
use super::entry_form::{Form, PLATE, REMARKS};
use crate::actions::hand_in_report::NotInIt;
use crate::exercise::model::{Exercise, Face};
use crate::store::assignments::Mine;
use crate::store::evidence;
use crate::units::{LengthUnit, show_number};
use crate::web::app::App;
use crate::web::errors::WebError;

/// The set-up record, remarks and evidence of the page.
#[derive(Debug)]
pub(super) struct Beside {
    pub(super) datums: Vec<Choice>,
    pub(super) tip: Line,
    pub(super) unit: Choice,
    pub(super) temperature: Line,
    pub(super) remarks: String,
    /// Serial of another plate, as typed.
    pub(super) plate: String,
    pub(super) plate_mend: String,
    pub(super) files: Vec<(i64, String)>,
    pub(super) evidence_mend: String,
    pub(super) open: bool,
}

/// A choice from a list.
#[derive(Debug)]
pub(super) struct Choice {
    pub(super) name: String,
    pub(super) label: String,
    pub(super) chosen: String,
    pub(super) options: Vec<(&'static str, &'static str)>,
    pub(super) mend: String,
}

/// A line to write on.
#[derive(Debug)]
pub(super) struct Line {
    pub(super) label: String,
    pub(super) value: String,
    pub(super) mend: String,
}

impl Beside {
    pub(super) async fn of(
        app: &App,
        mine: &Mine,
        exercise: &Exercise,
        form: &Form,
        back: &Back,
    ) -> Result<Self, WebError> {
        let of = evidence::Of {
            assignment: mine.assignment.id,
            pair: mine.pair,
            attempt: mine.handed_in + 1,
        };
        let files = evidence::of(&app.service.store, of).await?;
        let typed = |name: &str| form.beside.get(name).cloned().unwrap_or_default();
        let mend = |name: &str| {
            let found = back.set_up.iter().find(|o| o.field == name);
            found.map(|o| o.text.clone()).unwrap_or_default()
        };
        let frame = &exercise.datum_frame;
        let datum = |d: &crate::exercise::model::Datum| {
            let name = format!("s-{}", d.letter);
            let faces = Face::ALL.iter().map(|(word, _)| (*word, *word));
            Choice {
                label: format!("Datum {}: face that was touched", d.letter),
                chosen: typed(&name),
                options: std::iter::once(("", "not noted"))
                    .chain(faces)
                    .chain([("other", "another surface")])
                    .collect(),
                mend: mend(&name),
                name,
            }
        };
        let unit = exercise.units;
        let asked = show_number(exercise.measurement.tip_diameter.normalize());
        let line = |name: &str, label: String| Line {
            label,
            value: typed(name),
            mend: mend(name),
        };
        Ok(Self {
            datums: [&frame.primary, &frame.secondary, &frame.tertiary].map(datum).into(),
            tip: line("s-tip", format!("Diameter of the tip, {unit} (the sheet: {asked})")),
            unit: Choice {
                name: "s-unit".to_owned(),
                label: "Unit that the machine showed".to_owned(),
                chosen: typed("s-unit"),
                options: vec![
                    ("", "not noted"),
                    (LengthUnit::Mm.as_str(), "mm"),
                    (LengthUnit::Inch.as_str(), "inch"),
                ],
                mend: mend("s-unit"),
            },
            temperature: line("s-temperature", "Temperature of the plate, \u{b0}C".to_owned()),
            remarks: typed(REMARKS),
            plate: typed(PLATE),
            plate_mend: back.plate_mend.clone(),
            files: files.into_iter().map(|f| (f.id.0, f.name)).collect(),
            evidence_mend: back.evidence_mend.clone(),
            open: !back.set_up.is_empty()
                || !back.evidence_mend.is_empty()
                || !back.said_of_photo.is_empty()
                || back.is_of_other_words(),
        })
    }

    /// The remarks and what is noted of the setting up, as far as wanted, as one text.
    pub(super) fn words(&self, wanted: NotInIt) -> String {
        let mut lines = Vec::new();
        if wanted.remarks {
            lines.push(self.remarks.trim().to_owned());
        }
        if wanted.set_up {
            let choices = self.datums.iter().chain([&self.unit]);
            let noted = choices.map(|c| (&c.label, &c.chosen));
            let noted = noted.chain([&self.tip, &self.temperature].map(|l| (&l.label, &l.value)));
            let noted = noted.filter(|(_, value)| !value.trim().is_empty());
            lines.extend(noted.map(|(label, value)| format!("{label}: {}", value.trim())));
        }
        lines.join("\n")
    }
}
