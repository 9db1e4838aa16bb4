//! One graded report for the instructor: what the plate is, what the pair wrote, and what makes the mark.

use askama::Template;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use crate::actions::load;
use crate::actions::my_result::grade_from;
use crate::actions::standing;
use crate::exercise::names::BalloonNo;
use crate::grading::grade::{Diagnosis, DiagnosisState, FoundFault, Grade};
use crate::grading::review::Review;
use crate::report::model::Report as Items;
use crate::store::assignments::{self, Assignment};
use crate::store::grades;
use crate::store::reports::{self, Report, ReportLine, SourceKind};
use crate::units::decimal_from_f64;
use crate::units::show_length;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::graded::{self, GradedRow, ReceiptLine};
use crate::web::guards::{Instructor, ReportOf};
use crate::web::render::Page;
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
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Graded {
    /// Of the exercise.
    revision: i64,
    review: &'static str,
    finding: &'static str,
    faults: Vec<Fault>,
    unexplained: String,
    drawing: String,
    rows: Vec<GradedRow>,
    lines: Vec<ReceiptLine>,
    total: String,
    computed: String,
}

#[derive(Debug)]
struct Fault {
    text: String,
    probability: String,
    explains: String,
}

fn per_cent(probability: f64) -> String {
    decimal_from_f64(probability * 100.0).map_or_else(String::new, |p| show_length(p, 0))
}

const fn finding(state: DiagnosisState) -> &'static str {
    match state {
        DiagnosisState::Clean => "The report fits the plate; no mistake is needed to explain it.",
        DiagnosisState::FaultStated => "What explains the numbers:",
        DiagnosisState::FaultSuspected => "What probably explains the numbers (not sure enough to count):",
        DiagnosisState::Unexplained => "The report does not fit the plate, and no mistake that is known explains it.",
        DiagnosisState::NotLookedInto => "Mistakes behind the numbers were not looked into.",
    }
}

fn nos(nos: &[BalloonNo]) -> String {
    nos.iter().map(BalloonNo::as_str).collect::<Vec<_>>().join(", ")
}

fn faults(diagnosis: &Diagnosis) -> Vec<Fault> {
    let fault = |f: &FoundFault| Fault {
        text: f.text.clone(),
        probability: per_cent(f.probability),
        explains: nos(&f.explains),
    };
    diagnosis.faults.iter().map(fault).collect()
}

fn source_words(kind: SourceKind, name: Option<&str>) -> String {
    match (kind, name) {
        (SourceKind::Form, _) => "typed".to_owned(),
        (SourceKind::Paste, _) => "pasted".to_owned(),
        (SourceKind::Csv, Some(name)) => format!("file {name}"),
        (SourceKind::Csv, None) => "file".to_owned(),
    }
}

async fn graded(app: &App, report: &Report, assignment: &Assignment) -> Result<Option<Graded>, WebError> {
    let Some(stored) = grades::of(&app.service.store, report.id).await? else {
        return Ok(None);
    };
    let exercise = load::exercise(&app.service, assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    let items: Items = serde_json::from_str(&report.items).map_err(WebError::internal)?;
    let mut grade: Grade = grade_from(&stored.result).map_err(WebError::internal)?;
    let minutes = standing::minutes_late(assignment, report.handed_in_at);
    standing::late_rule(assignment).apply(&mut grade.marks, minutes);
    Ok(Some(Graded {
        revision: stored.exercise_number,
        review: stored
            .review
            .as_deref()
            .and_then(Review::from_word)
            .map_or("", Review::text),
        finding: finding(grade.diagnosis.state),
        faults: faults(&grade.diagnosis),
        unexplained: nos(&grade.diagnosis.unexplained),
        drawing: String::new(),
        rows: graded::rows(&exercise, &grade.items, &items),
        lines: graded::receipt(&grade.marks.lines),
        total: graded::total(grade.marks.r#final),
        computed: format!(
            "Graded {} by {} from revision {} of the exercise and revision {} of the plate's truth.",
            times::show(stored.computed_at, &times::zone(&assignment.time_zone)),
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

pub(in crate::web) async fn page(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ReportOf,
) -> Result<Page<GradedReport>, WebError> {
    let (store, report) = (&app.service.store, of.report);
    let assignment = assignments::one(store, report.assignment)
        .await?
        .ok_or(WebError::NotFound)?;
    let minutes = standing::minutes_late(&assignment, report.handed_in_at);
    let graded = graded(&app, &report, &assignment).await?;
    Ok(Page(GradedReport {
        frame: Frame::of(&person, "/classes"),
        id: report.id.0,
        assignment: assignment.id.0,
        when: times::show(report.handed_in_at, &times::zone(&assignment.time_zone)),
        late: if minutes == 0 {
            String::new()
        } else {
            times::late_words(minutes)
        },
        source: source_words(report.source_kind, report.source_name.as_deref()),
        attempts: reports::of_pair(store, report.assignment, report.pair).await?,
        cells: cells(&report, &assignment, graded.as_ref().map(|g| g.revision)),
        assignment_title: assignment.title,
        attempt: report.attempt,
        pair: report.pair_name,
        person: report.person.unwrap_or_else(|| "somebody who is deleted".to_owned()),
        graded,
    }))
}

/// The source of a report as it came: to be kept, never to be run.
pub(in crate::web) async fn source(
    State(app): State<App>,
    Instructor(_): Instructor,
    of: ReportOf,
) -> Result<Response, WebError> {
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
    Ok((headers, bytes).into_response())
}
