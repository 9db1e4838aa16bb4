//! Report entry: typed, pasted or taken from a CSV file, kept at any time, handed in once.
//!
//! Whatever is wrong comes back on the same page with everything that was typed; nothing is handed in by half.

use std::collections::BTreeMap;
use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};

use super::entry_form::{Ask, Form};
use crate::actions::hand_in_report::{self, HandIn, HandInError, hand_in_report};
use crate::actions::keep_draft::{self, DraftError};
use crate::actions::load;
use crate::exercise::model::Exercise;
use crate::report::assemble::{Field, Problem};
use crate::report::model::Report;
use crate::store::assignments::Mine;
use crate::store::ids::AssignmentId;
use crate::store::people::Person;
use crate::web::app::App;
use crate::web::errors::{Explained, WebError};
use crate::web::frame::Frame;
use crate::web::guards::MyAssignment;
use crate::web::render::Sheet;
use crate::web::sheet::{self, SheetRow};
use crate::web::times;
use crate::web::upload::Upload;

#[derive(Debug, Template)]
#[template(path = "my_entry.html")]
pub(in crate::web) struct MyEntry {
    frame: Frame,
    id: AssignmentId,
    title: String,
    code: String,
    pair: String,
    serial: String,
    attempt: i64,
    attempts: i64,
    unit: &'static str,
    decimals: u32,
    key: String,
    source: String,
    source_name: String,
    wrongs: Vec<(String, String)>,
    said: Vec<String>,
    ask: Vec<Ask>,
    ask_columns: bool,
    open: bool,
    pasted: String,
    pasted_mend: String,
    file_mend: String,
    rows: Vec<Row>,
    kept: String,
    missing: usize,
    confirm: bool,
    drawing: String,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Row {
    sheet: SheetRow,
    measured: String,
    call: String,
    mend: String,
}

/// What a page comes back with.
#[derive(Debug, Default)]
pub(super) struct Back {
    pub(super) said: Vec<String>,
    pub(super) problems: Vec<Problem>,
    pub(super) ask: Vec<Ask>,
    pub(super) ask_columns: bool,
    pub(super) file_mend: String,
    pub(super) pasted_mend: String,
    pub(super) kept: String,
    pub(super) missing: usize,
    pub(super) confirm: bool,
}

impl Back {
    /// Whether something has to be mended or answered first.
    pub(super) fn is_wrong(&self) -> bool {
        let mends = [&self.file_mend, &self.pasted_mend];
        !self.problems.is_empty() || !self.ask.is_empty() || self.ask_columns || mends.iter().any(|m| !m.is_empty())
    }

