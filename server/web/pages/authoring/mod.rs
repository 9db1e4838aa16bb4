//! Authoring of an exercise in the browser: the form, and the drawing beside it.
//!
//! Every change is kept at the server as a step of the draft. With scripts the page follows each change; without, every
//! button keeps what is typed and draws again.

mod begin;
mod follows;
mod history;
mod insight;
mod overtaken;
mod revisions;
mod table;
mod view;

use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

pub(in crate::web) use begin::{edit, new_page, new_submit};
pub(in crate::web) use history::{discard, file, page as history_page, stand};
pub(in crate::web) use insight::{add as insight_add, page as insight_page};
pub(in crate::web) use overtaken::{page as overtaken_page, publish_over};
pub(in crate::web) use revisions::{file as revision_file, page as revisions_page};
pub(in crate::web) use table::{page as table_page, submit as table_submit};
use view::{FormView, Maker};

use crate::actions::author_exercise::{AuthorError, Way, go, keep};
use crate::actions::publish_exercise::{PublishError, publish};
use crate::exercise::drawing::{DrawingOptions, plan_view};
use crate::exercise::file::Severity;
use crate::exercise::form::{AtField, Edit, Form, LikeHoles, Look, from_posted, look, take};
use crate::store::classes;
use crate::store::exercise_drafts::{self as drafts, Draft};
use crate::store::exercises;
use crate::store::ids::ExerciseRevisionId;
use crate::store::people::Person;
use crate::store::when::When;
use crate::units::capital;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::Listed;
use crate::web::frame::Frame;
use crate::web::guards::DraftOf;
use crate::web::render::{Page, Sheet};
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "authoring.html")]
pub(in crate::web) struct Authoring {
    frame: Frame,
    draft: i64,
    version: i64,
    /// The published exercise, where there is one.
    exercise: Option<i64>,
    title: String,
    form: FormView,
    drawing: String,
    scale: String,
    left_out: Vec<String>,
    /// Errors by field, for the list above the form.
    wrongs: Vec<(String, String)>,
    /// What is only to be looked at, by field.
    doubts: Vec<(String, String)>,
    numbers: usize,
    like: LikeHoles,
    like_wrong: (String, String),
    rectangle: [String; 2],
    kept: String,
    step: i64,
    can_go_back: bool,
    can_go_forward: bool,
    /// Why it was not published, where that was asked for.
    refused: String,
    /// Whether the list of what is to mend stands on top, because publishing was asked for.
    asked: bool,
}

impl Authoring {
    fn like_mend(&self, field: &str) -> &str {
        if self.like_wrong.0 == field {
            &self.like_wrong.1
        } else {
            ""
        }
    }
}

/// What a page is made of besides the draft.
#[derive(Debug, Default)]
struct Extras {
    here: String,
    like: LikeHoles,
    like_wrong: (String, String),
    refused: Option<AtField>,
    asked: bool,
}

const ARRANGEMENTS: [(&str, &str); 3] = [
    ("circle", "around a circle"),
    ("row", "in a row"),
    ("grid", "in a grid"),
];

/// The time zone of the person's first class; UTC without one.
pub(in crate::web) async fn zone_of(app: &App, person: &Person) -> Result<jiff::tz::TimeZone, WebError> {
    let all = classes::of_person(&app.service.store, person.id).await?;
    let first = match all.first() {
        Some(line) => classes::of(&app.service.store, line.id, person.id).await?,
        None => None,
    };
    Ok(times::zone(first.as_ref().map_or("UTC", |c| c.time_zone.as_str())))
}

/// "Kept at 14:05 by ...".
fn kept_words(made_at: When, made_by: Option<&str>, person: &Person, zone: &jiff::tz::TimeZone) -> String {
    let by = match made_by {
        Some(name) if name != person.name => format!(" by {name}"),
        _ => String::new(),
    };
    format!("kept {}{by}", times::show(made_at, zone))
}

/// Everything that takes long, off the async threads.
struct Worked {
    look: Look,
    svg: String,
    scale: String,
    follows: std::collections::BTreeMap<String, Vec<String>>,
}

async fn work(form: &Form) -> Result<Worked, WebError> {
    let form = form.clone();
    let work = move || {
        let look = look(&form);
        let picture = look.drawn.as_ref().map(|e| {
            plan_view(
                e,
                &DrawingOptions {
                    linked: true,
                    ..DrawingOptions::screen()
                },
            )
        });
        let follows = look.drawn.as_ref().map(follows::lines).unwrap_or_default();
        Worked {
            look,
            scale: picture.as_ref().map(|p| p.scale.to_string()).unwrap_or_default(),
            svg: picture.map(|p| p.svg).unwrap_or_default(),
            follows,
        }
    };
    tokio::task::spawn_blocking(work).await.map_err(WebError::internal)
}

