//! The beginning of a draft: an empty blank, another exercise, a file, or the revision that is published.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use crate::actions::author_exercise::begin;
use crate::exercise::file::{Problem, Severity, read_exercise};
use crate::exercise::form::{Blank, Form, take};
use crate::store::exercises::{self, ExerciseLine};
use crate::store::ids::ExerciseId;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{ExerciseOf, Instructor};
use crate::web::pages::import::text_of;
use crate::web::render::{Page, Sheet};
use crate::web::upload::Upload;

#[derive(Debug, Template)]
#[template(path = "authoring_new.html")]
pub(in crate::web) struct New {
    frame: Frame,
    others: Vec<(String, String)>,
    typed: Typed,
    wrongs: Vec<(&'static str, String)>,
    /// A file that was taken: the draft, and what found no field in it.
    taken: Option<(i64, Vec<String>, Vec<Problem>)>,
}

impl New {
    fn mend(&self, field: &str) -> &str {
        self.wrongs
            .iter()
            .find(|(name, _)| *name == field)
            .map_or("", |(_, what)| what)
    }
}

#[derive(Debug, Default)]
struct Typed {
    code: String,
    title: String,
    units: String,
    length: String,
    width: String,
    thickness: String,
    from: String,
}

const UNITS: [(&str, &str); 2] = [("mm", "mm"), ("inch", "inch")];

async fn choices(app: &App) -> Result<Vec<(String, String)>, WebError> {
    let line = |e: ExerciseLine| (e.id.to_string(), format!("{} {}", e.code, e.title));
    let all = exercises::list(&app.service.store).await?.into_iter().map(line);
    Ok(std::iter::once((String::new(), "choose".to_owned()))
        .chain(all)
        .collect())
}

pub(in crate::web) async fn new_page(
    State(app): State<App>,
    Instructor(person): Instructor,
) -> Result<Page<New>, WebError> {
    Ok(Page(New {
        frame: Frame::of(&person, "/exercises"),
        others: choices(&app).await?,
        typed: Typed {
            units: "mm".to_owned(),
            ..Typed::default()
        },
        wrongs: Vec::new(),
        taken: None,
    }))
}

pub(in crate::web) async fn new_submit(
    State(app): State<App>,
    Instructor(person): Instructor,
    upload: Upload,
) -> Result<Response, WebError> {
    let field = |name: &str| upload.field(name).trim().to_owned();
    let typed = Typed {
        code: field("code"),
        title: field("title"),
        units: field("units"),
        length: field("length"),
        width: field("width"),
        thickness: field("thickness"),
        from: field("from"),
    };
    let mut page = New {
        frame: Frame::of(&person, "/exercises"),
        others: choices(&app).await?,
        typed,
        wrongs: Vec::new(),
        taken: None,
    };
    let form = match upload.field("do") {
        "copy" => copied(&app, &page.typed.from)
            .await?
            .ok_or(("from", "Choose the exercise to begin from.".to_owned())),
        "file" => match upload.file("file").map(text_of) {
            None => Err(("file", "Choose the file (exercise.toml).".to_owned())),
            Some(Err(what)) => Err(("file", what)),
            Some(Ok(text)) => {
                let taken = take(&text);
                let errors = not_in_form(&text);
                let draft = begin(&app.service, person.id, None, &taken.form, "taken from a file").await?;
                if taken.lost.is_empty() && errors.is_empty() {
                    return Ok(Redirect::to(&format!("/drafts/{draft}")).into_response());
                }
                page.taken = Some((draft.0, taken.lost, errors));
                return Ok(Page(page).into_response());
            }
        },
        _ => Ok((blank(&page.typed), "begun")),
    };
    match form {
        Ok((form, what)) => {
            let draft = begin(&app.service, person.id, None, &form, what).await?;
            Ok(Redirect::to(&format!("/drafts/{draft}")).into_response())
        }
        Err(wrong) => {
            page.wrongs.push(wrong);
            Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

fn blank(typed: &Typed) -> Form {
    let blank = Blank {
        length: typed.length.clone(),
        width: typed.width.clone(),
        thickness: typed.thickness.clone(),
    };
    Form::blank(&typed.code, &typed.title, &typed.units, &blank)
}

/// Another exercise as the beginning of a new one: all but its code.
async fn copied(app: &App, from: &str) -> Result<Option<(Form, &'static str)>, WebError> {
    let Ok(id) = from.parse() else { return Ok(None) };
    let revision = exercises::newest(&app.service.store, ExerciseId(id)).await?;
    Ok(revision.map(|r| {
        let mut form = take(&r.toml).form;
        form.head.remove("code");
        (form, "begun from another exercise")
    }))
}

/// Lines that are not TOML, of which the form holds nothing.
fn not_in_form(text: &str) -> Vec<Problem> {
    let form = take(text).form;
    let again: Vec<String> = read_exercise("", &form.toml()).1.into_iter().map(|p| p.what).collect();
    let (_, problems) = read_exercise("exercise.toml", text);
    problems
        .into_iter()
        .filter(|p| p.severity == Severity::Error && !again.contains(&p.what))
        .collect()
}

/// Begins the next revision of an exercise, or goes on with it.
pub(in crate::web) async fn edit(State(app): State<App>, of: ExerciseOf) -> Result<Response, WebError> {
    let form = take(&of.revision.toml).form;
    let what = format!("begun from revision {}", of.revision.number);
    let draft = begin(&app.service, of.person.id, Some(&of.revision), &form, &what).await?;
    Ok(Redirect::to(&format!("/drafts/{draft}")).into_response())
}
