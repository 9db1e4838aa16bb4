//! Machine time of a class: machines, the rota to look at and to print, swaps, and a machine that was down.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use crate::actions::care::{CareError, machine_down};
use crate::actions::machine_time::{self, Planned, TimeError, Wanted};
use crate::store::assignments;
use crate::store::classes::Class;
use crate::store::ids::AssignmentId;
use crate::store::turns::{self, Machine, TurnLine};
use crate::store::when::When;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{ClassOf, Instructor, may_change_class};
use crate::web::render::{Page, Sheet};
use crate::web::terms::WHICH;
use crate::web::times;
use crate::web::wrongs::{Wrongs, mend, sentence, whole};

#[derive(Debug, Template)]
#[template(path = "machines.html")]
pub(in crate::web) struct Machines {
    frame: Frame,
    class: Class,
    may_change: bool,
    machines: Vec<Machine>,
    days: Vec<Day>,
    assignments: Vec<(String, String)>,
    turn_options: Vec<(String, String)>,
    planned: Option<Planned>,
    typed: Typed,
    wrongs: Vec<(&'static str, String)>,
    cells: Vec<(&'static str, String)>,
}

/// The rota of one day: sessions down, machines across.
#[derive(Debug)]
struct Day {
    name: String,
    heads: Vec<String>,
    rows: Vec<(String, Vec<Cell>)>,
}

/// A machine's name, and who has the turn.
type Cell = (String, Option<Place>);

#[derive(Debug, Clone)]
struct Place {
    pair: String,
    serial: String,
    title: String,
}

impl Machines {
    fn mend(&self, field: &str) -> &str {
        mend(&self.wrongs, field)
    }

    fn zone_words(&self) -> String {
        format!("In the time of {}.", self.class.time_zone)
    }

    fn twice(&self, text: &str) -> bool {
        times::comes_twice(text, &times::zone(&self.class.time_zone))
    }
}

/// The forms of the page as typed.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Typed {
    #[serde(rename = "do")]
    what: String,
    machine: String,
    machine_id: String,
    assignment: String,
    from: String,
    from_which: String,
    minutes: String,
    sessions: String,
    turns: String,
    one: String,
    other: String,
    hours: String,
    why: String,
}

/// The turns by day, by session, by machine.
fn days(lines: &[TurnLine], zone: &jiff::tz::TimeZone) -> Vec<Day> {
    let mut by_day: Vec<(String, Vec<&TurnLine>)> = Vec::new();
    for line in lines {
        let day = times::show_day(line.from_at, zone);
        match by_day.last_mut() {
            Some((name, turns)) if *name == day => turns.push(line),
            _ => by_day.push((day, vec![line])),
        }
    }
    let day = |(name, turns): (String, Vec<&TurnLine>)| {
        let machines: BTreeMap<&str, i64> = turns.iter().map(|t| (t.machine_name.as_str(), t.machine)).collect();
        let mut rows: Vec<(When, When)> = turns.iter().map(|t| (t.from_at, t.to_at)).collect();
        rows.sort_unstable();
        rows.dedup();
        let place = |row: &(When, When), machine: i64| {
            let turn = turns
                .iter()
                .find(|t| t.machine == machine && (t.from_at, t.to_at) == *row)?;
            Some(Place {
                pair: turn.pair_name.clone(),
                serial: turn.serial.clone().unwrap_or_default(),
                title: turn.title.clone(),
            })
        };
        Day {
            rows: rows
                .iter()
                .map(|row| {
                    let time = format!(
                        "{} to {}",
                        times::show_clock(row.0, zone),
                        times::show_clock(row.1, zone)
                    );
                    (
                        time,
                        machines
                            .iter()
                            .map(|(name, m)| ((*name).to_owned(), place(row, *m)))
                            .collect(),
                    )
                })
                .collect(),
            heads: machines.keys().map(|m| (*m).to_owned()).collect(),
            name,
        }
    };
    by_day.into_iter().map(day).collect()
}

async fn machines(
    app: &App,
    of: ClassOf,
    typed: Typed,
    wrongs: Vec<(&'static str, String)>,
    planned: Option<Planned>,
) -> Result<Machines, WebError> {
    let ClassOf { person, class } = of;
    let (store, now) = (&app.service.store, app.service.clock.now());
    let zone = times::zone(&class.time_zone);
    // Since yesterday, so that the evening that has just been is still there.
    let since = When::from(now.millisecond() - 24 * 3_600_000);
    let lines = turns::of_class(store, class.id, since).await?;
    let option = |t: &TurnLine| {
        let words = format!(
            "{}, {}, {}: {}",
            times::show_day(t.from_at, &zone),
            times::show_clock(t.from_at, &zone),
            t.machine_name,
            t.pair_name
        );
        (t.id.to_string(), words)
    };
    let open = assignments::of_class(store, class.id).await?;
    Ok(Machines {
        frame: Frame::of(&person, "/classes"),
        may_change: may_change_class(&person) && class.archived_at.is_none(),
        machines: turns::machines(store, class.id).await?,
        days: days(&lines, &zone),
        turn_options: lines.iter().filter(|t| t.from_at > now).map(option).collect(),
        assignments: open
            .into_iter()
            .filter(|a| a.due_at > now)
            .map(|a| (a.id.to_string(), a.title))
            .collect(),
        cells: vec![("Class", class.name.clone()), ("Printed", times::show(now, &zone))],
        class,
        planned,
        typed,
        wrongs,
    })
}

pub(in crate::web) async fn page(State(app): State<App>, of: ClassOf) -> Result<Page<Machines>, WebError> {
    let typed = Typed {
        minutes: "45".to_owned(),
        sessions: "4".to_owned(),
        turns: "1".to_owned(),
        hours: "24".to_owned(),
        ..Typed::default()
    };
    Ok(Page(machines(&app, of, typed, Vec::new(), None).await?))
}

const fn field_of(error: &TimeError) -> &'static str {
    match error {
        TimeError::MachineName | TimeError::NoMachine | TimeError::NotHere => "machine",
        TimeError::Minutes => "minutes",
        TimeError::Sessions => "sessions",
        TimeError::Turns => "turns",
        TimeError::NoPairs | TimeError::Store(_) => "assignment",
        TimeError::Gone | TimeError::Clash(_) => "one",
    }
}

/// What was done: gone on from, or a rota with what did not fit.
enum Done {
    Yes,
    Planned(Planned),
}

async fn act(
    app: &App,
    by: crate::store::ids::PersonId,
    class: &Class,
    typed: &Typed,
    wrongs: &mut Wrongs,
) -> Result<Done, TimeError> {
    let service = &app.service;
    let number = |text: &str| text.parse::<i64>().map_err(|_| TimeError::Gone);
    let chosen = match typed.assignment.parse().map(AssignmentId) {
        Ok(id) => assignments::one(&service.store, id)
            .await?
            .filter(|a| a.class == class.id)
            .ok_or(TimeError::NotHere),
        Err(_) => Err(TimeError::NoPairs),
    };
    match typed.what.as_str() {
        "add-machine" => machine_time::add_machine(service, class.id, &typed.machine).await?,
        "remove-machine" => {
            let mut tx = service.store.change().await?;
            if !turns::remove_machine(&mut tx, class.id, number(&typed.machine_id)?).await? {
                return Err(TimeError::NotHere);
            }
            tx.commit().await?;
        }
        "swap" => machine_time::swap(service, class.id, number(&typed.one)?, number(&typed.other)?).await?,
        "clear" => {
            machine_time::clear(service, &chosen?, by).await?;
        }
        "plan" => {
            let zone = times::zone(&class.time_zone);
            let assignment = chosen?;
            let from = wrongs.keep("from", times::from_field_which(&typed.from, &typed.from_which, &zone));
            let minutes = wrongs.keep("minutes", whole(&typed.minutes));
            let sessions = wrongs.keep("sessions", whole(&typed.sessions));
            let turns = wrongs.keep("turns", whole(&typed.turns));
            if let (Some(from), Some(minutes), Some(sessions), Some(turns)) = (from, minutes, sessions, turns) {
                let wanted = Wanted {
                    assignment: &assignment,
                    from,
                    minutes,
                    sessions,
                    turns,
                };
                return machine_time::plan(service, &wanted, by).await.map(Done::Planned);
            }
        }
        _ => return Err(TimeError::Gone),
    }
    Ok(Done::Yes)
}

pub(in crate::web) async fn submit(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ClassOf,
    Form(typed): Form<Typed>,
) -> Result<Response, WebError> {
    let mut wrongs = Wrongs::default();
    if typed.what == "machine-down" {
        return down(app, person.id, of, typed).await;
    }
    let mut status = StatusCode::UNPROCESSABLE_ENTITY;
    match act(&app, person.id, &of.class, &typed, &mut wrongs).await {
        Ok(Done::Planned(planned)) if planned.left > 0 => {
            let page = machines(&app, of, typed, Vec::new(), Some(planned)).await?;
            return Ok(Page(page).into_response());
        }
        Ok(_) if wrongs.is_empty() => {
            return Ok(Redirect::to(&format!("/classes/{}/machines", of.class.id)).into_response());
        }
        Ok(_) => {}
        Err(TimeError::Store(error)) => return Err(error.into()),
        Err(error) => {
            if matches!(error, TimeError::NotHere | TimeError::Gone) {
                status = StatusCode::NOT_FOUND;
            }
            wrongs.add(field_of(&error), sentence(&error));
        }
    }
    let page = machines(&app, of, typed, wrongs.0, None).await?;
    Ok(Sheet(status, page).into_response())
}

async fn down(app: App, by: crate::store::ids::PersonId, of: ClassOf, typed: Typed) -> Result<Response, WebError> {
    let hours = typed.hours.trim().parse().unwrap_or(0);
    match machine_down(&app.service, of.class.id, hours, &typed.why, by).await {
        Ok(_) => Ok(Redirect::to(&format!("/classes/{}", of.class.id)).into_response()),
        Err(CareError::Store(error)) => Err(error.into()),
        Err(error) => {
            let field = if matches!(error, CareError::Hours) {
                "hours"
            } else {
                "why"
            };
            let page = machines(&app, of, typed, vec![(field, sentence(&error))], None).await?;
            Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}
