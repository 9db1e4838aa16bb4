//! The review queue of a class: the few reports that need a person first, and why.

use askama::Template;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::actions::review_queue::{self, Queued};
use crate::grading::review::Need;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{ClassOf, may_see_truth};
use crate::web::render::Page;
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "review_queue.html")]
pub(in crate::web) struct ReviewQueue {
    frame: Frame,
    class: i64,
    class_name: String,
    /// Report that somebody was just done with.
    done: Option<i64>,
    rows: Vec<Row>,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Row {
    report: i64,
    pair: String,
    title: String,
    attempt: i64,
    serial: String,
    when: String,
    mark: String,
    /// The first is the one that gave it its place.
    needs: Vec<String>,
}

/// Where the person comes from.
#[derive(Debug, Deserialize)]
pub(in crate::web) struct After {
    done: Option<i64>,
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    of: ClassOf,
    Query(after): Query<After>,
) -> Result<Page<ReviewQueue>, WebError> {
    let ClassOf { person, class } = of;
    let zone = times::zone(&class.time_zone);
    let truth = may_see_truth(&person);
    let row = |queued: Queued| Row {
        report: queued.waiting.report.0,
        pair: queued.waiting.pair_name,
        title: queued.waiting.title,
        attempt: queued.waiting.attempt,
        serial: queued.waiting.serial,
        when: times::show(queued.waiting.handed_in_at, &zone),
        mark: queued.waiting.mark.unwrap_or_else(|| "no mark".to_owned()),
        needs: queued.needs.iter().map(Need::text).collect(),
    };
    let queue = review_queue::settled(&app.service, class.id, truth).await?;
    let rows: Vec<Row> = queue.into_iter().map(row).collect();
    Ok(Page(ReviewQueue {
        frame: Frame::of(&person, "/classes"),
        class: class.id.0,
        done: after.done,
        cells: vec![
            ("Class", class.name.clone()),
            ("Waiting", rows.len().to_string()),
            ("As of", times::show(app.service.clock.now(), &zone)),
        ],
        rows,
        class_name: class.name,
    }))
}
