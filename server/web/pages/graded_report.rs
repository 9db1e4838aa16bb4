//! One graded report for the instructor: what the plate is, what the pair wrote, and what makes the mark.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;
use serde::Deserialize;

use super::my::evidence::{of as evidence_of, served};
use super::report_faults::{self, Faults};
use super::report_review::{Beside, Came, beside};
use crate::actions::load;
use crate::actions::mark_by_hand::{HandMarkError, mark_by_hand};
use crate::actions::my_result::{grade_from, settle};
use crate::actions::standing;
use crate::exercise::model::{Exercise, MarksLine, ScoreKind};
use crate::grading::grade::{Grade, GradedItem};
use crate::report::model::Report as Items;
use crate::store::assignments::{self, Assignment};
use crate::store::ids::ReportId;
use crate::store::people::Person;
use crate::store::reports::{self, Report, ReportLine, SourceKind};
use crate::store::{grades, hand_marks, overrides};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::Fields;
use crate::web::frame::Frame;
use crate::web::graded::{self, GradedRow, ReceiptLine};
use crate::web::guards::{ReportOf, may_see_truth};
use crate::web::pictures;
use crate::web::render::{Page, Sheet};
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "graded_report.html")]
pub(in crate::web) struct GradedReport {
    frame: Frame,
    id: i64,
    assignment: i64,
    assignment_title: String,
    pair: String,
    person: String,
    when: String,
    late: String,
    source: String,
    attempts: Vec<ReportLine>,
    attempt: i64,
    graded: Option<Graded>,
    /// Whether this person may see what the plate really is.
    truth: bool,
    beside: Beside,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Graded {
    /// Of the exercise.
    revision: i64,
    drawing: String,
    /// After the faults are taken out; empty where nothing is corrected.
    corrected: String,
    faults: Faults,
    /// Lines to be marked by hand.
    by_hand: Vec<ByHand>,
    /// What the score is made from.
    statistic: &'static str,
    rows: Vec<GradedRow>,
    lines: Vec<ReceiptLine>,
    total: String,
    computed: String,
}

/// A line to be marked by hand.
#[derive(Debug)]
struct ByHand {
    field: String,
    label: String,
    points: String,
    mend: String,
}

/// A line for those who may not see what the plate is: whether the value agrees, and nothing from which an amount could
/// be worked out.
fn without_truth(exercise: &Exercise, row: GradedRow, item: &GradedItem, items: &Items) -> GradedRow {
    let agrees = match (item.measurement_score, item.measured) {
        (None, _) => "not graded",
        (_, None) => "",
        (Some(score), _) if score >= 1.0 => "agrees",
        _ => "does not agree",
    };
    GradedRow {
        reference: String::new(),
        uncertainty: String::new(),
        off: String::new(),
        en: String::new(),
        score: agrees.to_owned(),
        by_plate: "",
        for_plate: "",
        place: graded::own_place(exercise, item, items),
        in_doubt: false,
        corrected: String::new(),
        note: String::new(),
        ..row
    }
}

fn source_words(kind: SourceKind, name: Option<&str>) -> String {
    match (kind, name) {
        (SourceKind::Form, _) => "typed".to_owned(),
        (SourceKind::Paste, _) => "pasted".to_owned(),
        (SourceKind::Csv, Some(name)) => format!("file {name}"),
        (SourceKind::Csv, None) => "file".to_owned(),
    }
}

/// Points as typed, by field.
type Typed = BTreeMap<String, String>;

async fn lines_by_hand(
    app: &App,
    report: ReportId,
    assignment: &Assignment,
) -> Result<(Vec<MarksLine>, BTreeMap<String, Decimal>), WebError> {
    let revision = assignment.exercise_revision;
    let exercise = load::exercise(&app.service, revision)
        .await
        .map_err(WebError::internal)?;
    let rules = load::rules(&app.service, revision, &exercise, assignment.marks_override.as_deref())
        .await
        .map_err(WebError::internal)?;
    Ok((rules.lines, hand_marks::of(&app.service.store, report).await?))
}

/// The form of the lines, as typed where it came back.
async fn by_hand(
    app: &App,
    report: ReportId,
    assignment: &Assignment,
    typed: Option<&Typed>,
) -> Result<Vec<ByHand>, WebError> {
    let (lines, given) = lines_by_hand(app, report, assignment).await?;
    let line = |(i, line): (usize, MarksLine)| {
        let field = format!("points-{i}");
        let kept = given.get(&line.name).map(ToString::to_string).unwrap_or_default();
        let points = typed.and_then(|t| t.get(&field)).cloned().unwrap_or(kept);
        let wrong = typed.is_some() && !points.trim().is_empty() && points_of(&points, &line).is_none();
        let mend = if wrong {
            format!("Write a number from 0 to {}.", line.points.normalize())
        } else {
            String::new()
        };
        ByHand {
            field,
            label: format!("{} (of {})", line.name, line.points.normalize()),
            points,
            mend,
        }
    };
    Ok(lines.into_iter().enumerate().map(line).collect())
}

fn points_of(text: &str, line: &MarksLine) -> Option<Decimal> {
    let points: Decimal = text.trim().replace(',', ".").parse().ok()?;
    (Decimal::ZERO..=line.points).contains(&points).then_some(points)
}

async fn graded(
    app: &App,
    report: &Report,
    assignment: &Assignment,
    came: &Came,
    truth: bool,
) -> Result<Option<Graded>, WebError> {
    let Some(stored) = grades::of(&app.service.store, report.id).await? else {
        return Ok(None);
    };
    let exercise = load::exercise(&app.service, assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    let items: Items = report.items.value()?;
    let mut grade: Grade = grade_from(&stored.result).map_err(WebError::internal)?;
    let minutes = standing::minutes_late(assignment, report.handed_in_at);
    let set = overrides::of(&app.service.store, report.id).await?;
    settle(&mut grade.marks, set.as_ref(), assignment, minutes);
    let rows = graded::rows(&exercise, &grade.items, &items);
    let (rows, drawing, corrected) = if truth {
        let off = pictures::what_was_off(&exercise, &grade.items).await?;
        (rows, off.reported.svg, off.corrected.map(|p| p.svg).unwrap_or_default())
    } else {
        let rows = rows.into_iter().zip(&grade.items);
        let plan = app.pictures.plan(assignment.exercise_revision, &exercise).await?;
        (
            rows.map(|(row, item)| without_truth(&exercise, row, item, &items))
                .collect(),
            plan.svg.clone(),
            String::new(),
        )
    };
    let zone = times::zone(&assignment.time_zone);
    let of = (report, assignment.exercise_revision);
    let laid = (exercise.as_ref(), &grade.diagnosis, stored.id.0);
    let faults = report_faults::part(app, of, laid, (came, truth), &zone).await?;
    Ok(Some(Graded {
        revision: stored.exercise_number,
        drawing,
        corrected,
        faults,
        statistic: match exercise.marks.score {
            ScoreKind::En => "En",
            ScoreKind::Fitness(_) => "z\u{2032}",
        },
        by_hand: by_hand(app, report.id, assignment, came.points.as_ref()).await?,
        rows,
        lines: graded::receipt(&grade.marks.lines),
        total: graded::total(grade.marks.r#final),
        computed: format!(
            "Graded {} by {} from revision {} of the exercise and revision {} of the plate's truth.",
            times::show(stored.computed_at, &zone),
            stored.software,
            stored.exercise_number,
            stored.plate_number
        ),
    }))
}

fn cells(report: &Report, assignment: &Assignment, revision: Option<i64>) -> Vec<(&'static str, String)> {
    let when = times::show(report.handed_in_at, &times::zone(&assignment.time_zone));
    vec![
        ("Exercise", assignment.exercise_code.clone()),
        ("Revision", revision.map_or_else(String::new, |r| r.to_string())),
        ("Plate", report.serial.clone()),
        ("Pair", report.pair_name.clone()),
        ("Attempt", format!("{} of {}", report.attempt, assignment.attempts)),
        ("Date", when),
    ]
}

/// The page, with what was typed where it came back.
pub(super) async fn whole(
    app: &App,
    person: &Person,
    report: Report,
    assignment: Assignment,
    came: &Came,
) -> Result<GradedReport, WebError> {
    let minutes = standing::minutes_late(&assignment, report.handed_in_at);
    let zone = times::zone(&assignment.time_zone);
    let truth = may_see_truth(person);
    let graded = graded(app, &report, &assignment, came, truth).await?;
    let beside = beside(app, person, &report, &assignment, came).await?;
    Ok(GradedReport {
        frame: Frame::of(person, "/classes"),
        id: report.id.0,
        assignment: assignment.id.0,
        when: times::show(report.handed_in_at, &zone),
        late: if minutes == 0 {
            String::new()
        } else {
            times::late_words(minutes)
        },
        source: source_words(report.source_kind, report.source_name.as_deref()),
        attempts: reports::of_pair(&app.service.store, report.assignment, report.pair).await?,
        cells: cells(&report, &assignment, graded.as_ref().map(|g| g.revision)),
        assignment_title: assignment.title,
        attempt: report.attempt,
        pair: report.pair_name,
        person: report.person.unwrap_or_else(|| "somebody who is deleted".to_owned()),
        graded,
        truth,
        beside,
    })
}

/// The assignment of a report, as it is for its pair.
pub(super) async fn assignment_of(app: &App, report: &Report) -> Result<Assignment, WebError> {
    let store = &app.service.store;
    let assignment = assignments::one(store, report.assignment)
        .await?
        .ok_or(WebError::NotFound)?;
    Ok(standing::of_pair(store, assignment, report.pair).await?)
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    of: ReportOf,
    Query(after): Query<After>,
) -> Result<Page<GradedReport>, WebError> {
    let assignment = assignment_of(&app, &of.report).await?;
    let came = Came {
        done: after.done,
        naming: after.name,
        ..Came::default()
    };
    Ok(Page(whole(&app, &of.person, of.report, assignment, &came).await?))
}

/// Where the person comes from.
#[derive(Debug, Deserialize)]
pub(in crate::web) struct After {
    /// Report that was done with before this one.
    done: Option<i64>,
    /// Family of the fault that the person is about to name.
    name: Option<String>,
}

/// Gives points for the lines that are marked by hand; fields left empty stay as they are.
pub(in crate::web) async fn mark(
    State(app): State<App>,
    of: ReportOf,
    Fields(typed): Fields,
) -> Result<Response, WebError> {
    let report = of.report;
    let assignment = assignment_of(&app, &report).await?;
    let (lines, _) = lines_by_hand(&app, report.id, &assignment).await?;
    let mut points = BTreeMap::new();
    for (i, line) in lines.iter().enumerate() {
        let text = typed.get(&format!("points-{i}")).map_or("", String::as_str).trim();
        match points_of(text, line) {
            Some(given) => drop(points.insert(line.name.clone(), given)),
            None if text.is_empty() => {}
            None => {
                let came = Came {
                    points: Some(typed),
                    ..Came::default()
                };
                let page = whole(&app, &of.person, report, assignment, &came).await?;
                return Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
            }
        }
    }
    match mark_by_hand(&app.service, report.id, &lines, &points, of.person.id).await {
        Ok(()) => Ok(Redirect::to(&format!("/reports/{}", report.id)).into_response()),
        Err(HandMarkError::Store(error)) => Err(error.into()),
        Err(error) => Err(WebError::internal(error)),
    }
}

/// The source of a report as it came: to be kept, never to be run.
pub(in crate::web) async fn source(State(app): State<App>, of: ReportOf) -> Result<Response, WebError> {
    let (kind, _, bytes) = reports::source(&app.service.store, of.report.id)
        .await?
        .ok_or(WebError::NotFound)?;
    let end = match kind {
        SourceKind::Csv => "csv",
        SourceKind::Form | SourceKind::Paste => "txt",
    };
    let headers = [
        (header::CONTENT_TYPE, "application/octet-stream".to_owned()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"report-{}.{end}\"", of.report.id),
        ),
        (
            header::CONTENT_SECURITY_POLICY,
            "default-src 'none'; sandbox".to_owned(),
        ),
    ];
    Ok((headers, app.served.body(of.person.id, bytes)?).into_response())
}

/// A photo or PDF beside a report.
pub(in crate::web) async fn evidence(
    State(app): State<App>,
    of: ReportOf,
    Path(path): Path<BTreeMap<String, String>>,
) -> Result<Response, WebError> {
    served(&app, &of.person, evidence_of(&of.report), &path).await
}
