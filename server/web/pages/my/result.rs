//! The result of one report, as far as the pair may see it.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::actions::load;
use crate::actions::my_result::{MyResult as Seen, my_result};
use crate::actions::review::{self, ReviewError, Wrong};
use crate::exercise::model::Exercise;
use crate::grading::feedback::{Agreement, Feedback, Full, Words, WordsItem};
use crate::grading::grade::Check;
use crate::report::assemble::call_word;
use crate::report::model::{Report, ReportItem};
use crate::store::assignments::Assignment;
use crate::store::ids::{AssignmentId, ReportId};
use crate::store::other_plates::{self, Settled};
use crate::store::reports::{self, Report as StoredReport};
use crate::store::{evidence, queries, remarks};
use crate::units::{show_length, show_reading};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::Fields;
use crate::web::frame::Frame;
use crate::web::graded::{self, GradedRow, ReceiptLine};
use crate::web::guards::MyReport;
use crate::web::pages::report_faults;
use crate::web::pictures::{self, WhatWasOff};
use crate::web::render::{Page, Sheet};
use crate::web::sheet::{self, SheetRow};
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "my_result.html")]
pub(in crate::web) struct MyResult {
    frame: Frame,
    id: AssignmentId,
    title: String,
    serial: String,
    /// What is said of a plate that is not the pair's; empty where it is.
    other_plate: String,
    pair: String,
    attempt: i64,
    attempts: i64,
    when: String,
    late: String,
    summary: String,
    faults: Vec<String>,
    full: Option<FullResult>,
    rows: Vec<Row>,
    drawing: String,
    mark: String,
    again: bool,
    talk: Talk,
    check: Option<Checking>,
    cells: Vec<(&'static str, String)>,
}

/// The one reading that is asked for, with what was typed where it came back.
#[derive(Debug)]
struct Checking {
    reading: String,
    request: String,
    label: String,
    typed: String,
    mend: String,
}

impl Checking {
    fn of(check: Check, typed: &str, mend: &str) -> Self {
        Self {
            reading: check.reading.to_string(),
            request: check.request,
            label: check.label,
            typed: typed.to_owned(),
            mend: mend.to_owned(),
        }
    }
}

/// A result in full.
#[derive(Debug)]
struct FullResult {
    rows: Vec<GradedRow>,
    lines: Vec<ReceiptLine>,
    total: String,
    drawing: String,
    /// After the faults are taken out; empty where nothing is corrected.
    corrected: String,
}

#[derive(Debug)]
struct Row {
    sheet: SheetRow,
    measured: String,
    agreement: &'static str,
    call: &'static str,
    call_words: &'static str,
}

pub(in crate::web) async fn page(State(app): State<App>, of: MyReport) -> Result<Page<MyResult>, WebError> {
    Ok(Page(whole(&app, of, Asking::default()).await?))
}

async fn whole(app: &App, of: MyReport, asking: Asking) -> Result<MyResult, WebError> {
    let MyReport {
        person,
        report,
        assignment,
    } = of;
    let service = &app.service;
    let exercise = load::exercise(service, assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    let items: Report = report.items.value()?;
    let seen = my_result(service, &report, &assignment)
        .await
        .map_err(WebError::internal)?;
    let shown = Shown::of(app, &assignment, &exercise, &items, seen).await?;
    let zone = times::zone(&assignment.time_zone);
    let when = times::show(report.handed_in_at, &zone);
    let cells = vec![
        ("Exercise", format!("{}, {}", exercise.code, assignment.title)),
        ("Plate", report.serial.clone()),
        ("Pair", report.pair_name.clone()),
        ("Attempt", format!("{} of {}", report.attempt, assignment.attempts)),
        ("Date", when.clone()),
        ("Sheet", "result".to_owned()),
    ];
    let check = shown.check.map(|c| Checking::of(c, &asking.value, &asking.value_mend));
    let talk = Talk::of(app, &report, &items, &zone, asking).await?;
    Ok(MyResult {
        frame: Frame::of(&person, "/my"),
        id: assignment.id,
        talk,
        check,
        title: assignment.title.clone(),
        other_plate: other_plate(app, report.id).await?,
        serial: report.serial,
        pair: report.pair_name,
        attempt: report.attempt,
        attempts: assignment.attempts,
        when,
        late: if shown.minutes_late == 0 {
            String::new()
        } else {
            times::late_words(shown.minutes_late)
        },
        summary: shown.summary,
        faults: shown.faults,
        drawing: shown.drawing,
        full: shown.full,
        rows: shown.rows,
        mark: shown.mark,
        again: report.attempt < assignment.attempts && shown.can_try_again,
        cells,
    })
}

/// What the pair is told of a report on another plate than it was given.
async fn other_plate(app: &App, report: ReportId) -> Result<String, WebError> {
    let Some(other) = other_plates::of(&app.service.store, report).await? else {
        return Ok(String::new());
    };
    let (measured, given) = (other.measured, other.given);
    Ok(match other.settled {
        None => format!(
            "You said that this is plate {measured}; yours was {given}. It is compared with plate {measured}, and your instructor says whether it counts."
        ),
        Some(Settled::Counts) => {
            format!("This is plate {measured}; yours was {given}. Your instructor has said that it counts.")
        }
        Some(Settled::Not) => format!(
            "This is plate {measured}; yours was {given}. Your instructor has said that it does not count, and you have the attempt once more."
        ),
    })
}

/// What was said about the report, and the form to ask about its mark.
#[derive(Debug)]
struct Talk {
    report: ReportId,
    remarks: Vec<(String, String)>,
    queries: Vec<Asked>,
    /// Photos and PDFs: row and name.
    files: Vec<(i64, String)>,
    /// What the pair said beside its numbers.
    said: String,
    /// Balloon numbers to choose from.
    nos: Vec<(String, String)>,
    asking: Asking,
}

/// A query of the pair.
#[derive(Debug)]
struct Asked {
    no: String,
    text: String,
    by: String,
    /// Words, and who said them; empty while it waits.
    answer: String,
    answer_by: String,
}

/// What was typed, where it came back.
#[derive(Debug, Default)]
struct Asking {
    no: String,
    text: String,
    mend: String,
    /// The reading of the one check.
    value: String,
    value_mend: String,
}

impl Talk {
    async fn of(
        app: &App,
        stored: &StoredReport,
        items: &Report,
        zone: &TimeZone,
        asking: Asking,
    ) -> Result<Self, WebError> {
        let (store, report) = (&app.service.store, stored.id);
        let files = evidence::of(store, super::evidence::of(stored)).await?;
        let note = reports::note(store, report).await?;
        let by = |name: Option<String>, at| {
            let name = name.unwrap_or_else(|| "somebody who is deleted".to_owned());
            format!("{name}, {}", times::show(at, zone))
        };
        let remarks = remarks::of(store, report).await?;
        let asked = |q: queries::Query| {
            let (answer, answer_by) = q.answer.map(|a| (a.text, by(a.by, a.at))).unwrap_or_default();
            Asked {
                no: q.no.unwrap_or_default(),
                text: q.text,
                by: by(q.asked_by, q.asked_at),
                answer,
                answer_by,
            }
        };
        let queries = queries::of(store, report).await?.into_iter().map(asked).collect();
        let whole = (String::new(), "the whole report".to_owned());
        let no = |i: &ReportItem| (i.no.to_string(), format!("number {}", i.no));
        Ok(Self {
            report,
            files: files.into_iter().map(|f| (f.id.0, f.name)).collect(),
            said: note.remarks.unwrap_or_default(),
            remarks: remarks
                .into_iter()
                .map(|r| (r.text, by(r.made_by, r.made_at)))
                .collect(),
            queries,
            nos: std::iter::once(whole).chain(items.items.iter().map(no)).collect(),
            asking,
        })
    }
}

/// What a pair asks.
#[derive(Debug, Deserialize)]
pub(in crate::web) struct Query {
    #[serde(default)]
    no: String,
    #[serde(default)]
    text: String,
}

/// Asks about the mark.
pub(in crate::web) async fn ask(
    State(app): State<App>,
    of: MyReport,
    Form(query): Form<Query>,
) -> Result<Response, WebError> {
    let items: Report = of.report.items.value()?;
    let known = items
        .items
        .iter()
        .find(|i| i.no.as_str() == query.no)
        .map(|i| i.no.as_str());
    let mend = match review::ask(&app.service, of.report.id, of.person.id, known, &query.text).await {
        Ok(()) => return Ok(Redirect::to(&format!("/my/reports/{}#talk", of.report.id)).into_response()),
        Err(ReviewError::Store(error)) => return Err(error.into()),
        Err(ReviewError::Wrong(Wrong::Gone)) => {
            "Several questions about this report wait for an answer already. Ask the next one when they are answered."
                .to_owned()
        }
        Err(ReviewError::Wrong(_)) => format!("Write your question, in at most {} characters.", review::TEXT),
    };
    let asking = Asking {
        no: query.no,
        text: query.text,
        mend,
        ..Asking::default()
    };
    Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, whole(&app, of, asking).await?).into_response())
}

