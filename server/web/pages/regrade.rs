//! Grading again after something was corrected: which marks would change, then the decision, then how far it is.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::plates::mend_of;
use crate::actions::load;
use crate::actions::regrade::{Change, MarkChange, RegradeError, begin, preview};
use crate::store::assignments::Assignment;
use crate::store::exercises;
use crate::store::ids::{ExerciseRevisionId, ReportId};
use crate::store::people::Person;
use crate::store::regrades::{self, Line};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::{Asked, Fields as Sent};
use crate::web::frame::Frame;
use crate::web::guards::{AssignmentOf, Instructor, PlateOf, RegradeOf};
use crate::web::pages::authoring::zone_of;
use crate::web::render::{Page, Sheet};
use crate::web::times;
use crate::web::wrongs::sentence;

type Fields = BTreeMap<String, String>;
type Wrongs = Vec<(String, String)>;

#[derive(Debug, Template)]
#[template(path = "regrade.html")]
pub(in crate::web) struct Regrade {
    frame: Frame,
    heading: String,
    /// What would be done, in a sentence.
    about: String,
    action: String,
    back: String,
    back_words: &'static str,
    /// Fields that say what is decided on, to be sent with the decision.
    hidden: Vec<(String, String)>,
    changed: Vec<ChangedRow>,
    same: usize,
    /// Marks that would change in classes of other instructors: of those nothing but how many.
    of_others: usize,
    /// Whether there is any report.
    any: bool,
    largest: String,
    /// Numbers of the exercise with whether each is dropped and why; none for a plate.
    numbers: Vec<NumberRow>,
    revisions: Vec<(String, String)>,
    chosen_revision: String,
    wrongs: Wrongs,
    cells: Vec<(&'static str, String)>,
}

impl Regrade {
    fn mend(&self, field: &str) -> String {
        mend_of(&self.wrongs, field)
    }
}

#[derive(Debug)]
struct ChangedRow {
    report: i64,
    title: String,
    pair: String,
    serial: String,
    attempt: i64,
    before: String,
    after: String,
    by: String,
    /// Words on a mark that a person set, which stays.
    set: String,
}

#[derive(Debug)]
struct NumberRow {
    no: String,
    name: String,
    dropped: bool,
}

fn tenths(mark: &str) -> Option<rust_decimal::Decimal> {
    mark.parse().ok()
}

fn row(change: &MarkChange) -> ChangedRow {
    let g = &change.graded;
    let mark = |m: &Option<String>| m.clone().unwrap_or_else(|| "no mark".to_owned());
    let by = g
        .mark
        .as_deref()
        .and_then(tenths)
        .zip(change.after.as_deref().and_then(tenths));
    ChangedRow {
        report: g.report.0,
        title: format!("{}, {}", g.class_name, g.title),
        pair: g.pair_name.clone(),
        serial: g.serial.clone(),
        attempt: g.attempt,
        before: mark(&g.mark),
        after: mark(&change.after),
        by: by
            .map(|(before, after)| crate::units::show_signed(after - before, 1))
            .unwrap_or_default(),
        set: g
            .set
            .as_ref()
            .map(|m| format!("{m} was set by a person and stays"))
            .unwrap_or_default(),
    }
}

/// What a page is about.
struct About {
    heading: String,
    about: String,
    action: String,
    back: String,
    back_words: &'static str,
    hidden: Vec<(String, String)>,
    numbers: Vec<NumberRow>,
    revisions: Vec<(String, String)>,
    chosen_revision: String,
    cells: Vec<(&'static str, String)>,
}

/// The page for a person, with every change in the person's own classes.
async fn sheet(
    app: &App,
    person: &Person,
    about: About,
    changes: &[MarkChange],
    wrongs: Wrongs,
) -> Result<Regrade, WebError> {
    let reports: Vec<ReportId> = changes.iter().map(|c| c.graded.report).collect();
    let own = regrades::of_classes_of(&app.service.store, &reports, person.id).await?;
    let (ours, others): (Vec<&MarkChange>, Vec<&MarkChange>) =
        changes.iter().partition(|c| own.contains(&c.graded.report));
    let changed: Vec<&MarkChange> = ours.iter().copied().filter(|c| c.changes()).collect();
    let size = |c: &&&MarkChange| {
        let both = c
            .graded
            .mark
            .as_deref()
            .and_then(tenths)
            .zip(c.after.as_deref().and_then(tenths));
        both.map(|(a, b)| (b - a).abs())
    };
    let largest = changed.iter().filter_map(|c| size(&c)).max();
    Ok(Regrade {
        frame: Frame::of(person, "/classes"),
        heading: about.heading,
        about: about.about,
        action: about.action,
        back: about.back,
        back_words: about.back_words,
        hidden: about.hidden,
        same: ours.len() - changed.len(),
        of_others: others.iter().filter(|c| c.changes()).count(),
        any: !changes.is_empty(),
        changed: changed.into_iter().map(row).collect(),
        largest: largest.map(|l| crate::units::show_length(l, 1)).unwrap_or_default(),
        numbers: about.numbers,
        revisions: about.revisions,
        chosen_revision: about.chosen_revision,
        wrongs,
        cells: about.cells,
    })
}

/// After a changed reference: every report on the plate.
pub(in crate::web) async fn of_plate(State(app): State<App>, of: PlateOf) -> Result<Response, WebError> {
    let change = Change::Reference(of.plate.id);
    let changes = preview(&app.service, &change).await.map_err(WebError::internal)?;
    let here = format!("/exercises/{}/plates/{}", of.revision.exercise, of.plate.id);
    let about = About {
        heading: format!("Marks on plate {}", of.plate.serial),
        about: format!(
            "All reports on this plate, graded with what it is known to be now (revision {}).",
            of.plate.number
        ),
        action: format!("{here}/regrade"),
        back: here,
        back_words: "Back to the plate",
        hidden: Vec::new(),
        numbers: Vec::new(),
        revisions: Vec::new(),
        chosen_revision: String::new(),
        cells: vec![
            ("Exercise", of.revision.code.clone()),
            ("Plate", of.plate.serial.clone()),
        ],
    };
    let page = sheet(&app, &of.person, about, &changes, Wrongs::new()).await?;
    Ok(Sheet(StatusCode::OK, page).into_response())
}

/// Decides on it.
pub(in crate::web) async fn plate_decided(State(app): State<App>, of: PlateOf) -> Result<Response, WebError> {
    let change = Change::Reference(of.plate.id);
    let id = begin(&app.service, &change, of.person.id)
        .await
        .map_err(WebError::internal)?;
    Ok(Redirect::to(&format!("/regrades/{id}")).into_response())
}

/// What is asked for of an assignment: a revision, numbers to leave out, or nothing in particular.
async fn change_of(app: &App, assignment: &Assignment, asked: &Fields) -> Result<Change, WebError> {
    if let Some(number) = asked.get("revision").and_then(|n| n.parse::<i64>().ok()) {
        let current = exercises::revision(&app.service.store, assignment.exercise_revision)
            .await?
            .ok_or(WebError::NotFound)?;
        let wanted = exercises::numbered(&app.service.store, current.exercise, number)
            .await?
            .ok_or(WebError::NotFound)?;
        if wanted.id != assignment.exercise_revision {
            return Ok(Change::Revision(assignment.id, wanted.id));
        }
    }
    if asked.contains_key("drop") {
        let why = asked.get("why").map(|w| w.trim().to_owned()).unwrap_or_default();
        let stored: BTreeMap<String, String> = regrades::dropped(&app.service.store, assignment.id)
            .await?
            .into_iter()
            .collect();
        let chosen = asked.keys().filter_map(|k| k.strip_prefix("n-"));
        let dropped = chosen.map(|no| {
            let why = stored.get(no).filter(|_| why.is_empty()).unwrap_or(&why);
            (no.to_owned(), why.clone())
        });
        return Ok(Change::Dropped(assignment.id, dropped.collect()));
    }
    Ok(Change::Again(assignment.id))
}

/// What would be done, in a sentence.
fn in_words(change: &Change, number_of: impl Fn(ExerciseRevisionId) -> i64, now: i64) -> String {
    match change {
        Change::Revision(_, id) => format!(
            "All reports by revision {} of the exercise in place of revision {}.",
            number_of(*id),
            now
        ),
        Change::Dropped(_, dropped) if dropped.is_empty() => "All reports with every number counting.".to_owned(),
        Change::Dropped(_, dropped) => {
            let nos: Vec<&str> = dropped.keys().map(String::as_str).collect();
            format!("All reports with the weight of {} left out.", nos.join(", "))
        }
        _ => "All reports, with what is known of their plates now.".to_owned(),
    }
}

async fn about_assignment(
    app: &App,
    assignment: &Assignment,
    change: &Change,
    asked: &Fields,
) -> Result<About, WebError> {
    let store = &app.service.store;
    let exercise = load::exercise(&app.service, assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    let stored = exercises::revision(store, assignment.exercise_revision)
        .await?
        .ok_or(WebError::NotFound)?;
    let dropped: Vec<String> = match change {
        Change::Dropped(_, dropped) => dropped.keys().cloned().collect(),
        _ => regrades::dropped(store, assignment.id)
            .await?
            .into_iter()
            .map(|(no, _)| no)
            .collect(),
    };
    let revisions = exercises::revisions(store, stored.exercise).await?;
    let shown = |r: &exercises::RevisionLine| {
        let words = if r.id == stored.id {
            format!("revision {}, as now", r.number)
        } else {
            format!("revision {}", r.number)
        };
        (r.number.to_string(), words)
    };
    let number_of = |id: ExerciseRevisionId| revisions.iter().find(|r| r.id == id).map_or(0, |r| r.number);
    let about = in_words(change, number_of, stored.number);
    Ok(About {
        heading: format!("Grade again: {}", assignment.title),
        about,
        action: format!("/assignments/{}/regrade", assignment.id),
        back: format!("/assignments/{}", assignment.id),
        back_words: "Back to the assignment",
        hidden: asked.iter().map(|(k, v)| (k.clone(), v.clone())).collect(),
        numbers: exercise
            .characteristics
            .iter()
            .map(|c| NumberRow {
                no: c.no.to_string(),
                name: format!("{}, {}", exercise.owner_name(c), c.of.word()),
                dropped: dropped.iter().any(|d| d == c.no.as_str()),
            })
            .collect(),
        chosen_revision: match change {
            Change::Revision(_, id) => number_of(*id).to_string(),
            _ => stored.number.to_string(),
        },
        revisions: revisions.iter().map(shown).collect(),
        cells: vec![
            ("Exercise", assignment.exercise_code.clone()),
            ("Class", assignment.class_name.clone()),
        ],
    })
}

/// The answer to a change that cannot be made: at the field, with what was asked for.
fn refused(error: RegradeError) -> Result<Wrongs, WebError> {
    match error {
        RegradeError::Reason => Ok(vec![("why".to_owned(), sentence(&error))]),
        RegradeError::NoSuchNumber(_) | RegradeError::NothingLeft | RegradeError::OtherExercise => {
            Ok(vec![("why".to_owned(), sentence(&error))])
        }
        error => Err(WebError::internal(error)),
    }
}

/// What would change in an assignment.
pub(in crate::web) async fn of_assignment(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: AssignmentOf,
    Asked(asked): Asked,
) -> Result<Response, WebError> {
    let change = change_of(&app, &of.assignment, &asked).await?;
    let about = about_assignment(&app, &of.assignment, &change, &asked).await?;
    match preview(&app.service, &change).await {
        Ok(changes) => {
            let page = sheet(&app, &person, about, &changes, Wrongs::new()).await?;
            Ok(Sheet(StatusCode::OK, page).into_response())
        }
        Err(error) => {
            let page = sheet(&app, &person, about, &[], refused(error)?).await?;
            Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// Decides on it.
pub(in crate::web) async fn assignment_decided(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: AssignmentOf,
    Sent(asked): Sent,
) -> Result<Response, WebError> {
    let change = change_of(&app, &of.assignment, &asked).await?;
    match begin(&app.service, &change, person.id).await {
        Ok(id) => Ok(Redirect::to(&format!("/regrades/{id}")).into_response()),
        Err(error) => {
            let about = about_assignment(&app, &of.assignment, &change, &asked).await?;
            let page = sheet(&app, &person, about, &[], refused(error)?).await?;
            Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

#[derive(Debug, Template)]
#[template(path = "regrade_done.html")]
pub(in crate::web) struct Progress {
    frame: Frame,
    begun: String,
    who: String,
    finished: Option<String>,
    done: usize,
    all: usize,
    changed: Vec<Line>,
    /// Marks that changed in classes of other instructors: of those nothing but how many.
    of_others: usize,
    back: String,
    cells: Vec<(&'static str, String)>,
}

/// How far a regrading is, and which marks changed.
pub(in crate::web) async fn progress(State(app): State<App>, of: RegradeOf) -> Result<Page<Progress>, WebError> {
    let RegradeOf { person, regrade } = of;
    let store = &app.service.store;
    let zone = zone_of(&app, &person).await?;
    let lines = regrades::lines(store, regrade.id).await?;
    let back = match regrade.about.as_str() {
        "assignment" => format!("/assignments/{}", regrade.about_id),
        _ => match crate::store::drawer::one(store, regrade.about_id.into()).await? {
            Some(plate) => format!("/exercises/{}/plates/{}", plate.exercise, plate.id),
            None => "/plates".to_owned(),
        },
    };
    let reports: Vec<ReportId> = lines.iter().map(|l| l.report).collect();
    let own = regrades::of_classes_of(store, &reports, person.id).await?;
    let (done, all) = (lines.iter().filter(|l| l.done).count(), lines.len());
    let changed = lines.into_iter().filter(|l| l.done && l.before != l.after);
    let (changed, others): (Vec<Line>, Vec<Line>) = changed.partition(|l| own.contains(&l.report));
    Ok(Page(Progress {
        frame: Frame::of(&person, "/classes"),
        begun: times::show(regrade.begun_at, &zone),
        who: regrade.begun_by.unwrap_or_else(|| "the server".to_owned()),
        finished: regrade.finished_at.map(|at| times::show(at, &zone)),
        done,
        all,
        changed,
        of_others: others.len(),
        back,
        cells: vec![("Sheet", format!("Regrading {}", regrade.id))],
    }))
}
