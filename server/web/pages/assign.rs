//! Assigning an exercise to a class.

use askama::Template;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use crate::actions::make_assignment::{MakeAssignmentError, Wanted, make_assignment};
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
use crate::web::terms::{self, COUNTING, FEEDBACK, TypedTerms, WHICH};
use crate::web::times;
use crate::web::wrongs::{Wrongs, mend, sentence};

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
    fn mend(&self, field: &str) -> &str {
        mend(&self.wrongs, field)
    }

    /// Whether which of two hours of one name is meant has to be said.
    fn twice(&self, text: &str) -> bool {
        times::comes_twice(text, &times::zone(&self.class.time_zone))
    }

    const fn title_hint(&self) -> &'static str {
        "Leave it empty to take the exercise's own."
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
    #[serde(flatten)]
    terms: TypedTerms,
    marks: String,
}

const PLATES: [(&str, &str); 2] = [("physical", "physical plates"), ("virtual", "virtual plates")];
const WEEK_MS: i64 = 7 * 24 * 3_600_000;

pub(in crate::web) async fn page(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ClassOf,
) -> Result<Page<Assign>, WebError> {
    let zone = times::zone(&of.class.time_zone);
    let now = app.service.clock.now();
    let terms = TypedTerms {
        opens: times::for_field(now, &zone),
        due: times::for_field((now.millisecond() + WEEK_MS).into(), &zone),
        attempts: "2".to_owned(),
        grace: "15".to_owned(),
        per_day: "10".to_owned(),
        floor: "50".to_owned(),
        ..TypedTerms::default()
    };
    let typed = Typed {
        terms,
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
    // Without an exercise the other fields are read all the same, for what is wrong with them.
    let own = exercise.map_or("", |e| e.title.as_str());
    let title = Some(typed.terms.title.as_str()).filter(|title| !title.trim().is_empty());
    let terms = typed.terms.read(title.unwrap_or(own), &zone, wrongs);
    let exercise = exercise?;
    Some(Wanted {
        class: class.id,
        exercise: (exercise.exercise, exercise.id),
        plates: if typed.plates == "virtual" {
            Kind::Virtual
        } else {
            Kind::Physical
        },
        terms: terms?,
        marks: &typed.marks,
        by,
    })
}

/// The field that a refusal is about.
const fn field_of(error: &MakeAssignmentError) -> &'static str {
    match error {
        MakeAssignmentError::Terms(error) => terms::field_of(error),
        MakeAssignmentError::Marks(_) => "marks",
        MakeAssignmentError::NoPairs | MakeAssignmentError::Store(_) => "exercise",
        MakeAssignmentError::NoPlates => "plates",
    }
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
    let mut wrongs = Wrongs::default();
    if let Some(wanted) = read(&typed, &of.class, exercise.as_ref(), person.id, &mut wrongs) {
        match make_assignment(&app.service, &wanted).await {
            Ok(made) => return Ok(Redirect::to(&format!("/assignments/{}", made.assignment)).into_response()),
            Err(MakeAssignmentError::Store(error)) => return Err(error.into()),
            Err(error) => wrongs.add(field_of(&error), sentence(&error)),
        }
    }
    let page = assign(&app, &person, of.class, typed, wrongs.0).await?;
    Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}
