//! Changing an assignment: its times and rules, longer for a pair, an excuse for a student, another plate.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use crate::actions::care::{self, CareError, Wanted};
use crate::store::assignments::{self, Assignment};
use crate::store::care as stored;
use crate::store::classes::{self, Member};
use crate::store::ids::{PairId, PersonId, PlateId};
use crate::store::pairs;
use crate::store::people::{Person, Role};
use crate::store::versions::{self, Thing};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{AssignmentOf, Instructor};
use crate::web::render::{Page, Sheet};
use crate::web::terms::{self, COUNTING, FEEDBACK, TypedTerms, WHICH};
use crate::web::times;
use crate::web::wrongs::{Wrongs, meanwhile, mend, sentence};

#[derive(Debug, Template)]
#[template(path = "change.html")]
pub(in crate::web) struct Change {
    frame: Frame,
    assignment: Assignment,
    /// What stands now, as [`versions`] has it.
    seen: String,
    typed: Typed,
    wrongs: Vec<(&'static str, String)>,
    pairs: Vec<PairLine>,
    pair_options: Vec<(String, String)>,
    plate_options: Vec<(String, String)>,
    student_options: Vec<(String, String)>,
    excuses: Vec<stored::Excuse>,
    /// Pairs with people and without a plate.
    without: usize,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct PairLine {
    id: PairId,
    name: String,
    people: Vec<String>,
    plates: Vec<String>,
    longer: String,
    reason: String,
}

impl Change {
    fn mend(&self, field: &str) -> &str {
        mend(&self.wrongs, field)
    }

    const fn title_hint(&self) -> &'static str {
        ""
    }

    fn clock_words(&self) -> String {
        format!("In the time of {}.", self.assignment.time_zone)
    }

    /// Whether which of two hours of one name is meant has to be said.
    fn twice(&self, text: &str) -> bool {
        times::comes_twice(text, &times::zone(&self.assignment.time_zone))
    }
}

/// The forms of the page as typed.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Typed {
    #[serde(rename = "do")]
    what: String,
    #[serde(flatten)]
    terms: TypedTerms,
    marks: String,
    seen: String,
    #[serde(alias = "plate_pair")]
    pair: String,
    longer: String,
    longer_which: String,
    why: String,
    plate: String,
    student: String,
    excuse_why: String,
}

impl Typed {
    fn of(assignment: &Assignment) -> Self {
        Self {
            terms: TypedTerms::of(assignment),
            marks: assignment.marks_override.clone().unwrap_or_default(),
            ..Self::default()
        }
    }
}

/// A student's name; where others of the class have the same one, with what the student signs in as.
pub(super) fn told_apart(of: &Member, members: &[Member]) -> String {
    let is_same = |m: &&Member| m.name == of.name && m.role == of.role && m.left_at.is_none();
    if members.iter().filter(is_same).count() > 1 {
        format!("{} ({})", of.name, of.sign_in)
    } else {
        of.name.clone()
    }
}

async fn pair_lines(
    app: &App,
    assignment: &Assignment,
    longer: &[stored::Extension],
    mut plates: BTreeMap<PairId, Vec<String>>,
) -> Result<Vec<PairLine>, WebError> {
    let zone = times::zone(&assignment.time_zone);
    let lines = pairs::of_class(&app.service.store, assignment.class)
        .await?
        .into_iter()
        .filter(|pair| !pair.people.is_empty())
        .map(|pair| {
            let longer = longer.iter().find(|l| l.pair == pair.id);
            PairLine {
                plates: plates.remove(&pair.id).unwrap_or_default(),
                longer: longer.map(|l| times::show(l.due_at, &zone)).unwrap_or_default(),
                reason: longer.map(|l| l.reason.clone()).unwrap_or_default(),
                id: pair.id,
                name: pair.name,
                people: pair.people,
            }
        })
        .collect();
    Ok(lines)
}

async fn change(
    app: &App,
    person: &Person,
    assignment: Assignment,
    typed: Typed,
    wrongs: Vec<(&'static str, String)>,
) -> Result<Change, WebError> {
    let (store, now) = (&app.service.store, app.service.clock.now());
    let zone = times::zone(&assignment.time_zone);
    let longer = stored::extensions(store, assignment.id).await?;
    let mut plates: BTreeMap<PairId, Vec<String>> = BTreeMap::new();
    let mut has = Vec::new();
    for stay in stored::plate_stays(store, assignment.id).await? {
        if stay.to_at.is_none() {
            has.push(stay.pair);
        }
        let until = stay
            .to_at
            .map(|at| format!(" (until {})", times::show(at, &zone)))
            .unwrap_or_default();
        plates
            .entry(stay.pair)
            .or_default()
            .push(format!("{}{until}", stay.serial));
    }
    let lines = pair_lines(app, &assignment, &longer, plates).await?;
    let members = classes::members(store, assignment.class, now).await?;
    let students = members
        .iter()
        .filter(|m| m.role == Role::Student && m.left_at.is_none());
    let plate_options = care::spread(&app.service, assignment.id).await?;
    Ok(Change {
        frame: Frame::of(person, "/classes"),
        seen: versions::now(store, Thing::Assignment(assignment.id)).await?,
        typed,
        wrongs,
        without: lines
            .iter()
            .filter(|l| !l.people.is_empty() && !has.contains(&l.id))
            .count(),
        pair_options: lines.iter().map(|l| (l.id.to_string(), l.name.clone())).collect(),
        plate_options: plate_options
            .into_iter()
            .map(|(id, serial)| (id.to_string(), serial))
            .collect(),
        student_options: students
            .map(|m| (m.person.to_string(), told_apart(m, &members)))
            .collect(),
        excuses: stored::excuses(store, assignment.id).await?,
        cells: vec![
            ("Exercise", assignment.exercise_code.clone()),
            ("Class", assignment.class_name.clone()),
            ("Due", times::show(assignment.due_at, &zone)),
        ],
        pairs: lines,
        assignment,
    })
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: AssignmentOf,
) -> Result<Page<Change>, WebError> {
    let typed = Typed::of(&of.assignment);
    Ok(Page(change(&app, &person, of.assignment, typed, Vec::new()).await?))
}

/// The field that a refusal is about, by what was being done.
fn field_of(what: &str, error: &CareError) -> &'static str {
    match error {
        CareError::Terms(error) => terms::field_of(error),
        CareError::AttemptsUsed(_) => "attempts",
        CareError::Marks(_) => "marks",
        CareError::NotLonger => "longer",
        CareError::Reason if what == "excuse" => "excuse_why",
        CareError::Reason => "why",
        CareError::NoPlates => "plate",
        CareError::Overtaken => "title",
        CareError::NotHere | CareError::Hours | CareError::Store(_) => "pair",
    }
}

