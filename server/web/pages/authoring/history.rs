//! All steps of a draft, its file, and its end.

use askama::Template;
use axum::extract::{Form as Posted, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::zone_of;
use crate::actions::author_exercise::{AuthorError, Way, discard as throw_away, go};
use crate::exercise::form::{take, text};
use crate::store::exercise_drafts as drafts;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::DraftOf;
use crate::web::render::Page;
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "authoring_history.html")]
pub(in crate::web) struct History {
    frame: Frame,
    draft: i64,
    version: i64,
    title: String,
    steps: Vec<StepRow>,
    exercise: Option<i64>,
}

#[derive(Debug)]
struct StepRow {
    number: i64,
    what: String,
    when: String,
    machine: String,
    by: String,
    stands: bool,
    /// The step that it was made from, where that is not the one below it.
    from: Option<i64>,
}

pub(in crate::web) async fn page(State(app): State<App>, of: DraftOf) -> Result<Page<History>, WebError> {
    let DraftOf { person, draft } = of;
    let zone = zone_of(&app, &person).await?;
    let row = |s: drafts::Step| StepRow {
        number: s.number,
        what: s.what,
        when: times::show(s.made_at, &zone),
        machine: times::machine(s.made_at),
        by: s.made_by.unwrap_or_default(),
        stands: s.number == draft.step,
        from: s.before.filter(|b| b + 1 != s.number),
    };
    let steps = drafts::steps(&app.service.store, draft.id)
        .await?
        .into_iter()
        .map(row)
        .collect();
    Ok(Page(History {
        frame: Frame::of(&person, "/exercises"),
        draft: draft.id.0,
        version: draft.version,
        title: text(&take(&draft.toml).form.head, "title").to_owned(),
        exercise: draft.exercise.map(|e| e.0),
        steps,
    }))
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Wish {
    version: i64,
    step: i64,
}

/// Lets a step stand.
pub(in crate::web) async fn stand(
    State(app): State<App>,
    of: DraftOf,
    Posted(wish): Posted<Wish>,
) -> Result<Response, WebError> {
    match go(&app.service, &of.draft, wish.version, Way::To(wish.step)).await {
        Ok(_) => Ok(Redirect::to(&format!("/drafts/{}", of.draft.id)).into_response()),
        Err(AuthorError::Overtaken { .. }) => {
            let to = format!("/drafts/{}/overtaken?mine={}", of.draft.id, wish.step);
            Ok(Redirect::to(&to).into_response())
        }
        Err(AuthorError::Store(error)) => Err(error.into()),
        Err(AuthorError::Gone | AuthorError::NoStep) => Err(WebError::NotFound),
    }
}

/// Throws the draft away.
pub(in crate::web) async fn discard(State(app): State<App>, of: DraftOf) -> Result<Response, WebError> {
    throw_away(&app.service, of.draft.id).await?;
    let to = of
        .draft
        .exercise
        .map_or_else(|| "/exercises".to_owned(), |e| format!("/exercises/{e}"));
    Ok(Redirect::to(&to).into_response())
}

/// The draft as a file, with errors or without.
pub(in crate::web) async fn file(of: DraftOf) -> Response {
    toml_file("exercise.toml", of.draft.toml)
}

/// A file to save.
pub(in crate::web) fn toml_file(name: &str, toml: String) -> Response {
    let disposition = format!("attachment; filename=\"{name}\"");
    let headers = [
        (header::CONTENT_TYPE, "application/toml; charset=utf-8".to_owned()),
        (header::CONTENT_DISPOSITION, disposition),
    ];
    (headers, toml).into_response()
}
