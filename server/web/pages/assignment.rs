//! The reports of an assignment, and the release of its marks.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::tz::TimeZone;
use rust_decimal::Decimal;

use crate::actions::grade_report::grade_again;
use crate::actions::plate_state::not_good_enough;
use crate::actions::release_marks::release_marks;
use crate::actions::standing;
use crate::grading::review::Review;
use crate::grading::settled::attempt_mark;
use crate::store::assignments::{self, Assignment as Stored, Counting, Feedback};
use crate::store::ids::{AssignmentId, PairId, PlateId, ReportId};
use crate::store::other_plates::Settled;
use crate::store::people::{Person, Role};
use crate::store::reports::{self, ReportLine};
use crate::store::when::When;
use crate::store::{Store, audit, care, exercises, other_plates, overrides, pairs};
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
    /// Plates that more than one pair has: serial, and the pairs.
    shared: Vec<(String, String)>,
    to_see_to: Vec<ToSeeTo>,
    handed_in: usize,
    to_look_at: usize,
    trail: Vec<TrailLine>,
    cells: Vec<(&'static str, String)>,
}

/// The plate that a pair has, with its serial.
type Given = (PairId, PlateId, String);

/// What stands against plates that pairs are to measure.
#[derive(Debug)]
struct ToSeeTo {
    words: String,
    /// Address and serial.
    plates: Vec<(String, String)>,
}

#[derive(Debug)]
struct PairLine {
    name: String,
    /// Whether somebody is in it now.
    is_there: bool,
    serial: String,
    /// Until when this pair has longer; empty where it is as for all.
    longer: String,
    reports: Vec<Line>,
}

#[derive(Debug)]
struct Line {
    line: ReportLine,
    when: String,
    late: String,
    /// Mark after the late rule.
    mark: String,
    /// Whether a person set it.
    is_set: bool,
    review: &'static str,
    /// What is said of a plate that is not the pair's.
    other_plate: &'static str,
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

/// What stands beside the reports of an assignment.
struct Known {
    set: BTreeMap<ReportId, Decimal>,
    longer: BTreeMap<PairId, When>,
    other_plates: BTreeMap<ReportId, Option<Settled>>,
}

impl Known {
    async fn of(store: &Store, assignment: AssignmentId) -> Result<Self, WebError> {
        let longer = care::extensions(store, assignment).await?;
        let others = other_plates::of_assignment(store, assignment).await?;
        Ok(Self {
            set: overrides::of_assignment(store, assignment).await?.into_iter().collect(),
            longer: longer.into_iter().map(|x| (x.pair, x.due_at)).collect(),
            other_plates: others.into_iter().map(|o| (o.report, o.settled)).collect(),
        })
    }

