//! All exercises.

use askama::Template;
use axum::extract::State;

use crate::store::exercise_drafts::{self, DraftLine};
use crate::store::exercises::{self, ExerciseLine};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::Instructor;
use crate::web::pages::authoring::zone_of;
use crate::web::render::Page;
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "exercises.html")]
pub(in crate::web) struct Exercises {
    frame: Frame,
    exercises: Vec<ExerciseLine>,
    drafts: Vec<DraftRow>,
}

#[derive(Debug)]
struct DraftRow {
    line: DraftLine,
    when: String,
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    Instructor(person): Instructor,
) -> Result<Page<Exercises>, WebError> {
    let exercises = exercises::list(&app.service.store).await?;
    let zone = zone_of(&app, &person).await?;
    let row = |line: DraftLine| DraftRow {
        when: times::show(line.made_at, &zone),
        line,
    };
    let drafts = exercise_drafts::list(&app.service.store)
        .await?
        .into_iter()
        .map(row)
        .collect();
    Ok(Page(Exercises {
        frame: Frame::of(&person, "/exercises"),
        exercises,
        drafts,
    }))
}
