//! Report entry beside the machine, one number at a time: everything large, the part of the drawing that it is about, and
//! the next one a touch away. Each goes into the pair's draft; the whole is handed in from the page with all numbers.

use std::collections::BTreeMap;
use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::CookieJar;

use super::entry::{Order, closed, keep_for, number_key, two};
use super::entry_form::PLATE;
use crate::actions::keep_draft::{self, DraftError, Sent};
use crate::actions::load;
use crate::exercise::drawing::{DrawingOptions, plan_view};
use crate::exercise::model::Exercise;
use crate::report::assemble::{self, Field, FromForm};
use crate::report::check::{Doubt, check};
use crate::report::draft::{Base, Written};
use crate::report::table::ReadOptions;
use crate::store::assignments::Mine;
use crate::store::ids::AssignmentId;
use crate::store::people::Person;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::Fields;
use crate::web::frame::Frame;
use crate::web::guards::MyAssignment;
use crate::web::render::Sheet;
use crate::web::sheet::{self, SheetRow};
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "my_entry_one.html")]
pub(in crate::web) struct MyEntryOne {
    frame: Frame,
    id: AssignmentId,
    code: String,
    serial: String,
    attempt: i64,
    owner: i64,
    base: String,
    /// `?order=number`, or nothing.
    order: &'static str,
    place: usize,
    of: usize,
    sheet: SheetRow,
    measured: String,
    call: String,
    /// Serial of another plate, as typed.
    plate: String,
    mend: String,
    /// Whether the value can be kept as it is written although it looks odd.
    may_insist: bool,
    two: Vec<(String, String)>,
    two_calls: Vec<(String, String)>,
    kept: String,
    previous: String,
    drawing: String,
    steps: Vec<Step>,
    cells: Vec<(&'static str, String)>,
}

/// A balloon of the strip.
#[derive(Debug)]
struct Step {
    no: String,
    href: String,
    filled: bool,
    here: bool,
}

/// Numbers of the sheet in the order that was asked for.
fn numbers(exercise: &Exercise, order: &Order) -> Vec<String> {
    let mut all: Vec<String> = exercise.characteristics.iter().map(|c| c.no.to_string()).collect();
    if order.by_number() {
        all.sort_by_cached_key(|no| number_key(no));
    }
    all
}

fn query(order: &Order) -> &'static str {
    if order.by_number() { "?order=number" } else { "" }
}

/// What comes back with the page.
#[derive(Default)]
struct Back {
    kept: String,
    mend: String,
    may_insist: bool,
}

#[derive(Clone, Copy)]
struct Place<'a> {
    mine: &'a Mine,
    person: &'a Person,
    exercise: &'a Arc<Exercise>,
    no: &'a str,
    order: &'a Order,
}

/// The strip of balloons.
fn steps(place: &Place<'_>, all: &[String], written: &Written) -> Vec<Step> {
    let (id, order) = (place.mine.assignment.id, query(place.order));
    let filled = |no: &str| {
        written
            .fields
            .get(&format!("m-{no}"))
            .is_some_and(|t| !t.trim().is_empty())
    };
    let step = |no: &String| Step {
        href: format!("/my/{id}/entry/{no}{order}"),
        filled: filled(no),
        here: no == place.no,
        no: no.clone(),
    };
    all.iter().map(step).collect()
}

/// The part of the drawing around a number.
async fn drawing(exercise: &Arc<Exercise>, index: usize) -> Result<String, WebError> {
    let exercise = Arc::clone(exercise);
    let drawn = tokio::task::spawn_blocking(move || plan_view(&exercise, &DrawingOptions::around(index)).svg);
    drawn.await.map_err(WebError::internal)
}

fn cells(place: &Place<'_>) -> Vec<(&'static str, String)> {
    let mine = place.mine;
    vec![
        ("Exercise", place.exercise.code.to_string()),
        ("Plate", mine.serial.clone().unwrap_or_default()),
        ("Pair", mine.pair_name.clone()),
        (
            "Attempt",
            format!("{} of {}", mine.handed_in + 1, mine.assignment.attempts),
        ),
        ("Sheet", format!("report, number {}", place.no)),
    ]
}

async fn whole(place: Place<'_>, written: &Written, back: Back) -> Result<MyEntryOne, WebError> {
    let Place {
        mine,
        person,
        exercise,
        no,
        order,
    } = place;
    let all = numbers(exercise, order);
    let at = all.iter().position(|n| n == no).ok_or(WebError::NotFound)?;
    let href = |no: &String| format!("/my/{}/entry/{no}{}", mine.assignment.id, query(order));
    let previous = at.checked_sub(1).and_then(|i| all.get(i)).map(href);
    let (index, sheet) = sheet::rows(exercise)
        .into_iter()
        .enumerate()
        .find(|(_, row)| row.no == no)
        .ok_or(WebError::NotFound)?;
    let text = |name: &str| written.fields.get(name).cloned().unwrap_or_default();
    let (value, call) = (format!("m-{no}"), format!("c-{no}"));
    let base: Base = written
        .base()
        .into_iter()
        .filter(|(name, _)| *name == value || *name == call || name == PLATE)
        .collect();
    let both = two(written, person);
    let both = |name: &str| {
        both.iter()
            .find(|t| t.name == name)
            .map(super::entry::Two::words)
            .unwrap_or_default()
    };
    let drawing = drawing(exercise, index).await?;
    Ok(MyEntryOne {
        frame: Frame::of(person, "/my"),
        id: mine.assignment.id,
        code: exercise.code.to_string(),
        serial: mine.serial.clone().unwrap_or_default(),
        attempt: mine.handed_in + 1,
        owner: person.id.0,
        base: serde_json::to_string(&base).map_err(WebError::internal)?,
        order: query(order),
        place: at + 1,
        of: all.len(),
        measured: text(&value),
        call: text(&call),
        plate: text(PLATE),
        mend: back.mend,
        may_insist: back.may_insist,
        two: both(&value),
        two_calls: both(&call),
        kept: back.kept,
        previous: previous.unwrap_or_default(),
        steps: steps(&place, &all, written),
        drawing,
        cells: cells(&place),
        sheet,
    })
}

