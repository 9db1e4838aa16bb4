//! All exercises.

use askama::Template;
use axum::extract::State;

use crate::store::exercises::{self, ExerciseLine};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::Instructor;
use crate::web::render::Page;

#[derive(Debug, Template)]
#[template(path = "exercises.html")]
pub(in crate::web) struct Exercises {
    frame: Frame,
    exercises: Vec<ExerciseLine>,
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    Instructor(person): Instructor,
) -> Result<Page<Exercises>, WebError> {
    let exercises = exercises::list(&app.service.store).await?;
    Ok(Page(Exercises {
        frame: Frame::of(&person, "/exercises"),
        exercises,
    }))
}
