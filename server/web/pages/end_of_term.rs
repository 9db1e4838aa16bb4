//! The end of a term: archive, roll over, take names out; everything about one student; a copy of the school.

use std::path::Path;

use askama::Template;
use axum::body::Body;
use axum::extract::{Form, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use tokio::fs::File;

use super::people::{TO_PEOPLE, not_yours};
use crate::actions::end_of_term::{self as action, EndError};
use crate::actions::{charge, restore};
use crate::store::classes::{Class, WhenOver};
use crate::store::{backup, end_of_term as stored};
use crate::web::app::App;
use crate::web::copies;
use crate::web::errors::{Explained, WebError};
use crate::web::frame::Frame;
use crate::web::guards::{AnyClassOf, Instructor, PersonOf, WholeSchool};
use crate::web::render::{Page, Sheet};
use crate::web::times;
use crate::web::wrongs::{mend, sentence};

#[derive(Debug, Template)]
#[template(path = "end_of_term.html")]
pub(in crate::web) struct EndOfTerm {
    frame: Frame,
    class: Class,
    archived: String,
    due: String,
    is_due: bool,
    forgotten: String,
    typed: Typed,
    wrongs: Vec<(&'static str, String)>,
    cells: Vec<(&'static str, String)>,
    /// Why there is no backup of the school here; empty: there is.
    no_backup: String,
}

impl EndOfTerm {
    fn mend(&self, field: &str) -> &str {
        mend(&self.wrongs, field)
    }
}

/// The forms of the page as typed.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Typed {
    #[serde(rename = "do")]
    what: String,
    days: String,
    over: String,
    name: String,
    term: String,
    first_day: String,
    class_name: String,
}

async fn end(
    app: &App,
    of: AnyClassOf,
    typed: Typed,
    wrongs: Vec<(&'static str, String)>,
) -> Result<EndOfTerm, WebError> {
    let AnyClassOf { person, class } = of;
    let zone = times::zone(&class.time_zone);
    let due = action::due(&class);
    let may_copy = charge::of_the_school(&app.service.store, app.settings.copies_on_pages).await?;
    Ok(EndOfTerm {
        frame: Frame::of(&person, "/classes"),
        archived: class.archived_at.map(|at| times::show(at, &zone)).unwrap_or_default(),
        due: due.map(|at| times::show(at, &zone)).unwrap_or_default(),
        is_due: due.is_some_and(|at| at <= app.service.clock.now()),
        forgotten: class.forgotten_at.map(|at| times::show(at, &zone)).unwrap_or_default(),
        cells: vec![("Class", class.name.clone()), ("Term", class.term.clone())],
        class,
        typed,
        wrongs,
        no_backup: may_copy.err().map(|why| sentence(&why)).unwrap_or_default(),
    })
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    Instructor(_): Instructor,
    of: AnyClassOf,
) -> Result<Page<EndOfTerm>, WebError> {
    let typed = Typed {
        days: of.class.keep_days.to_string(),
        over: word(of.class.when_over).to_owned(),
        name: of.class.name.clone(),
        ..Typed::default()
    };
    Ok(Page(end(&app, of, typed, Vec::new()).await?))
}

/// What happens when the time for keeping names is over, for the form.
const OVER: [(&str, &str); 3] = [
    ("ask", "nothing by itself: this page says that it is over"),
    (
        "names",
        "the names are taken out by themselves; numbers stand in their place",
    ),
    (
        "delete",
        "the students are deleted by themselves; the numbers of their reports stay",
    ),
];

const fn word(over: WhenOver) -> &'static str {
    match over {
        WhenOver::Ask => "ask",
        WhenOver::Names => "names",
        WhenOver::Delete => "delete",
    }
}

fn over(word: &str) -> WhenOver {
    match word {
        "names" => WhenOver::Names,
        "delete" => WhenOver::Delete,
        _ => WhenOver::Ask,
    }
}

const fn field_of(error: &EndError) -> &'static str {
    match error {
        EndError::Days => "days",
        EndError::NotConfirmed | EndError::NotArchived | EndError::Forgotten => "class_name",
        EndError::Day | EndError::NothingToMove => "first_day",
        EndError::Class(_) | EndError::Store(_) => "name",
    }
}

pub(in crate::web) async fn submit(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: AnyClassOf,
    Form(typed): Form<Typed>,
) -> Result<Response, WebError> {
    let (service, class) = (&app.service, &of.class);
    let here = format!("/classes/{}/end-of-term", class.id);
    let done = match typed.what.as_str() {
        "archive" => action::archive(service, class, true, person.id).await.map(|()| here),
        "open-again" => action::archive(service, class, false, person.id).await.map(|()| here),
        "keep" => {
            let days = typed.days.trim().parse().unwrap_or(-1);
            action::keep_for(service, class.id, days, over(&typed.over), person.id)
                .await
                .map(|()| here)
        }
        "forget" => action::forget(service, class, &typed.class_name, person.id)
            .await
            .map(|_| here),
        "roll-over" => action::roll_over(service, class, &typed.name, &typed.term, &typed.first_day, person.id)
            .await
            .map(|made| format!("/classes/{made}")),
        _ => return Err(WebError::NotFound),
    };
    match done {
        Ok(to) => Ok(Redirect::to(&to).into_response()),
        Err(EndError::Store(error)) => Err(error.into()),
        Err(error) => {
            let page = end(&app, of, typed, vec![(field_of(&error), sentence(&error))]).await?;
            Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

fn file(name: &str, kind: &'static str, bytes: impl Into<Body>) -> Response {
    let headers = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
        (
            header::CONTENT_SECURITY_POLICY,
            "default-src 'none'; sandbox".to_owned(),
        ),
    ];
    (headers, bytes.into()).into_response()
}

/// Everything that is stored about one person, as a file.
pub(in crate::web) async fn about(
    State(app): State<App>,
    Instructor(by): Instructor,
    of: PersonOf,
) -> Result<Response, WebError> {
    let person = of.member.person;
    // It tells of all classes of the person, those of other instructors too.
    let charges = charge::of_people(&app.service.store, &[person], by.id).await?;
    if let Some(Err(why)) = charges.get(&person).filter(|_| person != by.id) {
        return Err(not_yours(
            &by,
            why,
            (&format!("/classes/{}/people", of.class.id), TO_PEOPLE),
        ));
    }
    let text = stored::about(&app.service.store, of.member.person).await?;
    let name = format!("person-{}.json", of.member.person);
    Ok(file(&name, "application/json", text.into_bytes()))
}

/// A copy of the whole school, checked, as a file.
pub(in crate::web) async fn backup(State(app): State<App>, WholeSchool(_): WholeSchool) -> Result<Response, WebError> {
    let turn = app.copies.begin().ok_or_else(copies::taken)?;
    let now = app.service.clock.now();
    let folder = app.settings.data.clone();
    // In a task of its own: the database copies on where the browser is gone, and the turn is over when that is.
    let made = tokio::spawn(async move { (copied(&folder, &restore::sent(&folder, now)).await, turn) });
    let (made, turn) = made.await.map_err(WebError::internal)?;
    let (copy, size) = made?;
    let day = times::for_field(now, &jiff::tz::TimeZone::UTC).replace([':', 'T'], "-");
    let name = format!("platemark-{day}.db");
    Ok(file(&name, copies::KIND, copies::body(copy, size, turn)))
}

/// A copy as an open file without a name: it goes with the last who has it open, however that ends.
async fn copied(folder: &Path, aside: &Path) -> Result<(File, u64), WebError> {
    let failed = |error: String| {
        tracing::error!(error, "no backup was made");
        WebError::from(Explained::new(
            StatusCode::INSUFFICIENT_STORAGE,
            "No backup",
            "The copy of the school could not be made. The school itself is as it was.",
            "Tell whoever runs the server: the disk is perhaps full. The command for it is platemark backup.",
        ))
    };
    let (_, made) = backup::passing_copy(folder, aside)
        .await
        .map_err(|e| failed(e.to_string()))?;
    let copy = File::open(aside).await.map_err(|e| failed(e.to_string()))?;
    drop(made);
    let size = copy.metadata().await.map_err(|e| failed(e.to_string()))?.len();
    Ok((copy, size))
}
