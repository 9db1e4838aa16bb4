//! A pair's turns at the machines, and swaps with other pairs.

use askama::Template;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::actions::machine_time::{self, TimeError};
use crate::store::ids::AssignmentId;
use crate::store::turns::{self, TurnLine};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::MyAssignment;
use crate::web::render::{Page, Sheet};
use crate::web::times;
use crate::web::wrongs::{mend, sentence};

#[derive(Debug, Template)]
#[template(path = "my_turns.html")]
pub(in crate::web) struct MyTurns {
    frame: Frame,
    id: AssignmentId,
    title: String,
    pair: String,
    mine: Vec<String>,
    my_options: Vec<(String, String)>,
    their_options: Vec<(String, String)>,
    /// Wishes of others: row, their turn, ours.
    asked: Vec<(i64, String, String)>,
    /// Our own wishes that wait for an answer.
    waiting: Vec<String>,
    wrongs: Vec<(&'static str, String)>,
}

impl MyTurns {
    fn mend(&self, field: &str) -> &str {
        mend(&self.wrongs, field)
    }
}

fn turn_words(t: &TurnLine, zone: &TimeZone) -> String {
    format!(
        "{}, {} to {}, {}",
        times::show_day(t.from_at, zone),
        times::show_clock(t.from_at, zone),
        times::show_clock(t.to_at, zone),
        t.machine_name
    )
}

async fn turns_page(app: &App, of: MyAssignment, wrongs: Vec<(&'static str, String)>) -> Result<MyTurns, WebError> {
    let MyAssignment { person, mine } = of;
    let (store, now) = (&app.service.store, app.service.clock.now());
    let zone = times::zone(&mine.assignment.time_zone);
    let class = mine.assignment.class;
    let all = turns::of_class(store, class, now).await?;
    let words = |t: &TurnLine| turn_words(t, &zone);
    let is_mine = |t: &TurnLine| t.pair == mine.pair;
    let is_open = |t: &TurnLine| t.from_at > now;
    let of_turn = |id: i64| all.iter().find(|t| t.id == id);
    let (mut asked, mut waiting) = (Vec::new(), Vec::new());
    for wish in turns::wishes(store, class).await? {
        if let (Some(one), Some(other)) = (of_turn(wish.mine), of_turn(wish.theirs)) {
            if is_mine(other) {
                asked.push((
                    wish.id,
                    format!("{} (pair {})", words(one), one.pair_name),
                    words(other),
                ));
            } else if is_mine(one) {
                waiting.push(format!(
                    "{} for {} (pair {})",
                    words(one),
                    words(other),
                    other.pair_name
                ));
            }
        }
    }
    Ok(MyTurns {
        frame: Frame::of(&person, "/my"),
        id: mine.assignment.id,
        title: mine.assignment.title.clone(),
        pair: mine.pair_name.clone(),
        mine: all
            .iter()
            .filter(|t| is_mine(t))
            .map(|t| format!("{}: {}", words(t), t.title))
            .collect(),
        my_options: all
            .iter()
            .filter(|t| is_mine(t) && is_open(t))
            .map(|t| (t.id.to_string(), words(t)))
            .collect(),
        their_options: all
            .iter()
            .filter(|t| !is_mine(t) && is_open(t))
            .map(|t| (t.id.to_string(), format!("{}: pair {}", words(t), t.pair_name)))
            .collect(),
        asked,
        waiting,
        wrongs,
    })
}

pub(in crate::web) async fn page(State(app): State<App>, of: MyAssignment) -> Result<Page<MyTurns>, WebError> {
    Ok(Page(turns_page(&app, of, Vec::new()).await?))
}

/// A wish, or an answer to one.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Sent {
    #[serde(rename = "do")]
    what: String,
    mine: String,
    theirs: String,
    wish: String,
}

pub(in crate::web) async fn submit(
    State(app): State<App>,
    of: MyAssignment,
    Form(sent): Form<Sent>,
) -> Result<Response, WebError> {
    let (class, pair, id) = (of.mine.assignment.class, of.mine.pair, of.mine.assignment.id);
    let number = |text: &str| text.parse::<i64>().unwrap_or(-1);
    let service = &app.service;
    let done = match sent.what.as_str() {
        "ask" => {
            machine_time::ask(
                service,
                class,
                pair,
                number(&sent.mine),
                number(&sent.theirs),
                of.person.id,
            )
            .await
        }
        "yes" => machine_time::answer(service, class, pair, number(&sent.wish), true).await,
        "no" => machine_time::answer(service, class, pair, number(&sent.wish), false).await,
        _ => return Err(WebError::NotFound),
    };
    match done {
        Ok(()) => Ok(Redirect::to(&format!("/my/{id}/turns")).into_response()),
        Err(TimeError::Store(error)) => Err(error.into()),
        Err(error) => {
            let status = if matches!(error, TimeError::Gone) {
                StatusCode::NOT_FOUND
            } else {
                StatusCode::UNPROCESSABLE_ENTITY
            };
            let page = turns_page(&app, of, vec![("mine", sentence(&error))]).await?;
            Ok(Sheet(status, page).into_response())
        }
    }
}
