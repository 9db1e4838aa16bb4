//! The reports of an assignment, and the release of its marks.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::tz::TimeZone;

use crate::actions::grade_report::grade_again;
use crate::actions::release_marks::release_marks;
use crate::actions::standing;
use crate::grading::review::Review;
use crate::store::assignments::{self, Assignment as Stored, Counting, Feedback};
use crate::store::people::Role;
use crate::store::reports::{self, ReportLine};
use crate::store::{audit, pairs};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{AssignmentOf, Instructor};
use crate::web::render::Page;
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "assignment.html")]
pub(in crate::web) struct Assignment {
    frame: Frame,
    assignment: Stored,
    may_change: bool,
    /// Which attempt counts, in words.
    counting: &'static str,
    opens: String,
    due: String,
    released: Option<String>,
    pairs: Vec<PairLine>,
    handed_in: usize,
    to_look_at: usize,
    trail: Vec<TrailLine>,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct PairLine {
    name: String,
    serial: String,
    reports: Vec<Line>,
}

#[derive(Debug)]
struct Line {
    line: ReportLine,
    when: String,
    late: String,
    /// Mark after the late rule.
    mark: String,
    review: &'static str,
}

/// One line of the trail.
#[derive(Debug)]
pub(super) struct TrailLine {
    pub(super) when: String,
    pub(super) who: String,
    pub(super) what: String,
}

pub(super) fn trail_line(line: audit::Line, zone: &TimeZone) -> TrailLine {
    TrailLine {
        when: times::show(line.at, zone),
        who: line.person.unwrap_or_else(|| "the server".to_owned()),
        what: trail_words(&line.what).to_owned(),
    }
}

fn line(assignment: &Stored, line: ReportLine) -> Line {
    let zone = times::zone(&assignment.time_zone);
    let minutes = standing::minutes_late(assignment, line.handed_in_at);
    let mark = line.mark.as_deref().and_then(|m| m.parse().ok());
    let mark = standing::after_late(assignment, line.handed_in_at, mark);
    Line {
        when: times::show(line.handed_in_at, &zone),
        late: if minutes == 0 {
            String::new()
        } else {
            times::late_words(minutes)
        },
        mark: match (mark, line.graded) {
            (Some(mark), _) => mark.to_string(),
            (None, true) => "no mark".to_owned(),
            (None, false) => "being graded".to_owned(),
        },
        review: line
            .review
            .as_deref()
            .and_then(Review::from_word)
            .map_or("", Review::text),
        line,
    }
}

const fn counting_word(counting: Counting) -> &'static str {
    match counting {
        Counting::Best => "the best counts",
        Counting::Last => "the last counts",
        Counting::Mean => "their mean counts",
    }
}

pub(in crate::web) async fn page(State(app): State<App>, of: AssignmentOf) -> Result<Page<Assignment>, WebError> {
    let AssignmentOf { person, assignment } = of;
    let (store, now) = (&app.service.store, app.service.clock.now());
    let zone = times::zone(&assignment.time_zone);
    let mut by_pair: BTreeMap<String, Vec<Line>> = BTreeMap::new();
    for report in reports::of_assignment(store, assignment.id).await? {
        by_pair
            .entry(report.pair_name.clone())
            .or_default()
            .push(line(&assignment, report));
    }
    let plates = assignments::plates_of(store, assignment.id, now).await?;
    let pair_line = |pair: pairs::PairLine| {
        let plate = plates.iter().find(|(of, _, _)| *of == pair.id);
        PairLine {
            serial: plate.map(|(_, _, serial)| serial.clone()).unwrap_or_default(),
            reports: by_pair.remove(&pair.name).unwrap_or_default(),
            name: pair.name,
        }
    };
    let pairs: Vec<PairLine> = pairs::of_class(store, assignment.class, now)
        .await?
        .into_iter()
        .map(pair_line)
        .collect();
    let trail = audit::of(store, "assignment", assignment.id.0).await?;
    let all = || pairs.iter().flat_map(|p| &p.reports);
    Ok(Page(Assignment {
        frame: Frame::of(&person, "/classes"),
        may_change: person.role == Role::Instructor,
        counting: counting_word(assignment.counting),
        opens: times::show(assignment.opens_at, &zone),
        due: times::show(assignment.due_at, &zone),
        released: assignment.released_at.map(|at| times::show(at, &zone)),
        handed_in: pairs.iter().filter(|p| !p.reports.is_empty()).count(),
        to_look_at: all().filter(|l| !l.review.is_empty()).count(),
        trail: trail.into_iter().map(|line| trail_line(line, &zone)).collect(),
        cells: vec![
            ("Exercise", assignment.exercise_code.clone()),
            ("Class", assignment.class_name.clone()),
            ("Due", times::show(assignment.due_at, &zone)),
        ],
        pairs,
        assignment,
    }))
}

/// What the trail calls it, for people.
fn trail_words(what: &str) -> &str {
    match what {
        "make-assignment" => "assigned it",
        "release-marks" => "released the marks",
        "mark-by-hand" => "marked lines by hand",
        "grade-again" => "had all reports graded again",
        "grade-again-with-new-reference" => "had reports graded again after a new reference of a plate",
        "grade-again-with-new-revision" => "had all reports graded again by a corrected exercise",
        "grade-again-without-numbers" => "changed which numbers count, and had all reports graded again",
        "change-assignment" => "changed times or rules",
        "extend" => "changed the time of a pair",
        "excuse" => "excused a student, or took that back",
        "other-plate" => "gave a pair another plate",
        "adjust" => "gave or took points of one student",
        "take-adjustment-back" => "took back points given or taken of one student",
        "give-plates" => "gave plates to pairs without one",
        "make-rota" => "gave turns at the machines",
        "clear-rota" => "took back turns at the machines",
        other => other,
    }
}

/// Releases the marks to the pairs.
pub(in crate::web) async fn release(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: AssignmentOf,
) -> Result<Response, WebError> {
    release_marks(&app.service, of.assignment.id, person.id).await?;
    Ok(Redirect::to(&format!("/assignments/{}", of.assignment.id)).into_response())
}

/// Grades all reports again with the newest truth of their plates.
pub(in crate::web) async fn again(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: AssignmentOf,
) -> Result<Response, WebError> {
    grade_again(&app.service, of.assignment.id, person.id)
        .await
        .map_err(WebError::internal)?;
    Ok(Redirect::to(&format!("/assignments/{}", of.assignment.id)).into_response())
}
