//! The lab sheet: drawing, setting up, cautions, and blanks to write into; made to be printed.

use askama::Template;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::actions::load;
use crate::exercise::drawing::{DrawingOptions, plan_view};
use crate::exercise::model::{Datum, Exercise};
use crate::metrology::conformity::DecisionRule;
use crate::store::ids::AssignmentId;
use crate::units::show_number;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::MyAssignment;
use crate::web::render::Page;
use crate::web::sheet::{self, SheetRow};

/// What the sheet and the site say to be careful of.
const CAUTIONS: [&str; 4] = [
    "Deburr and clean the plate before handling it; mind sharp edges and compressed air, and lift with care.",
    "Mind pinch points and moving axes; keep hands clear of a machine that is switched on.",
    "The rules of this shop, the instructions of the machine's maker and your instructor outrank anything printed here.",
    "Training marks are not a calibration certificate and accept no product.",
];

#[derive(Debug, Template)]
#[template(path = "my_lab_sheet.html")]
pub(in crate::web) struct MyLabSheet {
    frame: Frame,
    id: AssignmentId,
    code: String,
    exercise_title: String,
    unit: &'static str,
    paper: &'static str,
    drawing: String,
    steps: Vec<String>,
    cautions: [&'static str; 4],
    rule: Option<String>,
    rows: Vec<SheetRow>,
    by_hand: Vec<String>,
    cells: Vec<(&'static str, String)>,
}

/// Paper that is asked for.
#[derive(Debug, Deserialize)]
pub(in crate::web) struct Paper {
    paper: Option<String>,
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    MyAssignment { person, mine }: MyAssignment,
    Query(paper): Query<Paper>,
) -> Result<Page<MyLabSheet>, WebError> {
    let exercise = load::exercise(&app.service, mine.assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    let picture = plan_view(&exercise, &DrawingOptions::page_upright());
    let cells = vec![
        ("Exercise", format!("{}, {}", exercise.code, mine.assignment.title)),
        ("Plate", mine.serial.clone().unwrap_or_default()),
        ("Pair", mine.pair_name.clone()),
        ("Scale", picture.scale.to_string()),
        ("Sheet", "lab sheet".to_owned()),
    ];
    Ok(Page(MyLabSheet {
        frame: Frame::of(&person, "/my"),
        id: mine.assignment.id,
        code: exercise.code.to_string(),
        exercise_title: exercise.title.clone(),
        unit: exercise.units.as_str(),
        paper: if paper.paper.as_deref() == Some("letter") {
            "letter"
        } else {
            "a4"
        },
        drawing: picture.svg,
        steps: steps(&exercise),
        cautions: CAUTIONS,
        rule: rule(&exercise),
        rows: sheet::rows(&exercise),
        by_hand: exercise
            .marks
            .lines
            .iter()
            .map(|l| format!("{} ({} points)", l.name, l.points.normalize()))
            .collect(),
        cells,
    }))
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
    vec![
        "Clean the plate, the machine's table and the tip. Let the plate take the temperature of the room (20 \u{b0}C is the reference temperature, ISO 1).".to_owned(),
        format!("Clamp the plate so that it cannot rock. Tip diameter {tip} {unit}: calibrate it before you begin."),
        datum_step("plane", &frame.primary, exercise),
        datum_step("line", &frame.secondary, exercise),
        datum_step("point", &frame.tertiary, exercise),
        "Datums are taken by least squares through the touches, as is common on measuring machines; half the tip is taken off on each face.".to_owned(),
        "Touch each feature with at least the points of the table, spread evenly. Write the value with all its places, then your call.".to_owned(),
    ]
}

fn datum_step(what: &str, datum: &Datum, exercise: &Exercise) -> String {
    let count = datum.touches.len();
    let touches = if count == 1 {
        "1 touch".to_owned()
    } else {
        format!("{count} touches")
    };
    let at = show_number(datum.at.normalize());
    format!(
        "Datum {}: the {} face, {touches}, makes the {what}; it sets {} = {at} {}.",
        datum.letter,
        datum.face.word(),
        datum.sets.letter(),
        exercise.units
    )
}
