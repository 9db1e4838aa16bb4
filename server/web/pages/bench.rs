//! The bench now: who is at which machine, and which draft looks odd while the plate is still clamped.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::HeaderName;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::actions::bench::{self, Ask, Odd, Progress};
use crate::store::classes::Class;
use crate::store::turns::{self, DraftLine, TurnLine};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{ClassOf, may_see_truth};
use crate::web::render::Page;
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "bench.html")]
struct Bench {
    frame: Frame,
    class: Class,
    sees_truth: bool,
    at_machines: Vec<At>,
    asks: Vec<Ask>,
    drafts: Vec<Line>,
    now: String,
    by_itself: bool,
}

#[derive(Debug)]
struct At {
    turn: TurnLine,
    until: String,
    next: String,
}

#[derive(Debug)]
struct Line {
    draft: DraftLine,
    progress: Progress,
    odd: Option<Odd>,
    when: String,
}

/// Whether the page comes again by itself.
#[derive(Debug, Default, Deserialize)]
pub(in crate::web) struct Again {
    every: Option<u32>,
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    of: ClassOf,
    Query(again): Query<Again>,
) -> Result<Response, WebError> {
    let ClassOf { person, class } = of;
    let (service, now) = (&app.service, app.service.clock.now());
    let zone = times::zone(&class.time_zone);
    let sees_truth = may_see_truth(&person);
    let turns = turns::of_class(&service.store, class.id, now).await?;
    let mut at_machines = Vec::new();
    for turn in turns.iter().filter(|t| t.from_at <= now) {
        let next = turns
            .iter()
            .find(|t| t.machine == turn.machine && t.from_at >= turn.to_at);
        let next = next.map(|t| format!("{} at {}", t.pair_name, times::show_clock(t.from_at, &zone)));
        at_machines.push(At {
            until: times::show_clock(turn.to_at, &zone),
            next: next.unwrap_or_default(),
            turn: turn.clone(),
        });
    }
    let asks = if sees_truth {
        bench::asks(service, class.id).await.map_err(WebError::internal)?
    } else {
        Vec::new()
    };
    let mut drafts = Vec::new();
    for draft in bench::drafts(service, class.id).await? {
        let odd = if sees_truth {
            bench::odd(service, &draft).await.map_err(WebError::internal)?
        } else {
            None
        };
        drafts.push(Line {
            progress: bench::progress(service, &draft).await.map_err(WebError::internal)?,
            when: times::show_clock(draft.updated_at, &zone),
            odd,
            draft,
        });
    }
    let every = again.every.map(|seconds| seconds.clamp(20, 600));
    let page = Page(Bench {
        frame: Frame::of(&person, "/classes"),
        class,
        sees_truth,
        at_machines,
        asks,
        drafts,
        now: times::show_clock(now, &zone),
        by_itself: every.is_some(),
    });
    // Asked for by a link, so nobody is surprised by a page that moves.
    let refresh = every.map(|seconds| [(HeaderName::from_static("refresh"), seconds.to_string())]);
    Ok((refresh, page).into_response())
}
