//! What the print of an exercise can tell about mistakes, for its author.

use askama::Template;
use axum::extract::State;

use crate::actions::load;
use crate::grading::insight::{FaultInsight, Insight as Found, insight_on, words};
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
    cells: Vec<(&'static str, String)>,
}

/// One mistake.
#[derive(Debug)]
struct Row {
    mistake: String,
    detected: String,
    named: String,
    rival: String,
}

pub(in crate::web) async fn page(State(app): State<App>, of: ExerciseOf) -> Result<Page<ExerciseInsight>, WebError> {
    let ExerciseOf { person, revision } = of;
    let print = load::exercise(&app.service, revision.id)
        .await
        .map_err(WebError::internal)?;
    let plates = load::siblings(&app.service, &print, revision.id)
        .await
        .map_err(WebError::internal)?;
    let known = plates.len();
    let exercise = std::sync::Arc::clone(&print);
    // Some hundred milliseconds of arithmetic, off the async threads.
    let found: Found = tokio::task::spawn_blocking(move || insight_on(&exercise, &plates))
        .await
        .map_err(WebError::internal)?;
    let row = |f: &FaultInsight| {
        let (detected, named) = words::sizes(&print, f);
        Row {
            mistake: words::thing(&print, &f.fault),
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
        cells: vec![
            ("Exercise", revision.code),
            ("Revision", revision.number.to_string()),
            ("Sheet", "what the print can tell".to_owned()),
        ],
    }))
}
