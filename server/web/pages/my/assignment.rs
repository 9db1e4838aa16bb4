//! One assignment of a pair: what is to do, until when, and what was handed in.

use askama::Template;
use axum::extract::State;

use crate::actions::gradebook::{self, Entry};
use crate::actions::{keep_draft, load, standing};
use crate::store::assignments::{self, Assignment, Counting};
use crate::store::ids::{AssignmentId, PersonId, ReportId};
use crate::store::reports::{self, ReportLine};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::graded::{self, ReceiptLine};
use crate::web::guards::MyAssignment as Guard;
use crate::web::render::Page;
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "my_assignment.html")]
pub(in crate::web) struct MyAssignment {
    frame: Frame,
    id: AssignmentId,
    title: String,
    exercise_title: String,
    unit: &'static str,
    pair: String,
    serial: Option<String>,
    due: String,
    due_machine: String,
    handed_in: i64,
    attempts: i64,
    counting: String,
    late: String,
    closed: &'static str,
    draft: bool,
    reports: Vec<Line>,
    /// The student's own mark, once marks are released.
    mark: Option<Mark>,
    excused: bool,
}

/// A mark with what made it.
#[derive(Debug)]
struct Mark {
    total: String,
    lines: Vec<ReceiptLine>,
}

#[derive(Debug)]
struct Line {
    id: ReportId,
    attempt: i64,
    /// The pair, where it is another one than the student's of now.
    pair: String,
    when: String,
    late: String,
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    Guard { person, mine }: Guard,
) -> Result<Page<MyAssignment>, WebError> {
    let service = &app.service;
    let exercise = load::exercise(service, mine.assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    let draft = keep_draft::draft(service, &mine).await.map_err(WebError::internal)?;
    let handed_in = reports::of_student(&service.store, mine.assignment.id, person.id).await?;
    let (mark, excused) = own_mark(&app, mine.assignment.id, person.id).await?;
    let zone = times::zone(&mine.assignment.time_zone);
    let line = |r: &ReportLine| Line {
        id: r.id,
        attempt: r.attempt,
        pair: Some(&r.pair_name)
            .filter(|p| **p != mine.pair_name)
            .cloned()
            .unwrap_or_default(),
        when: times::show(r.handed_in_at, &zone),
        late: match standing::minutes_late(&mine.assignment, r.handed_in_at) {
            0 => String::new(),
            minutes => times::late_words(minutes),
        },
    };
    Ok(Page(MyAssignment {
        frame: Frame::of(&person, "/my"),
        id: mine.assignment.id,
        title: mine.assignment.title.clone(),
        exercise_title: exercise.title.clone(),
        unit: exercise.units.as_str(),
        due: times::show(mine.assignment.due_at, &zone),
        due_machine: times::machine(mine.assignment.due_at),
        handed_in: mine.handed_in,
        attempts: mine.assignment.attempts,
        counting: counting(&mine.assignment),
        late: late(&mine.assignment),
        closed: if mine.handed_in >= mine.assignment.attempts {
            "All attempts are handed in."
        } else {
            ""
        },
        draft: draft.is_some_and(|d| d.written.fields.values().any(|v| !v.is_empty())),
        reports: handed_in.iter().map(line).collect(),
        mark,
        excused,
        pair: mine.pair_name,
        serial: mine.serial,
    }))
}

/// The student's own mark, which may differ from the pair's, once marks are released; and whether the student is excused.
async fn own_mark(app: &App, assignment: AssignmentId, student: PersonId) -> Result<(Option<Mark>, bool), WebError> {
    let store = &app.service.store;
    let assignment = assignments::one(store, assignment).await?.ok_or(WebError::NotFound)?;
    let entry = gradebook::of_student(store, &assignment, student).await?;
    let settled = match entry {
        Some(Entry::Excused) => return Ok((None, true)),
        Some(Entry::Done(done)) if assignment.released_at.is_some() && done.mark.is_some() => done.settled(&assignment),
        _ => return Ok((None, false)),
    };
    let mark = Mark {
        total: graded::total(settled.mark),
        lines: graded::receipt(&settled.lines),
    };
    Ok((Some(mark), false))
}

fn counting(assignment: &Assignment) -> String {
    match (assignment.attempts, assignment.counting) {
        (1, _) => "it counts".to_owned(),
        (_, Counting::Best) => "the best counts".to_owned(),
        (_, Counting::Last) => "the last counts".to_owned(),
        (_, Counting::Mean) => "the mean of all counts".to_owned(),
    }
}

fn late(assignment: &Assignment) -> String {
    if assignment.late_percent_per_day.is_zero() {
        return "a late report is noted, and costs nothing".to_owned();
    }
    let grace = match assignment.late_grace_minutes {
        0 => String::new(),
        1 => "after 1 minute ".to_owned(),
        minutes => format!("after {minutes} minutes "),
    };
    let per_day = assignment.late_percent_per_day.normalize();
    let floor = assignment.late_floor_percent.normalize();
    format!("{grace}{per_day} per cent of the mark for each day begun; at least {floor} per cent of it stay")
}