async fn sheet(app: &App, person: &Person, draft: &Draft, form: &Form, extras: Extras) -> Result<Authoring, WebError> {
    let mut worked = work(form).await?;
    worked.look.problems.extend(extras.refused.clone());
    let list = |severity: Severity| -> Vec<(String, String)> {
        let these = worked.look.problems.iter().filter(|p| p.severity == severity);
        these.map(|p| (p.field.clone(), listed(form, p))).collect()
    };
    let (wrongs, doubts) = (list(Severity::Error), list(Severity::Warning));
    let mut maker = Maker::new(form, &worked.look.problems, &extras.here);
    maker.published = draft.exercise.is_some();
    maker.follows = worked.follows;
    let view = maker.view();
    let zone = zone_of(app, person).await?;
    let title = crate::exercise::form::text(&form.head, "title").to_owned();
    let blank = form.as_rectangle().unwrap_or_default();
    Ok(Authoring {
        frame: Frame::of(person, "/exercises"),
        draft: draft.id.0,
        version: draft.version,
        exercise: draft.exercise.map(|e| e.0),
        title: if title.is_empty() {
            "New exercise".to_owned()
        } else {
            title
        },
        form: view,
        drawing: worked.svg,
        scale: worked.scale,
        left_out: worked.look.left_out,
        wrongs,
        doubts,
        numbers: form.characteristics().count(),
        like: extras.like,
        like_wrong: extras.like_wrong,
        rectangle: [blank.length, blank.width],
        kept: kept_words(draft.made_at, draft.made_by.as_deref(), person, &zone),
        step: draft.step,
        can_go_back: draft.before.is_some(),
        can_go_forward: drafts::after(&app.service.store, draft.id, draft.step).await?.is_some(),
        refused: extras.refused.map(|r| r.what).unwrap_or_default(),
        asked: extras.asked,
    })
}

/// A problem for the list: what it is about, and what is wrong.
fn listed(form: &Form, problem: &AtField) -> String {
    let owner = form.owner_of(&problem.field).filter(|o| !o.trim().is_empty());
    let owner = owner.map_or_else(String::new, |o| format!("{o}: "));
    capital(&format!("{owner}{}. {}", problem.what, problem.mend))
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct At {
    at: String,
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    of: DraftOf,
    Query(at): Query<At>,
) -> Result<Page<Authoring>, WebError> {
    let form = take(&of.draft.toml).form;
    let extras = Extras {
        here: at.at,
        ..Extras::default()
    };
    Ok(Page(sheet(&app, &of.person, &of.draft, &form, extras).await?))
}

fn get<'p>(pairs: &'p [(String, String)], name: &str) -> &'p str {
    pairs.iter().rev().find(|(n, _)| n == name).map_or("", |(_, v)| v)
}

fn like_holes(pairs: &[(String, String)]) -> LikeHoles {
    let field = |name: &str| get(pairs, name).to_owned();
    LikeHoles {
        arrangement: field("like-arrangement"),
        from: [field("like-x"), field("like-y")],
        circle: field("like-circle"),
        first: field("like-first"),
        step: [field("like-step-x"), field("like-step-y")],
        count: field("like-count"),
        rows: field("like-rows"),
        diameter: field("like-diameter"),
        depth: field("like-depth"),
        name: field("like-name"),
        size: field("like-size"),
        place: field("like-place"),
    }
}

