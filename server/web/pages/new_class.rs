//! Making a class.

use askama::Template;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use crate::actions::make_class::{MakeClassError, Wanted, make_class};
use crate::store::people::Person;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::Instructor;
use crate::web::render::{Page, Sheet};
use crate::web::wrongs::{mend, sentence};

#[derive(Debug, Template)]
#[template(path = "new_class.html")]
pub(in crate::web) struct NewClass {
    frame: Frame,
    typed: Typed,
    wrongs: Vec<(&'static str, String)>,
    zones: Vec<String>,
}

impl NewClass {
    fn of(person: &Person, typed: Typed, wrongs: Vec<(&'static str, String)>) -> Self {
        Self {
            frame: Frame::of(person, "/classes"),
            typed,
            wrongs,
            zones: jiff::tz::db()
                .available()
                .map(|name| name.as_str().to_owned())
                .collect(),
        }
    }

    fn mend(&self, field: &str) -> &str {
        mend(&self.wrongs, field)
    }
}

/// The form as typed.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Typed {
    name: String,
    term: String,
    time_zone: String,
}

pub(in crate::web) async fn page(Instructor(person): Instructor) -> Page<NewClass> {
    // Where the server stands the class mostly is too.
    let here = jiff::tz::TimeZone::system();
    let typed = Typed {
        time_zone: here.iana_name().unwrap_or_default().to_owned(),
        ..Typed::default()
    };
    Page(NewClass::of(&person, typed, Vec::new()))
}

pub(in crate::web) async fn submit(
    State(app): State<App>,
    Instructor(person): Instructor,
    Form(typed): Form<Typed>,
) -> Result<Response, WebError> {
    let wanted = Wanted {
        name: &typed.name,
        term: &typed.term,
        time_zone: typed.time_zone.trim(),
        by: person.id,
    };
    let field = match make_class(&app.service, &wanted).await {
        Ok(class) => return Ok(Redirect::to(&format!("/classes/{class}/roster")).into_response()),
        Err(MakeClassError::Store(error)) => return Err(error.into()),
        Err(error) => {
            let field = match error {
                MakeClassError::Term => "term",
                MakeClassError::TimeZone(_) => "time_zone",
                _ => "name",
            };
            (field, sentence(&error))
        }
    };
    let page = NewClass::of(&person, typed, vec![field]);
    Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}
