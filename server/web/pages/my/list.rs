//! A student's first page: what the pair has to do and has done.

use askama::Template;
use axum::extract::State;

use crate::store::assignments::{self, Mine};
use crate::store::reports;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::Student;
use crate::web::render::Page;
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "my.html")]
pub(in crate::web) struct My {
    frame: Frame,
    assignments: Vec<Line>,
}

#[derive(Debug)]
struct Line {
    mine: Mine,
    due: String,
    /// Reports handed in with pairs of before.
    with_others: i64,
}

pub(in crate::web) async fn page(State(app): State<App>, Student(person): Student) -> Result<Page<My>, WebError> {
    let now = app.service.clock.now();
    let assignments = assignments::of_student(&app.service.store, person.id, now).await?;
    let with_others = reports::with_others(&app.service.store, person.id).await?;
    let line = |mine: Mine| {
        let due = times::show(mine.assignment.due_at, &times::zone(&mine.assignment.time_zone));
        let with_others = with_others.get(&mine.assignment.id).copied().unwrap_or(0);
        Line { mine, due, with_others }
    };
    let assignments = assignments.into_iter().map(line).collect();
    Ok(Page(My {
        frame: Frame::of(&person, "/my"),
        assignments,
    }))
}