/// Takes the reading of the one check.
pub(in crate::web) async fn answer(
    State(app): State<App>,
    of: MyReport,
    Fields(typed): Fields,
) -> Result<Response, WebError> {
    match report_faults::take(&app, of.report.id, &typed, of.person.id).await? {
        Ok(()) => Ok(Redirect::to(&format!("/my/reports/{}", of.report.id)).into_response()),
        Err(value_mend) => {
            let asking = Asking {
                value: typed.get("value").cloned().unwrap_or_default(),
                value_mend,
                ..Asking::default()
            };
            Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, whole(&app, of, asking).await?).into_response())
        }
    }
}

/// What there is to see, in either mode.
#[derive(Default)]
struct Shown {
    summary: String,
    faults: Vec<String>,
    full: Option<FullResult>,
    rows: Vec<Row>,
    drawing: String,
    mark: String,
    minutes_late: u64,
    can_try_again: bool,
    check: Option<Check>,
}

impl Shown {
    async fn of(
        app: &App,
        assignment: &Assignment,
        exercise: &Arc<Exercise>,
        report: &Report,
        seen: Option<Seen>,
    ) -> Result<Self, WebError> {
        let Some(Seen { feedback, minutes_late }) = seen else {
            return Ok(Self {
                summary: "Your report is kept. The result is still being worked out: open this page again in a moment."
                    .to_owned(),
                ..Self::default()
            });
        };
        let shown = match feedback {
            Feedback::Words(words) => {
                let drawing = app
                    .pictures
                    .plan(assignment.exercise_revision, exercise)
                    .await?
                    .svg
                    .clone();
                Self {
                    drawing,
                    ..Self::words(exercise, report, words)
                }
            }
            Feedback::Full(full) => {
                let off = pictures::what_was_off(exercise, &full.items).await?;
                Self::full(exercise, report, *full, off)
            }
        };
        Ok(Self { minutes_late, ..shown })
    }