pub(in crate::web) async fn submit(
    State(app): State<App>,
    of: DraftOf,
    Listed(pairs): Listed,
) -> Result<Response, WebError> {
    let DraftOf { person, draft } = of;
    let mut form = from_posted(&pairs);
    let stands = take(&draft.toml).form;
    form.follow_keys(&stands);
    form.leave_usual_sides(&stands);
    if draft.exercise.is_some() {
        // The code of a published exercise is not a field that can be typed in.
        form.head
            .insert("code", crate::exercise::form::text(&stands.head, "code").to_owned());
    }
    let version: i64 = get(&pairs, "version").parse().unwrap_or(0);
    let wish = get(&pairs, "do");
    let (mut here, mut what) = (None, None);
    if wish == "like-holes" {
        let like = like_holes(&pairs);
        match form.add_like_holes(&like) {
            Ok(count) => {
                what = Some(format!("{count} like holes added"));
                here = form.features.len().checked_sub(count).map(|i| format!("f{i}-name"));
            }
            Err((field, mend)) => {
                return like_to_mend(&app, &person, &draft, version, &form, (like, field, mend)).await;
            }
        }
    } else if wish == "rectangle" {
        let edit = Edit::Rectangle(
            get(&pairs, "rect-length").to_owned(),
            get(&pairs, "rect-width").to_owned(),
        );
        here = form.edit(&edit);
    } else if let Some(edit) = Edit::from_word(wish) {
        here = form.edit(&edit);
    }
    let version = match keep(&app.service, draft.id, version, person.id, &form, what.as_deref()).await {
        Ok(version) => version,
        Err(error) => return refused(&draft, error),
    };
    match wish {
        "publish" => published(&app, &person, &draft, version, None).await,
        "back" | "forward" => {
            let way = if wish == "back" { Way::Back } else { Way::Forward };
            let now = drafts::one(&app.service.store, draft.id)
                .await?
                .ok_or(WebError::NotFound)?;
            match go(&app.service, &now, version, way).await {
                Ok(_) | Err(AuthorError::NoStep) => Ok(to_form(&draft, None)),
                Err(error) => refused(&draft, error),
            }
        }
        _ => Ok(to_form(&draft, here)),
    }
}

fn to_form(draft: &Draft, here: Option<String>) -> Response {
    let place = here.map_or_else(String::new, |name| {
        let part = name.split('-').next().unwrap_or("").to_owned();
        format!("?at={name}#{part}")
    });
    Redirect::to(&format!("/drafts/{}{place}", draft.id)).into_response()
}

fn refused(draft: &Draft, error: AuthorError) -> Result<Response, WebError> {
    match error {
        AuthorError::Overtaken { mine } => {
            Ok(Redirect::to(&format!("/drafts/{}/overtaken?mine={mine}", draft.id)).into_response())
        }
        AuthorError::Gone | AuthorError::NoStep => Err(WebError::NotFound),
        AuthorError::Store(error) => Err(error.into()),
    }
}

/// Like holes that cannot be read: the rest is kept, and the fields come back as typed.
async fn like_to_mend(
    app: &App,
    person: &Person,
    draft: &Draft,
    version: i64,
    form: &Form,
    (like, field, mend): (LikeHoles, &'static str, String),
) -> Result<Response, WebError> {
    if let Err(error) = keep(&app.service, draft.id, version, person.id, form, None).await {
        return refused(draft, error);
    }
    let draft = drafts::one(&app.service.store, draft.id)
        .await?
        .ok_or(WebError::NotFound)?;
    let extras = Extras {
        like,
        like_wrong: (field.to_owned(), mend),
        ..Extras::default()
    };
    let sheet = sheet(app, person, &draft, form, extras).await?;
    Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, sheet).into_response())
}

/// Publishes, or says at the form why not.
async fn published(
    app: &App,
    person: &Person,
    draft: &Draft,
    version: i64,
    over: Option<ExerciseRevisionId>,
) -> Result<Response, WebError> {
    let at_code = |what: String, mend: &str| AtField {
        field: "code".to_owned(),
        severity: Severity::Error,
        what,
        mend: mend.to_owned(),
    };
    let refused_by = match publish(&app.service, draft.id, version, person.id, over).await {
        Ok(exercise) => return Ok(Redirect::to(&format!("/exercises/{exercise}")).into_response()),
        Err(PublishError::Draft(error)) => return refused(draft, error),
        Err(PublishError::Store(error)) => return Err(error.into()),
        Err(PublishError::Newer(newest)) => {
            return Ok(Redirect::to(&format!("/drafts/{}/overtaken?newer={newest}", draft.id)).into_response());
        }
        Err(PublishError::ToMend) => None,
        Err(PublishError::CodeTaken { by }) => {
            let known = exercises::newest(&app.service.store, by).await?;
            let title = known.map(|r| r.title).unwrap_or_default();
            let what = format!("the code is that of another exercise, \u{201c}{title}\u{201d}");
            Some(at_code(what, "Give this one a code of its own."))
        }
        Err(PublishError::CodeStays(code)) => Some(at_code(
            format!("this exercise is published as {code}"),
            "Keep that code; plates and files carry it.",
        )),
        Err(PublishError::Same) => Some(at_code(
            "nothing differs from the newest revision".to_owned(),
            "Change something, or throw the draft away.",
        )),
    };
    let draft = drafts::one(&app.service.store, draft.id)
        .await?
        .ok_or(WebError::NotFound)?;
    let form = take(&draft.toml).form;
    let extras = Extras {
        refused: refused_by,
        asked: true,
        ..Extras::default()
    };
    let sheet = sheet(app, person, &draft, &form, extras).await?;
    Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, sheet).into_response())
}
