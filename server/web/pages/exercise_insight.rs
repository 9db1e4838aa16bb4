//! What the print of an exercise can tell about mistakes, for its author.

use askama::Template;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::actions::load;
use crate::grading::insight::{Effort, FaultInsight, Insight as Found, insight_on, tried, words};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::ExerciseOf;
use crate::web::render::Page;

#[derive(Debug, Template)]
#[template(path = "exercise_insight.html")]
pub(in crate::web) struct ExerciseInsight {
    frame: Frame,
    id: i64,
    title: String,
    rows: Vec<Row>,
    confusable: Vec<String>,
    unseen: Vec<String>,
    nothing_open: &'static str,
    first: String,
    plates: usize,
    basis: String,
    /// Whether sizes are estimates, which can be tried.
    estimated: bool,
    cells: Vec<(&'static str, String)>,
}

/// What the address asks for: `?tried=25` tries each size with so many reports.
#[derive(Debug, Deserialize)]
pub(in crate::web) struct Asked {
    tried: Option<u32>,
}

/// Reports for each size at most, and diagnoses for each of them in all: some seconds of arithmetic.
const MOST_REPORTS: u32 = 25;
const MOST_EACH: u32 = 100;

/// One mistake.
#[derive(Debug)]
struct Row {
    mistake: String,
    detected: String,
    named: String,
    rival: String,
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    of: ExerciseOf,
    Query(asked): Query<Asked>,
) -> Result<Page<ExerciseInsight>, WebError> {
    let ExerciseOf { person, revision } = of;
    let print = load::exercise(&app.service, revision.id)
        .await
        .map_err(WebError::internal)?;
    let plates = load::siblings(&app.service, &print, revision.id)
        .await
        .map_err(WebError::internal)?;
    let known = plates.len();
    let exercise = std::sync::Arc::clone(&print);
    let reports = asked.tried.unwrap_or(0).min(MOST_REPORTS);
    // Off the async threads: some hundred milliseconds of arithmetic for estimates, seconds where they are tried.
    let work = move || -> Option<Found> {
        if reports == 0 {
            return Some(insight_on(&exercise, &plates));
        }
        let most = reports * MOST_EACH;
        tried(&exercise, &plates, Effort { reports, most }).ok()
    };
    let found = tokio::task::spawn_blocking(work).await.map_err(WebError::internal)?;
    let found = found.ok_or(WebError::NotFound)?;
    let row = |f: &FaultInsight| {
        let (detected, named) = words::sizes(&print, f);
        Row {
            mistake: words::thing(&print, &f.fault) + words::mark(&found, f),
            detected,
            named,
            rival: f.rival.as_ref().map_or_else(String::new, |r| words::thing(&print, r)),
        }
    };
    let nothing_open = found.confusable.is_empty() && found.unseen.is_empty();
    Ok(Page(ExerciseInsight {
        frame: Frame::of(&person, "/exercises"),
        id: revision.exercise.0,
        title: revision.title,
        rows: found.faults.iter().map(row).collect(),
        confusable: found.confusable.iter().map(|c| words::confusable(&print, c)).collect(),
        unseen: found.unseen.iter().map(|u| words::unseen(&print, u)).collect(),
        nothing_open: if nothing_open { words::NOTHING_OPEN } else { "" },
        first: words::first(&print, &found).unwrap_or_default(),
        plates: known,
        basis: words::basis(&found),
        estimated: reports == 0,
        cells: vec![
            ("Exercise", revision.code),
            ("Revision", revision.number.to_string()),
            ("Sheet", "what the print can tell".to_owned()),
        ],
    }))
}
