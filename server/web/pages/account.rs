//! The account of whoever is signed in: another passphrase or PIN, and the devices that are signed in.

use askama::Template;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::CookieJar;
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::actions::account::{self, ChangeError};
use crate::actions::secrets::SecretError;
use crate::actions::sign_in::Token;
use crate::store::people::{Person, Role};
use crate::store::second_steps;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{self, SignedIn};
use crate::web::render::Sheet;
use crate::web::times;

/// A device in the list.
#[derive(Debug)]
struct DeviceLine {
    since: String,
    seen: String,
    here: bool,
}

#[derive(Debug, Template)]
#[template(path = "account.html")]
struct Account {
    frame: Frame,
    name: String,
    sign_in: String,
    /// `passphrase` or `PIN`.
    secret: &'static str,
    is_pin: bool,
    /// Whether a second step is asked for at sign-in.
    second_step: bool,
    devices: Vec<DeviceLine>,
    others: usize,
    said: &'static str,
    /// Field and what is wrong with it.
    wrongs: Vec<(&'static str, String)>,
}

impl Account {
    fn wrong(&self, field: &str) -> String {
        let found = self.wrongs.iter().find(|(name, _)| *name == field);
        found.map(|(_, text)| text.clone()).unwrap_or_default()
    }
}

/// Both secrets as typed; neither is ever shown again.
#[derive(Deserialize)]
pub(in crate::web) struct Typed {
    #[serde(default)]
    old: String,
    #[serde(default)]
    new: String,
    #[serde(default)]
    again: String,
}

fn here(app: &App, jar: &CookieJar) -> Result<Token, WebError> {
    guards::token(app, jar).ok_or(WebError::SignedOut)
}

async fn sheet(
    app: &App,
    person: &Person,
    here: &Token,
    said: &'static str,
    wrongs: Vec<(&'static str, String)>,
) -> Result<Response, WebError> {
    let zone = TimeZone::system();
    let devices = account::devices(&app.service, person, here).await?;
    let lines: Vec<DeviceLine> = devices
        .iter()
        .map(|device| DeviceLine {
            since: times::show(device.since, &zone),
            seen: times::show(device.seen_at, &zone),
            here: device.here,
        })
        .collect();
    let is_pin = person.role == Role::Student;
    let second_step = second_steps::is_on(&app.service.store, person.id).await?;
    let status = if wrongs.is_empty() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    let page = Account {
        frame: Frame::of(person, "/account"),
        name: person.name.clone(),
        sign_in: person.sign_in.clone(),
        secret: if is_pin { "PIN" } else { "passphrase" },
        is_pin,
        second_step,
        others: lines.iter().filter(|line| !line.here).count(),
        devices: lines,
        said,
        wrongs,
    };
    Ok(Sheet(status, page).into_response())
}

/// The account.
pub(in crate::web) async fn page(
    State(app): State<App>,
    SignedIn(person): SignedIn,
    jar: CookieJar,
) -> Result<Response, WebError> {
    sheet(&app, &person, &here(&app, &jar)?, "", Vec::new()).await
}

/// Another secret.
pub(in crate::web) async fn change(
    State(app): State<App>,
    SignedIn(person): SignedIn,
    jar: CookieJar,
    Form(typed): Form<Typed>,
) -> Result<Response, WebError> {
    let here = here(&app, &jar)?;
    if typed.new != typed.again {
        let wrong = vec![("again", "The two are not the same. Type the new one twice.".to_owned())];
        return sheet(&app, &person, &here, "", wrong).await;
    }
    let wrong = match account::change_secret(&app.service, &person, &here, &typed.old, &typed.new).await {
        Ok(()) => {
            return sheet(
                &app,
                &person,
                &here,
                "It is changed. Other devices are signed out.",
                Vec::new(),
            )
            .await;
        }
        Err(ChangeError::DoesNotFit) => ("old", "This is not the one that is good now. Type it again.".to_owned()),
        Err(ChangeError::Locked) => {
            let text = "Ten tries were wrong. Wait a quarter of an hour, or ask your instructor for a new slip.";
            ("old", text.to_owned())
        }
        Err(ChangeError::New(text)) => ("new", text.to_owned()),
        Err(ChangeError::Secret(SecretError::Busy)) => (
            "old",
            "Very many people sign in at this moment. Wait some seconds, then try again.".to_owned(),
        ),
        Err(ChangeError::Secret(error)) => return Err(WebError::internal(error)),
        Err(ChangeError::Store(error)) => return Err(error.into()),
    };
    sheet(&app, &person, &here, "", vec![wrong]).await
}

/// Signs all other devices out.
pub(in crate::web) async fn end_others(
    State(app): State<App>,
    SignedIn(person): SignedIn,
    jar: CookieJar,
) -> Result<Redirect, WebError> {
    account::end_others(&app.service, &person, &here(&app, &jar)?).await?;
    Ok(Redirect::to("/account"))
}