async fn act(
    app: &App,
    by: PersonId,
    assignment: &Assignment,
    typed: &Typed,
    wrongs: &mut Wrongs,
) -> Result<(), CareError> {
    let zone = times::zone(&assignment.time_zone);
    let service = &app.service;
    let pair = || typed.pair.parse().map(PairId).map_err(|_| CareError::NotHere);
    let student = || typed.student.parse().map(PersonId).map_err(|_| CareError::NotHere);
    match typed.what.as_str() {
        "change" => match typed.terms.read(&typed.terms.title, &zone, wrongs) {
            Some(terms) => {
                let (marks, seen) = (&typed.marks, &typed.seen);
                care::change(service, assignment, &Wanted { terms, marks, seen }, by).await
            }
            None => Ok(()),
        },
        "extend" => {
            let due = wrongs.keep(
                "longer",
                times::from_field_which(&typed.longer, &typed.longer_which, &zone),
            );
            match due {
                Some(due) => care::extend(service, assignment, pair()?, Some(due), &typed.why, by).await,
                None => Ok(()),
            }
        }
        "no-longer" => care::extend(service, assignment, pair()?, None, "", by).await,
        "excuse" => care::excuse(service, assignment, student()?, Some(&typed.excuse_why), by).await,
        "no-excuse" => care::excuse(service, assignment, student()?, None, by).await,
        "plate" => {
            let plate = typed.plate.parse().map(PlateId).map_err(|_| CareError::NotHere)?;
            care::other_plate(service, assignment, pair()?, plate, by).await
        }
        "give-missing" => care::give_missing(service, assignment, by).await.map(drop),
        _ => Err(CareError::NotHere),
    }
}

pub(in crate::web) async fn submit(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: AssignmentOf,
    Form(sent): Form<Typed>,
) -> Result<Response, WebError> {
    let assignment = of.assignment;
    let mut wrongs = Wrongs::default();
    let mut status = StatusCode::UNPROCESSABLE_ENTITY;
    match act(&app, person.id, &assignment, &sent, &mut wrongs).await {
        Ok(()) if wrongs.is_empty() => {
            return Ok(Redirect::to(&format!("/assignments/{}/change", assignment.id)).into_response());
        }
        Ok(()) => {}
        Err(CareError::Overtaken) => return overtaken(&app, &person, assignment, sent).await,
        Err(CareError::Store(error)) => return Err(error.into()),
        Err(error) => {
            if matches!(error, CareError::NotHere) {
                status = StatusCode::NOT_FOUND;
            }
            wrongs.add(field_of(&sent.what, &error), sentence(&error));
        }
    }
    let typed = if sent.what == "change" {
        sent
    } else {
        // The other forms do not send the rules.
        let rules = Typed::of(&assignment);
        Typed {
            pair: sent.pair,
            longer: sent.longer,
            longer_which: sent.longer_which,
            why: sent.why,
            plate: sent.plate,
            student: sent.student,
            excuse_why: sent.excuse_why,
            ..rules
        }
    };
    let page = change(&app, &person, assignment, typed, wrongs.0).await?;
    Ok(Sheet(status, page).into_response())
}

/// Two people changed times or rules at once: what stands now is said at each field, and what was typed stays in it.
async fn overtaken(app: &App, person: &Person, before: Assignment, sent: Typed) -> Result<Response, WebError> {
    let assignment = assignments::one(&app.service.store, before.id)
        .await?
        .ok_or(WebError::NotFound)?;
    let mut wrongs = Wrongs::default();
    let stands = TypedTerms::of(&assignment);
    for ((field, now), (_, typed)) in stands.fields().into_iter().zip(sent.terms.fields()) {
        if now.trim() != typed.trim() {
            wrongs.add(field, meanwhile(now));
        }
    }
    let marks = assignment.marks_override.clone().unwrap_or_default();
    if marks.trim() != sent.marks.replace("\r\n", "\n").trim() {
        wrongs.add("marks", "Meanwhile somebody stored other marks rules.");
    }
    let page = change(app, person, assignment, sent, wrongs.0).await?;
    Ok(Sheet(StatusCode::CONFLICT, page).into_response())
}
