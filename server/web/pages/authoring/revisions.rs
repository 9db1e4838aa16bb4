//! The revisions of an exercise: what differs between two, and each as a file.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::history::toml_file;
use super::zone_of;
use crate::actions::load;
use crate::exercise::difference::{Change, differences};
use crate::store::exercises::{self, Revision};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::ExerciseOf;
use crate::web::render::Page;
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "exercise_revisions.html")]
pub(in crate::web) struct Revisions {
    frame: Frame,
    exercise: i64,
    code: String,
    title: String,
    rows: Vec<Row>,
    /// Choices of revisions: number and words.
    numbers: Vec<(String, String)>,
    from: String,
    to: String,
    changes: Vec<Change>,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Row {
    number: i64,
    when: String,
    machine: String,
    by: String,
    assignments: i64,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Two {
    from: Option<i64>,
    to: Option<i64>,
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    of: ExerciseOf,
    Query(two): Query<Two>,
) -> Result<Page<Revisions>, WebError> {
    let ExerciseOf { person, revision } = of;
    let zone = zone_of(&app, &person).await?;
    let all = exercises::revisions(&app.service.store, revision.exercise).await?;
    let to = two.to.unwrap_or(revision.number);
    let from = two.from.unwrap_or(to - 1).max(1);
    let numbers = all
        .iter()
        .map(|r| (r.number.to_string(), format!("revision {}", r.number)))
        .collect();
    let row = |r: exercises::RevisionLine| Row {
        number: r.number,
        when: times::show(r.created_at, &zone),
        machine: times::machine(r.created_at),
        by: r.created_by.unwrap_or_default(),
        assignments: r.assignments,
    };
    let changes = changes(&app, &revision, from, to).await?;
    Ok(Page(Revisions {
        frame: Frame::of(&person, "/exercises"),
        exercise: revision.exercise.0,
        rows: all.into_iter().map(row).collect(),
        numbers,
        from: from.to_string(),
        to: to.to_string(),
        changes,
        cells: vec![
            ("Exercise", revision.code.clone()),
            ("Revision", revision.number.to_string()),
        ],
        code: revision.code,
        title: revision.title,
    }))
}

async fn changes(app: &App, newest: &Revision, from: i64, to: i64) -> Result<Vec<Change>, WebError> {
    if from == to {
        return Ok(Vec::new());
    }
    let mut prints = Vec::new();
    for number in [from, to] {
        let known = exercises::numbered(&app.service.store, newest.exercise, number).await?;
        let id = known.ok_or(WebError::NotFound)?.id;
        prints.push(load::exercise(&app.service, id).await.map_err(WebError::internal)?);
    }
    match prints.as_slice() {
        [old, new] => Ok(differences(old, new)),
        _ => Ok(Vec::new()),
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Which {
    revision: Option<i64>,
}

/// A revision as a file, with an `ETag`: who has it already gets no second copy.
pub(in crate::web) async fn file(
    State(app): State<App>,
    of: ExerciseOf,
    Query(which): Query<Which>,
    headers: HeaderMap,
) -> Result<Response, WebError> {
    let number = which.revision.unwrap_or(of.revision.number);
    let revision = exercises::numbered(&app.service.store, of.revision.exercise, number).await?;
    let revision = revision.ok_or(WebError::NotFound)?;
    let tag = format!("\"{}-{}\"", revision.code, revision.number);
    let tag_value = HeaderValue::from_str(&tag).map_err(WebError::internal)?;
    let known = headers.get(header::IF_NONE_MATCH).and_then(|v| v.to_str().ok());
    let mut response = if known.is_some_and(|v| v.split(',').any(|t| t.trim() == tag)) {
        StatusCode::NOT_MODIFIED.into_response()
    } else {
        toml_file("exercise.toml", revision.toml)
    };
    response.headers_mut().insert(header::ETAG, tag_value);
    Ok(response)
}
