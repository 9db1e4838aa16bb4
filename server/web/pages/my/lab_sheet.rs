//! The pair's lab sheet.

use axum::extract::{Query, State};

use crate::actions::load;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::MyAssignment;
use crate::web::lab::{Asked, LabSheet};
use crate::web::paper::SheetQuery;
use crate::web::render::Page;

pub(in crate::web) async fn page(
    State(app): State<App>,
    MyAssignment { person, mine }: MyAssignment,
    Query(query): Query<SheetQuery>,
) -> Result<Page<LabSheet>, WebError> {
    let revision = mine.assignment.exercise_revision;
    let exercise = load::exercise(&app.service, revision)
        .await
        .map_err(WebError::internal)?;
    let id = mine.assignment.id;
    let asked = Asked {
        frame: Frame::of(&person, "/my"),
        revision,
        paper: query.paper(),
        here: format!("/my/{id}/lab-sheet?"),
        back: (format!("/my/{id}"), "Back to the assignment"),
        cells: vec![
            ("Assignment", mine.assignment.title.clone()),
            ("Plate", mine.serial.clone().unwrap_or_default()),
            ("Pair", mine.pair_name.clone()),
        ],
    };
    LabSheet::of(&app, &exercise, asked).await.map(Page)
}
