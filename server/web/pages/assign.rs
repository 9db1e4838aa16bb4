//! Assigning an exercise to a class.

use askama::Template;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;
use serde::Deserialize;

use crate::actions::make_assignment::{MakeAssignmentError, Wanted, make_assignment};
use crate::store::assignments::{Counting, Feedback};
use crate::store::classes::Class;
use crate::store::exercises::{self, Revision};
use crate::store::ids::{ExerciseId, PersonId};
use crate::store::people::Person;
use crate::store::plates::Kind;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{ClassOf, Instructor};
use crate::web::render::{Page, Sheet};
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "assign.html")]
pub(in crate::web) struct Assign {
    frame: Frame,
    class: Class,
    exercises: Vec<(String, String)>,
    typed: Typed,
    wrongs: Vec<(&'static str, String)>,
}

impl Assign {
    /// What is wrong with a field; empty when nothing is.
    fn mend(&self, field: &str) -> &str {
        self.wrongs
            .iter()
            .find(|(name, _)| *name == field)
            .map_or("", |(_, what)| what)
    }

    /// Whether which of two hours of one name is meant has to be said.
    fn twice(&self, text: &str) -> bool {
        times::comes_twice(text, &times::zone(&self.class.time_zone))
    }

    fn clock_words(&self) -> String {
        format!("In the time of {}.", self.class.time_zone)
    }
}

/// The form as typed.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Typed {
    exercise: String,
    plates: String,
    title: String,
    opens: String,
    opens_which: String,
    due: String,
    due_which: String,
    attempts: String,
    counting: String,
    grace: String,
    per_day: String,
    floor: String,
    feedback: String,
}

const PLATES: [(&str, &str); 2] = [("physical", "physical plates"), ("virtual", "virtual plates")];
const COUNTING: [(&str, &str); 3] = [("best", "the best"), ("last", "the last"), ("mean", "the mean of all")];
const FEEDBACK: [(&str, &str); 2] = [
    ("words", "words: what agrees and what happened"),
    ("full", "everything, once their plate is open"),
];

const WHICH: [(&str, &str); 3] = [
    ("", "say which"),
    ("first", "the first, before the clocks go back"),
    ("second", "the second, after the clocks went back"),
];

const WEEK_MS: i64 = 7 * 24 * 3_600_000;

pub(in crate::web) async fn page(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ClassOf,
) -> Result<Page<Assign>, WebError> {
    let zone = times::zone(&of.class.time_zone);
    let now = app.service.clock.now();
    let typed = Typed {
        opens: times::for_field(now, &zone),
        due: times::for_field((now.millisecond() + WEEK_MS).into(), &zone),
        attempts: "2".to_owned(),
        grace: "15".to_owned(),
        per_day: "10".to_owned(),
        floor: "50".to_owned(),
        ..Typed::default()
    };
    Ok(Page(assign(&app, &person, of.class, typed, Vec::new()).await?))
}

async fn assign(
    app: &App,
    person: &Person,
    class: Class,
    typed: Typed,
    wrongs: Vec<(&'static str, String)>,
) -> Result<Assign, WebError> {
    let line = |e: exercises::ExerciseLine| (e.id.to_string(), format!("{} {}", e.code, e.title));
    let exercises = exercises::list(&app.service.store)
        .await?
        .into_iter()
        .map(line)
        .collect();
    Ok(Assign {
        frame: Frame::of(person, "/classes"),
        class,
        exercises,
        typed,
        wrongs,
    })
}

/// Notes what is wrong with a field and goes on.
struct Wrongs(Vec<(&'static str, String)>);

impl Wrongs {
    fn keep<T>(&mut self, field: &'static str, read: Result<T, String>) -> Option<T> {
        read.map_err(|what| self.0.push((field, what))).ok()
    }
}

fn whole(text: &str) -> Result<i64, String> {
    text.trim().parse().map_err(|_| "Write a whole number.".to_owned())
}

fn percent(text: &str) -> Result<Decimal, String> {
    text.trim()
        .replace(',', ".")
        .parse()
        .map_err(|_| "Write a number of per cent, as in 10.".to_owned())
}

/// The assignment that was typed, or none where a field could not be read.
fn read<'a>(
    typed: &'a Typed,
    class: &Class,
    exercise: Option<&'a Revision>,
    by: PersonId,
    wrongs: &mut Wrongs,
) -> Option<Wanted<'a>> {
    let zone = times::zone(&class.time_zone);
    let exercise = wrongs.keep("exercise", exercise.ok_or_else(|| "Choose an exercise.".to_owned()));
    let opens = wrongs.keep(
        "opens",
        times::from_field_which(&typed.opens, &typed.opens_which, &zone),
    );
    let due = wrongs.keep("due", times::from_field_which(&typed.due, &typed.due_which, &zone));
    let attempts = wrongs.keep("attempts", whole(&typed.attempts));
    let grace = wrongs.keep("grace", whole(&typed.grace));
    let per_day = wrongs.keep("per_day", percent(&typed.per_day));
    let floor = wrongs.keep("floor", percent(&typed.floor));
    let exercise = exercise?;
    let title = if typed.title.trim().is_empty() {
        &exercise.title
    } else {
        &typed.title
    };
    Some(Wanted {
        class: class.id,
        exercise: (exercise.exercise, exercise.id),
        plates: if typed.plates == "virtual" {
            Kind::Virtual
        } else {
            Kind::Physical
        },
        title,
        opens_at: opens?,
        due_at: due?,
        attempts: attempts?,
        counting: match typed.counting.as_str() {
            "last" => Counting::Last,
            "mean" => Counting::Mean,
            _ => Counting::Best,
        },
        late_grace_minutes: grace?,
        late_percent_per_day: per_day?,
        late_floor_percent: floor?,
        feedback: if typed.feedback == "full" {
            Feedback::Full
        } else {
            Feedback::Words
        },
        by,
    })
}

/// The field that a refusal is about.
const fn field_of(error: &MakeAssignmentError) -> &'static str {
    match error {
        MakeAssignmentError::Title => "title",
        MakeAssignmentError::DueBeforeOpening => "due",
        MakeAssignmentError::Attempts => "attempts",
        MakeAssignmentError::Grace => "grace",
        MakeAssignmentError::Percent => "per_day",
        MakeAssignmentError::NoPairs | MakeAssignmentError::Store(_) => "exercise",
        MakeAssignmentError::NoPlates => "plates",
    }
}

fn sentence(error: &MakeAssignmentError) -> String {
    let text = error.to_string();
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

pub(in crate::web) async fn submit(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ClassOf,
    Form(typed): Form<Typed>,
) -> Result<Response, WebError> {
    let exercise = match typed.exercise.parse().map(ExerciseId) {
        Ok(id) => exercises::newest(&app.service.store, id).await?,
        Err(_) => None,
    };
    let mut wrongs = Wrongs(Vec::new());
    if let Some(wanted) = read(&typed, &of.class, exercise.as_ref(), person.id, &mut wrongs) {
        match make_assignment(&app.service, &wanted).await {
            Ok(made) => return Ok(Redirect::to(&format!("/assignments/{}", made.assignment)).into_response()),
            Err(MakeAssignmentError::Store(error)) => return Err(error.into()),
            Err(error) => wrongs.0.push((field_of(&error), sentence(&error))),
        }
    }
    let page = assign(&app, &person, of.class, typed, wrongs.0).await?;
    Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}