    fn words(exercise: &Exercise, report: &Report, words: Words) -> Self {
        let lines = sheet::rows(exercise).into_iter().zip(&words.items).zip(&report.items);
        Self {
            summary: summary(&words.items),
            rows: lines
                .map(|((sheet, item), reported)| row(sheet, item, reported))
                .collect(),
            faults: words.faults,
            check: words.check,
            mark: words.mark.map(|m| show_length(m, 1)).unwrap_or_default(),
            can_try_again: true,
            ..Self::default()
        }
    }

    fn full(exercise: &Exercise, report: &Report, full: Full, off: WhatWasOff) -> Self {
        let agree = full
            .items
            .iter()
            .filter(|i| i.measurement_score.is_some_and(|s| s >= 1.0))
            .count();
        let graded = full.items.iter().filter(|i| i.measurement_score.is_some()).count();
        Self {
            summary: format!("{agree} of {graded} values agree with the plate."),
            mark: full.mark.map(|m| show_length(m, 1)).unwrap_or_default(),
            full: Some(FullResult {
                rows: graded::rows(exercise, &full.items, report),
                lines: graded::receipt(&full.lines),
                total: graded::total(full.mark),
                drawing: off.reported.svg,
                corrected: off.corrected.map(|p| p.svg).unwrap_or_default(),
            }),
            faults: full.faults,
            ..Self::default()
        }
    }
}

fn summary(items: &[WordsItem]) -> String {
    let graded = items.iter().filter(|i| i.agreement != Agreement::NotGraded).count();
    let agree = items.iter().filter(|i| i.agreement == Agreement::Agrees).count();
    let calls = items.iter().filter(|i| i.call_right_for_own_value.is_some()).count();
    let right = items
        .iter()
        .filter(|i| i.call_right_for_own_value == Some(true))
        .count();
    format!("{agree} of {graded} values agree with the plate. {right} of {calls} calls are right for your own values.")
}

fn row(sheet: SheetRow, item: &WordsItem, reported: &ReportItem) -> Row {
    Row {
        sheet,
        measured: reported.measured.as_ref().map(show_reading).unwrap_or_default(),
        agreement: match item.agreement {
            Agreement::Agrees => "agrees",
            Agreement::DoesNotAgree => "does not agree",
            Agreement::NotMeasured => "not measured",
            Agreement::NotGraded => "not graded",
        },
        call: call_word(item.call),
        call_words: match item.call_right_for_own_value {
            Some(true) => "right",
            Some(false) => "not what the rule makes of it",
            None => "none to judge",
        },
    }
}