fn no_of(path: &BTreeMap<String, String>) -> Result<&str, WebError> {
    path.get("no").map(String::as_str).ok_or(WebError::NotFound)
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    MyAssignment { person, mine }: MyAssignment,
    Path(path): Path<BTreeMap<String, String>>,
    jar: CookieJar,
    Query(order): Query<Order>,
) -> Result<Response, WebError> {
    if let Some(closed) = closed(&mine) {
        return Err(closed);
    }
    let exercise = load::exercise(&app.service, mine.assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    let draft = keep_draft::draft(&app.service, &mine)
        .await
        .map_err(WebError::internal)?;
    let zone = times::zone(&mine.assignment.time_zone);
    let kept = draft
        .as_ref()
        .map(|d| format!("Kept {}.", times::show(d.kept_at, &zone)));
    let written = draft.map(|d| d.written).unwrap_or_default();
    let place = Place {
        mine: &mine,
        person: &person,
        exercise: &exercise,
        no: no_of(&path)?,
        order: &order,
    };
    let back = Back {
        kept: kept.unwrap_or_default(),
        ..Back::default()
    };
    let page = Sheet(StatusCode::OK, whole(place, &written, back).await?);
    Ok((keep_for(&jar, &person), page).into_response())
}

/// What is wrong with one value, and whether it may stand all the same.
fn doubt(exercise: &Exercise, no: &str, measured: &str) -> Option<(String, bool)> {
    let field = |c: &crate::exercise::model::Characteristic| Field {
        no: c.no.to_string(),
        measured: if c.no.as_str() == no {
            measured.to_owned()
        } else {
            String::new()
        },
        call: String::new(),
    };
    let fields: Vec<Field> = exercise.characteristics.iter().map(field).collect();
    match assemble::from_form(exercise, &fields, &ReadOptions::default()) {
        FromForm::Problems(problems) => problems.into_iter().next().map(|p| (p.text, false)),
        // The decimal mark is asked about when all numbers are there to tell it by.
        FromForm::AskDecimalMark(_) => None,
        FromForm::Report(assembled) => check(exercise, &assembled.report)
            .into_iter()
            .find(|r| !matches!(r.doubt, Doubt::NoValue | Doubt::NoCall))
            .map(|r| (r.text, true)),
    }
}

/// The two fields of a number and the plate, and what was sent of them.
fn sent(no: &str, typed: &BTreeMap<String, String>) -> ([String; 3], Sent) {
    let names = [format!("m-{no}"), format!("c-{no}"), PLATE.to_owned()];
    let own = |name: &String| typed.get(name).map(|text| (name.clone(), text.clone()));
    let pick = |name: &String| {
        let text = typed.get(&format!("pick-{name}"))?;
        Some((name.clone(), text.clone()))
    };
    let sent = Sent {
        fields: names.iter().filter_map(own).collect(),
        base: typed.get("base").and_then(|text| serde_json::from_str(text).ok()),
        chosen: names.iter().filter_map(pick).collect(),
    };
    (names, sent)
}

/// Keeps the number and goes on to the next.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    MyAssignment { person, mine }: MyAssignment,
    Path(path): Path<BTreeMap<String, String>>,
    Query(order): Query<Order>,
    Fields(typed): Fields,
) -> Result<Response, WebError> {
    let no = no_of(&path)?;
    let exercise = load::exercise(&app.service, mine.assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    let all = numbers(&exercise, &order);
    let at = all.iter().position(|n| n == no).ok_or(WebError::NotFound)?;
    if let Some(closed) = closed(&mine) {
        return Err(closed);
    }
    let (names, sent) = sent(no, &typed);
    let place = Place {
        mine: &mine,
        person: &person,
        exercise: &exercise,
        no,
        order: &order,
    };
    let draft = match keep_draft::keep_draft(&app.service, &mine, person.id, &sent).await {
        Ok(draft) => draft,
        Err(DraftError::TooMuch) => {
            let written = Written {
                fields: sent.fields,
                ..Written::default()
            };
            let back = Back {
                mend: "This is far more than a number. Write the value alone.".to_owned(),
                ..Back::default()
            };
            return Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, whole(place, &written, back).await?).into_response());
        }
        Err(error) => return Err(WebError::internal(error)),
    };
    let written = draft.written;
    let asked = written.asked().any(|(name, _, _)| names.iter().any(|n| n == name));
    let measured = written.fields.get(&names[0]).map_or("", String::as_str);
    let wrong = doubt(&exercise, no, measured).filter(|(_, may_insist)| !may_insist || !typed.contains_key("sure"));
    if asked || wrong.is_some() {
        let (mend, may_insist) = wrong.unwrap_or_default();
        let zone = times::zone(&mine.assignment.time_zone);
        let back = Back {
            kept: format!("Kept {}.", times::show(draft.kept_at, &zone)),
            mend,
            may_insist,
        };
        return Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, whole(place, &written, back).await?).into_response());
    }
    let next = all.get(at + 1).map_or_else(
        || format!("/my/{}/entry{}#values", mine.assignment.id, query(&order)),
        |next| format!("/my/{}/entry/{next}{}", mine.assignment.id, query(&order)),
    );
    Ok(Redirect::to(&next).into_response())
}
