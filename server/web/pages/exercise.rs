//! One exercise: the print, its characteristics, its plates; and what one plate really is.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;

use crate::actions::load;
use crate::exercise::model::Exercise as Print;
use crate::grading::decided::UNDECIDED;
use crate::grading::grade::GradedItem;
use crate::grading::{GradeInput, grade};
use crate::report::call::Call;
use crate::report::model::Report;
use crate::store::exercise_drafts;
use crate::store::ids::ExerciseDraftId;
use crate::store::plates::{self, Kind, PlateLine, State as PlateState};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::ExerciseOf;
use crate::web::render::Page;
use crate::web::sheet::{self, SheetRow};

#[derive(Debug, Template)]
#[template(path = "exercise.html")]
pub(in crate::web) struct Exercise {
    frame: Frame,
    id: i64,
    title: String,
    drawing: String,
    rows: Vec<SheetRow>,
    plates: Vec<PlateRow>,
    cells: Vec<(&'static str, String)>,
    /// The draft of the next revision, where one was begun.
    draft: Option<ExerciseDraftId>,
}

#[derive(Debug)]
struct PlateRow {
    line: PlateLine,
    kind: &'static str,
    /// What it is, counted over its characteristics.
    count: Count,
}

#[derive(Debug, Default, Clone, Copy)]
struct Count {
    nonconforming: usize,
    in_doubt: usize,
    not_established: usize,
}

impl Count {
    fn of(items: &[GradedItem]) -> Self {
        let many = |test: fn(&GradedItem) -> bool| items.iter().filter(|i| test(i)).count();
        Self {
            nonconforming: many(|i| i.call_by_reference == Some(Call::Nonconforming)),
            in_doubt: many(|i| i.in_doubt == Some(true)),
            not_established: many(|i| i.reference.is_none()),
        }
    }
}

const fn kind_word(kind: Kind) -> &'static str {
    match kind {
        Kind::Physical => "physical",
        Kind::Virtual => "virtual",
    }
}

/// Lines of a plate against the print, as grading sees it when nothing was measured.
pub(super) fn lines_of(exercise: &Print, truth: &str) -> Result<Vec<GradedItem>, WebError> {
    let plate = load::plate_from(exercise, truth).map_err(WebError::internal)?;
    let (report, hand_marks) = (Report::blank(exercise), BTreeMap::new());
    let input = GradeInput {
        name: "",
        exercise,
        plate: &plate,
        rules: &exercise.marks,
        report: &report,
        hand_marks: &hand_marks,
        siblings: &[],
        decided: &UNDECIDED,
        set_up: None,
    };
    Ok(grade(&input).items)
}

pub(in crate::web) async fn page(State(app): State<App>, of: ExerciseOf) -> Result<Page<Exercise>, WebError> {
    let ExerciseOf { person, revision } = of;
    let print = load::exercise(&app.service, revision.id)
        .await
        .map_err(WebError::internal)?;
    let mut plates = Vec::new();
    for line in plates::of_exercise(&app.service.store, revision.exercise).await? {
        let count = Count::of(&lines_of(&print, &line.truth)?);
        plates.push(PlateRow {
            kind: kind_word(line.kind),
            line,
            count,
        });
    }
    let picture = app.pictures.desk(revision.id, &print).await?;
    let cells = vec![
        ("Exercise", revision.code),
        ("Revision", revision.number.to_string()),
        ("Unit", print.units.to_string()),
        ("Numbers", print.characteristics.len().to_string()),
        ("Plates", plates.len().to_string()),
        ("Scale", picture.scale.to_string()),
    ];
    Ok(Page(Exercise {
        frame: Frame::of(&person, "/exercises"),
        id: revision.exercise.0,
        title: revision.title,
        drawing: picture.svg.clone(),
        rows: sheet::rows(&print),
        plates,
        cells,
        draft: exercise_drafts::of_exercise(&app.service.store, revision.exercise).await?,
    }))
}