    fn due(&self, assignment: &Stored, pair: PairId) -> When {
        self.longer.get(&pair).copied().unwrap_or(assignment.due_at)
    }
}

fn line(assignment: &Stored, known: &Known, pair: PairId, line: ReportLine) -> Line {
    let zone = times::zone(&assignment.time_zone);
    let minutes = standing::minutes_after(known.due(assignment, pair), line.handed_in_at);
    let computed = line.mark.as_deref().and_then(|m| m.parse().ok());
    let set = known.set.get(&line.id).copied();
    let mark = attempt_mark(computed, set, &standing::late_rule(assignment), minutes);
    Line {
        when: times::show(line.handed_in_at, &zone),
        late: if minutes == 0 {
            String::new()
        } else {
            times::late_words(minutes)
        },
        mark: match (mark, line.graded) {
            (Some(mark), _) => format!("{mark:.1}"),
            (None, true) => "no mark".to_owned(),
            (None, false) => "being graded".to_owned(),
        },
        is_set: set.is_some(),
        other_plate: match known.other_plates.get(&line.id) {
            None => "",
            Some(None) => "another plate, to settle",
            Some(Some(Settled::Counts)) => "another plate, counts",
            Some(Some(Settled::Not)) => "another plate, does not count",
        },
        review: line
            .review
            .as_deref()
            .and_then(Review::from_word)
            .map_or("", Review::text),
        line,
    }
}

/// Plates that more than one pair has, with the names of the pairs.
fn shared(pairs: &[PairLine]) -> Vec<(String, String)> {
    let mut by_plate: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for pair in pairs.iter().filter(|p| p.is_there && !p.serial.is_empty()) {
        by_plate.entry(&pair.serial).or_default().push(&pair.name);
    }
    let shared = by_plate.into_iter().filter(|(_, names)| names.len() > 1);
    shared
        .map(|(serial, names)| (serial.to_owned(), names.join(", ")))
        .collect()
}

/// Plates that are not good enough to teach with, for instructors.
async fn to_see_to(app: &App, person: &Person, assignment: &Stored, given: &[Given]) -> Result<Vec<ToSeeTo>, WebError> {
    if person.role != Role::Instructor {
        return Ok(Vec::new());
    }
    let serials: BTreeMap<PlateId, &String> = given.iter().map(|(_, plate, serial)| (*plate, serial)).collect();
    let found = not_good_enough(&app.service, assignment.id, serials.keys().copied()).await;
    let found = found.map_err(WebError::internal)?;
    if found.is_empty() {
        return Ok(Vec::new());
    }
    let revision = exercises::revision(&app.service.store, assignment.exercise_revision).await?;
    let exercise = revision.ok_or(WebError::NotFound)?.exercise;
    let named = |plate: &PlateId| {
        let path = format!("/exercises/{exercise}/plates/{plate}");
        Some((path, (*serials.get(plate)?).clone()))
    };
    let one = |(words, plates): (String, Vec<PlateId>)| ToSeeTo {
        words,
        plates: plates.iter().filter_map(named).collect(),
    };
    Ok(found.into_iter().map(one).collect())
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
    // Plates are given from the opening on.
    let given = assignments::plates_of(store, assignment.id).await?;
    let pairs = pairs_of(store, &assignment, &given, now).await?;
    let trail = audit::of(store, "assignment", assignment.id.0).await?;
    let to_see_to = to_see_to(&app, &person, &assignment, &given).await?;
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
        shared: shared(&pairs),
        to_see_to,
        pairs,
        assignment,
    }))
}

/// The pairs with their plates and reports.
async fn pairs_of(store: &Store, assignment: &Stored, given: &[Given], now: When) -> Result<Vec<PairLine>, WebError> {
    let known = Known::of(store, assignment.id).await?;
    let zone = times::zone(&assignment.time_zone);
    let mut by_pair: BTreeMap<String, Vec<ReportLine>> = BTreeMap::new();
    for report in reports::of_assignment(store, assignment.id).await? {
        by_pair.entry(report.pair_name.clone()).or_default().push(report);
    }
    let pair_line = |pair: pairs::PairLine| {
        let plate = given.iter().find(|(of, _, _)| *of == pair.id);
        let handed_in = by_pair.remove(&pair.name).unwrap_or_default().into_iter();
        PairLine {
            serial: plate.map(|(_, _, serial)| serial.clone()).unwrap_or_default(),
            longer: known
                .longer
                .get(&pair.id)
                .map(|due| times::show(*due, &zone))
                .unwrap_or_default(),
            reports: handed_in.map(|r| line(assignment, &known, pair.id, r)).collect(),
            is_there: !pair.people.is_empty(),
            name: pair.name,
        }
    };
    let pairs = pairs::of_class(store, assignment.class).await?;
    // Pairs of before that handed in, and those of now that have to: not one that was made after it was due.
    let is_of_it =
        |p: &PairLine| !p.reports.is_empty() || p.is_there && (!p.serial.is_empty() || assignment.due_at >= now);
    Ok(pairs.into_iter().map(pair_line).filter(is_of_it).collect())
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