    pub(super) fn problem(text: impl Into<String>) -> Self {
        Self {
            problems: vec![Problem {
                line: None,
                no: None,
                text: text.into(),
            }],
            ..Self::default()
        }
    }
}

/// The page as it begins: with what the pair has written so far.
pub(in crate::web) async fn page(
    State(app): State<App>,
    MyAssignment { person, mine }: MyAssignment,
) -> Result<Response, WebError> {
    let exercise = load::exercise(&app.service, mine.assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    if let Some(closed) = closed(&mine) {
        return Err(closed);
    }
    let draft = keep_draft::draft(&app.service, &mine)
        .await
        .map_err(WebError::internal)?;
    let zone = times::zone(&mine.assignment.time_zone);
    let kept = draft
        .as_ref()
        .map(|d| format!("Kept {}.", times::show(d.kept_at, &zone)));
    let form = Form::of_draft(
        &exercise,
        draft.map(|d| d.fields).unwrap_or_default(),
        mine.handed_in + 1,
    );
    let back = Back {
        kept: kept.unwrap_or_default(),
        ..Back::default()
    };
    Ok(Sheet(
        StatusCode::OK,
        entry(&app, &person, &mine, &exercise, form, back).await?,
    )
    .into_response())
}

/// Why nothing can be entered, as a page of its own.
fn closed(mine: &Mine) -> Option<WebError> {
    let (title, what, mend) = if mine.plate.is_none() {
        (
            "No plate yet",
            "Your pair has no plate for this, so there is nothing to report on.",
            "Ask your instructor which plate is yours.",
        )
    } else if mine.handed_in >= mine.assignment.attempts {
        (
            "All attempts are handed in",
            "Your pair has used every attempt at this.",
            "Look at the results, or ask your instructor for another attempt.",
        )
    } else {
        return None;
    };
    let page = Explained::new(StatusCode::CONFLICT, title, what, mend);
    Some(
        page.to(format!("/my/{}", mine.assignment.id), "Back to the assignment")
            .into(),
    )
}

/// Keeps, reads a table into the fields, or hands in, as the button says.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    MyAssignment { person, mine }: MyAssignment,
    headers: HeaderMap,
    upload: Upload,
) -> Result<Response, WebError> {
    let exercise = load::exercise(&app.service, mine.assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    let mut form = Form::of_upload(&exercise, &upload, mine.handed_in + 1);
    let by_script = headers.contains_key("x-keep");
    // The draft first: whatever happens below, what was typed is there again.
    let mut kept = keep(&app, &mine, &form).await;
    if by_script {
        return Ok(kept.map_err(|unkept| unkept.error)?.into_response());
    }
    let had_table = form.has_table();
    let done = match (&kept, upload.field("do")) {
        (Err(unkept), _) => Err(Box::new(Back::problem(unkept.text))),
        (Ok(_), "hand-in") => ready(&exercise, &mut form, &upload),
        (Ok(_), "read") => Err(Box::new(form.read_table(&exercise))),
        _ => Err(Box::default()),
    };
    let back = match done {
        Ok(report) => match hand_in(&app, &person, &mine, &form, &report).await? {
            Ok(response) => return Ok(response),
            Err(back) => back,
        },
        Err(back) => *back,
    };
    if had_table && !form.has_table() {
        // What was read from the table is kept as what is typed is.
        kept = keep(&app, &mine, &form).await;
    }
    let status = match &kept {
        Err(unkept) => unkept.status,
        Ok(_) if back.is_wrong() => StatusCode::UNPROCESSABLE_ENTITY,
        Ok(_) => StatusCode::OK,
    };
    let kept = kept.unwrap_or_default();
    let back = Back { kept, ..back };
    Ok(Sheet(status, entry(&app, &person, &mine, &exercise, form, back).await?).into_response())
}

/// What was typed could not be kept: it goes back on the page, which is then the only place where it is.
struct Unkept {
    status: StatusCode,
    text: &'static str,
    error: WebError,
}

/// Keeps the fields as a draft; when that was, in words.
async fn keep(app: &App, mine: &Mine, form: &Form) -> Result<String, Unkept> {
    match keep_draft::keep_draft(&app.service, mine, &form.draft()).await {
        Ok(when) => Ok(format!(
            "Kept {}.",
            times::show(when, &times::zone(&mine.assignment.time_zone))
        )),
        Err(DraftError::TooMuch) => Err(Unkept {
            status: StatusCode::UNPROCESSABLE_ENTITY,
            text: "A field of the table holds far more than a number. A value has at most 2000 characters: shorten it and send the page again.",
            error: Explained::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "Not kept",
                "A field of the table holds far more than a number.",
                "Shorten it and go on.",
            )
            .into(),
        }),
        Err(error) => Err(Unkept::by_fault(&error)),
    }
}

impl Unkept {
    fn by_fault(error: &DraftError) -> Self {
        tracing::error!(%error, "a draft was not kept");
        Self {
            status: StatusCode::SERVICE_UNAVAILABLE,
            text: "The server cannot keep what you typed at the moment. It is still on this page: leave the page open, tell your instructor, and send it again in a while.",
            error: WebError::internal(error),
        }
    }
}

/// The report, if it can be handed in as it stands.
fn ready(exercise: &Exercise, form: &mut Form, upload: &Upload) -> Result<Report, Box<Back>> {
    let mut said = Vec::new();
    if form.has_table() {
        let back = form.read_table(exercise);
        if back.is_wrong() {
            return Err(Box::new(back));
        }
        said = back.said;
    }
    let report = form.report(exercise)?;
    let missing = report
        .items
        .iter()
        .filter(|i| i.measured.is_none() || i.call.is_none())
        .count();
    let nothing = report.items.iter().all(|i| i.measured.is_none());
    if nothing {
        return Err(Box::new(Back {
            said,
            ..Back::problem("No value is written yet. Type the values into the table, paste it, or choose a CSV file.")
        }));
    }
    if missing > 0 && upload.field("incomplete") != "yes" {
        return Err(Box::new(Back {
            said,
            missing,
            confirm: true,
            ..Back::problem(missing_words(&report))
        }));
    }
    Ok(report)
}

fn missing_words(report: &Report) -> String {
    let nos = |test: &dyn Fn(&crate::report::model::ReportItem) -> bool| {
        report
            .items
            .iter()
            .filter(|i| test(i))
            .map(|i| i.no.to_string())
            .collect::<Vec<_>>()
            .join(", ")
    };
    let values = nos(&|i| i.measured.is_none());
    let calls = nos(&|i| i.measured.is_some() && i.call.is_none());
    let mut words = Vec::new();
    if !values.is_empty() {
        words.push(format!("No value at {values}."));
    }
    if !calls.is_empty() {
        words.push(format!("No call at {calls}."));
    }
    words.push("Fill them in, or tick the box beside the button and hand in as it is.".to_owned());
    words.join(" ")
}

async fn hand_in(
    app: &App,
    person: &Person,
    mine: &Mine,
    form: &Form,
    report: &Report,
) -> Result<Result<Response, Back>, WebError> {
    let (source_kind, source_bytes) = form.source(report).map_err(WebError::internal)?;
    let handed = hand_in_report(
        &app.service,
        HandIn {
            mine,
            person: person.id,
            attempt: form.attempt,
            key: &form.key,
            report,
            source_kind,
            source_name: form.source_name(),
            source_bytes,
        },
    )
    .await;
    let refused = |text: &str| Ok(Err(Back::problem(text)));
    match handed {
        Ok(handed) => Ok(Ok(
            Redirect::to(&format!("/my/reports/{}", handed.report)).into_response()
        )),
        Err(HandInError::Empty) => refused("No value is written yet. Type the values into the table."),
        Err(HandInError::NoPlate) => Err(closed(mine).unwrap_or(WebError::NotFound)),
        Err(HandInError::NotOpen) => Err(WebError::NotFound),
        Err(HandInError::AttemptTaken { report }) => Err(taken(mine, report.0)),
        Err(HandInError::NoAttemptLeft) => refused(
            "All attempts are used. What you typed is kept in the draft; ask your instructor for another attempt.",
        ),
        Err(HandInError::OutOfTurn) => refused(
            "This page is from an earlier attempt. Look your numbers over and hand in again: they count for the attempt that is named above.",
        ),
        Err(HandInError::Items(error)) => Err(WebError::internal(error)),
        Err(HandInError::Store(error)) => Err(error.into()),
    }
}

fn taken(mine: &Mine, report: i64) -> WebError {
    Explained::new(
        StatusCode::CONFLICT,
        "This attempt was handed in already",
        "Your partner, or another page of yours, handed in other numbers for this attempt a moment ago. Those count.",
        "Compare them with yours. If yours are the better ones and an attempt is left, hand them in as the next attempt.",
    )
    .to(format!("/my/reports/{report}"), &format!("The report that was handed in for {}", mine.assignment.title))
    .into()
}

async fn entry(
    app: &App,
    person: &Person,
    mine: &Mine,
    exercise: &Arc<Exercise>,
    form: Form,
    back: Back,
) -> Result<MyEntry, WebError> {
    let key = if form.key.is_empty() {
        hand_in_report::new_key().map_err(WebError::internal)?
    } else {
        form.key.clone()
    };
    let mend = mends(&back.problems);
    let rows = sheet::rows(exercise)
        .into_iter()
        .zip(&form.fields)
        .map(|(sheet, field)| row(sheet, field, &mend))
        .collect();
    let serial = mine.serial.clone().unwrap_or_default();
    let attempt = mine.handed_in + 1;
    Ok(MyEntry {
        frame: Frame::of(person, "/my"),
        id: mine.assignment.id,
        title: mine.assignment.title.clone(),
        code: exercise.code.to_string(),
        pair: mine.pair_name.clone(),
        attempt,
        attempts: mine.assignment.attempts,
        unit: exercise.units.as_str(),
        decimals: exercise.decimals,
        key,
        wrongs: wrongs(&back),
        open: form.has_table() || !back.file_mend.is_empty() || !back.pasted_mend.is_empty(),
        pasted: form.pasted,
        source: form.source_hex,
        source_name: form.source_name,
        said: back.said,
        ask: back.ask,
        ask_columns: back.ask_columns,
        pasted_mend: back.pasted_mend,
        file_mend: back.file_mend,
        rows,
        kept: back.kept,
        missing: back.missing,
        confirm: back.confirm,
        drawing: app
            .pictures
            .plan(mine.assignment.exercise_revision, exercise)
            .await?
            .svg
            .clone(),
        cells: vec![
            ("Exercise", exercise.code.to_string()),
            ("Plate", serial.clone()),
            ("Pair", mine.pair_name.clone()),
            ("Attempt", format!("{attempt} of {}", mine.assignment.attempts)),
            ("Sheet", "report".to_owned()),
        ],
        serial,
    })
}

fn row(sheet: SheetRow, field: &Field, mend: &BTreeMap<String, String>) -> Row {
    Row {
        measured: field.measured.clone(),
        call: field.call.clone(),
        mend: mend.get(&sheet.no).cloned().unwrap_or_default(),
        sheet,
    }
}

fn mends(problems: &[Problem]) -> BTreeMap<String, String> {
    let at_field = problems.iter().filter(|p| p.line.is_none());
    at_field.filter_map(|p| Some((p.no.clone()?, p.text.clone()))).collect()
}

/// All that is wrong, with the field that each leads to.
fn wrongs(back: &Back) -> Vec<(String, String)> {
    let mut wrongs = Vec::new();
    if !back.ask.is_empty() {
        wrongs.push(("decimal".to_owned(), "Say which decimal mark is meant.".to_owned()));
    }
    if back.ask_columns {
        wrongs.push((
            "columns".to_owned(),
            "Say what stands in the columns of the table.".to_owned(),
        ));
    }
    for (field, mend) in [("table", &back.file_mend), ("pasted", &back.pasted_mend)] {
        if !mend.is_empty() {
            wrongs.push((field.to_owned(), mend.clone()));
        }
    }
    for p in &back.problems {
        let place = match (p.line, &p.no) {
            (None, Some(no)) => format!("m-{no}"),
            (None, None) if back.confirm => "incomplete".to_owned(),
            _ => "pasted".to_owned(),
        };
        let text = p
            .line
            .map_or_else(|| p.text.clone(), |line| format!("Line {line}: {}", p.text));
        wrongs.push((place, text));
    }
    wrongs
}
