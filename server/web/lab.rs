//! The lab sheet: drawing, setting up, cautions, and blanks to write into; made to be printed, for a pair and for instructors.

use std::sync::Arc;

use askama::Template;

use crate::exercise::model::{Axis, Datum, Exercise, Face};
use crate::metrology::conformity::DecisionRule;
use crate::store::ids::ExerciseRevisionId;
use crate::units::show_number;

use super::app::App;
use super::errors::WebError;
use super::frame::Frame;
use super::paper::Paper;
use super::sheet::{self, SheetRow};

/// What the sheet and the site say to be careful of.
pub(in crate::web) const CAUTIONS: [&str; 4] = [
    "Deburr and clean the plate before handling it; mind sharp edges and compressed air, and lift with care.",
    "Mind pinch points and moving axes; keep hands clear of a machine that is switched on.",
    "The rules of this shop, the instructions of the machine's maker and your instructor outrank anything printed here.",
    "Training marks are not a calibration certificate and accept no product.",
];

#[derive(Debug, Template)]
#[template(path = "lab_sheet.html")]
pub(in crate::web) struct LabSheet {
    frame: Frame,
    paper: Paper,
    /// Path of this page for the other paper.
    here: String,
    back: (String, &'static str),
    code: String,
    title: String,
    unit: &'static str,
    phone: String,
    desk: String,
    pages: Vec<String>,
    notes: String,
    steps: Vec<String>,
    cautions: [&'static str; 4],
    rule: Option<String>,
    rows: Vec<SheetRow>,
    by_hand: Vec<String>,
    cells: Vec<(&'static str, String)>,
}

/// What differs from who asks to who asks.
pub(in crate::web) struct Asked {
    pub(in crate::web) frame: Frame,
    pub(in crate::web) revision: ExerciseRevisionId,
    pub(in crate::web) paper: Paper,
    pub(in crate::web) here: String,
    pub(in crate::web) back: (String, &'static str),
    /// Cells of the title block between exercise and scale.
    pub(in crate::web) cells: Vec<(&'static str, String)>,
}

impl LabSheet {
    /// The sheet of an exercise.
    ///
    /// # Errors
    /// When the server is stopping.
    pub(in crate::web) async fn of(app: &App, exercise: &Arc<Exercise>, asked: Asked) -> Result<Self, WebError> {
        let phone = app.pictures.plan(asked.revision, exercise).await?;
        let desk = app.pictures.desk(asked.revision, exercise).await?;
        let pages = app.pictures.pages(asked.revision, exercise, asked.paper).await?;
        let scale = pages.first().map_or_else(String::new, |p| p.scale.to_string());
        let mut cells = vec![("Exercise", format!("{}, {}", exercise.code, exercise.title))];
        cells.extend(asked.cells);
        cells.extend([("Scale", scale), ("Sheet", "lab sheet".to_owned())]);
        Ok(Self {
            frame: asked.frame,
            paper: asked.paper,
            here: asked.here,
            back: asked.back,
            code: exercise.code.to_string(),
            title: exercise.title.clone(),
            unit: exercise.units.as_str(),
            phone: phone.svg.clone(),
            desk: desk.svg.clone(),
            pages: pages.iter().map(|p| p.svg.clone()).collect(),
            notes: notes(exercise),
            steps: steps(exercise),
            cautions: CAUTIONS,
            rule: rule(exercise),
            rows: sheet::rows(exercise),
            by_hand: exercise
                .marks
                .lines
                .iter()
                .map(|l| format!("{} ({} points)", l.name, l.points.normalize()))
                .collect(),
            cells,
        })
    }
}

/// What holds for the whole drawing.
pub(in crate::web) fn notes(exercise: &Exercise) -> String {
    let unit = exercise.units.as_str();
    let general = exercise
        .general_tolerance
        .as_ref()
        .map_or_else(String::new, |t| format!(" Lengths without a tolerance: {}.", t.shown()));
    format!(
        "All lengths in {unit}.{general} Sizes are least-squares sizes (ISO 14405-1, GG). Tolerances of form and place after ISO 1101. Crosses show where the datum faces are touched."
    )
}

/// What the decision rule asks for, where it is not the plain one.
fn rule(exercise: &Exercise) -> Option<String> {
    let factor = exercise.marks.guard_factor.normalize();
    match exercise.marks.decision_rule {
        DecisionRule::SimpleAcceptance => None,
        DecisionRule::GuardedAcceptance => Some(format!(
            "Guarded acceptance: call a value conforming only inside the limits drawn in by {factor} times the expanded uncertainty. Nonconforming here means \u{201c}not accepted\u{201d}."
        )),
        DecisionRule::ThreeWay => Some(format!(
            "Three calls: conforming inside the limits less {factor} times the expanded uncertainty, nonconforming outside the limits plus it, undecided between."
        )),
    }
}

fn steps(exercise: &Exercise) -> Vec<String> {
    let frame = &exercise.datum_frame;
    let tip = show_number(exercise.measurement.tip_diameter.normalize());
    let unit = exercise.units.as_str();
    let mut steps = vec![
        "Clean the plate, the machine's table and the tip. Let the plate take the temperature of the room (20 \u{b0}C is the reference temperature, ISO 1).".to_owned(),
        format!("Clamp the plate so that it cannot rock. Tip diameter {tip} {unit}: calibrate it before you begin."),
        format!("{} It holds three freedoms: the height and both tilts.", datum_step("plane", &frame.primary, exercise)),
        format!("{} It holds two more: one place and the turn.", datum_step("line", &frame.secondary, exercise)),
        format!("{} It holds the last.", datum_step("point", &frame.tertiary, exercise)),
    ];
    steps.extend([
        "Datums are taken by least squares through the touches, as is common on measuring machines; half the tip is taken off on each face.".to_owned(),
        format!(
            "Look whether the frame stands: X to the right, Y away from you, Z up, and {}.",
            origin(exercise)
        ),
        "Touch each feature with at least the points of the table, spread evenly. Write the value with all its places, then your call.".to_owned(),
    ]);
    steps
}

/// Where the three coordinates are zero, in words.
fn origin(exercise: &Exercise) -> String {
    let face = |axis: Axis| {
        let datum = exercise.datum_frame.setting(axis);
        datum.map_or_else(String::new, |d| {
            let at = show_number(d.at.normalize());
            format!("{}\u{a0}=\u{a0}{at} on the {} face", axis.letter(), d.face.word())
        })
    };
    format!("{}, {}, {}", face(Axis::X), face(Axis::Y), face(Axis::Z))
}

/// The step of one datum, with where to touch and where the tip comes from.
fn datum_step(what: &str, datum: &Datum, exercise: &Exercise) -> String {
    let others: Vec<Axis> = [Axis::X, Axis::Y, Axis::Z]
        .into_iter()
        .filter(|a| *a != datum.sets)
        .collect();
    let place = |touch: &[rust_decimal::Decimal; 2]| {
        let parts: Vec<String> = others
            .iter()
            .zip(touch)
            .map(|(axis, v)| format!("{}\u{a0}{}", axis.letter(), show_number(v.normalize())))
            .collect();
        parts.join("\u{a0}")
    };
    let places: Vec<String> = datum.touches.iter().map(place).collect();
    let count = if places.len() == 1 {
        "once".to_owned()
    } else {
        format!("{} times", places.len())
    };
    let from = match datum.face {
        Face::Top => "from above",
        Face::Bottom => "from below",
        Face::Left => "from the left",
        Face::Right => "from the right",
        Face::Front => "from the front",
        Face::Back => "from behind",
    };
    format!(
        "Datum {}, the {what}: touch the {} face {from}, {count}, near {}. It sets {}\u{a0}=\u{a0}{}\u{a0}{}.",
        datum.letter,
        datum.face.word(),
        places.join("; "),
        datum.sets.letter(),
        show_number(datum.at.normalize()),
        exercise.units
    )
}
