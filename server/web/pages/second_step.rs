//! The second step at sign-in: setting it up and switching it off, and the form for the code.

use std::net::SocketAddr;

use askama::Template;
use axum::extract::{ConnectInfo, Form, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::CookieJar;
use jiff::tz::TimeZone;
use serde::Deserialize;

use super::sign_in::{cookie, is_shared, onward, signed_out};
use crate::actions::second_step::{self, StepError, ToEnrol};
use crate::actions::secrets::SecretError;
use crate::actions::sign_in::{SignInError, TRIES, Token};
use crate::store::people::Person;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{self, Staff};
use crate::web::render::Sheet;
use crate::web::times;

/// Where a person stands.
#[derive(Debug)]
enum Stands {
    /// Without a second step.
    Off,
    /// The secret is to be put into the app, and a first code typed.
    ToEnrol { enrol: ToEnrol, path: String },
    /// With recovery codes that are shown this once.
    Codes(Vec<String>),
    /// Switched on.
    On { since: String, codes_left: i64 },
}

#[derive(Debug, Template)]
#[template(path = "second_step.html")]
struct SecondStep {
    frame: Frame,
    sign_in: String,
    stands: Stands,
    said: &'static str,
    wrongs: Vec<(&'static str, String)>,
}

impl SecondStep {
    fn wrong(&self, field: &str) -> String {
        let found = self.wrongs.iter().find(|(name, _)| *name == field);
        found.map(|(_, text)| text.clone()).unwrap_or_default()
    }
}

/// What is typed on the page; neither is ever shown again.
#[derive(Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Typed {
    #[serde(rename = "do")]
    what: String,
    passphrase: String,
    code: String,
}

fn sheet(person: &Person, stands: Stands, said: &'static str, wrongs: Vec<(&'static str, String)>) -> Response {
    let status = if wrongs.is_empty() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    let page = SecondStep {
        frame: Frame::of(person, "/account"),
        sign_in: person.sign_in.clone(),
        stands,
        said,
        wrongs,
    };
    Sheet(status, page).into_response()
}

async fn stands(app: &App, person: &Person) -> Result<Stands, WebError> {
    let stored = second_step::of(&app.service, person.id).await?;
    let on = stored.and_then(|s| s.confirmed_at.map(|at| (at, s.codes_left)));
    Ok(match on {
        None => Stands::Off,
        Some((at, codes_left)) => Stands::On {
            since: times::show_day(at, &TimeZone::system()),
            codes_left,
        },
    })
}

/// The modules of a QR code as the path of an SVG, one unit each, within the four clear ones that readers need.
fn path(picture: &[Vec<bool>]) -> String {
    let mut data = String::new();
    for (y, line) in picture.iter().enumerate() {
        for (x, _) in line.iter().enumerate().filter(|(_, dark)| **dark) {
            data.push_str(&format!("M{} {}h1v1h-1z", x + 4, y + 4));
        }
    }
    data
}

fn enrolling(enrol: ToEnrol) -> Stands {
    let path = path(&enrol.picture);
    Stands::ToEnrol { enrol, path }
}

/// The page.
pub(in crate::web) async fn page(State(app): State<App>, Staff(person): Staff) -> Result<Response, WebError> {
    Ok(sheet(&person, stands(&app, &person).await?, "", Vec::new()))
}

/// Begins, confirms, draws new recovery codes, switches off.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    Staff(person): Staff,
    jar: CookieJar,
    Form(typed): Form<Typed>,
) -> Result<Response, WebError> {
    let here = guards::token(&app, &jar).ok_or(WebError::SignedOut)?;
    let service = &app.service;
    let done = match typed.what.as_str() {
        "begin" => second_step::begin(service, &person, &typed.passphrase)
            .await
            .map(enrolling),
        "confirm" => second_step::confirm(service, &person, &here, &typed.code)
            .await
            .map(Stands::Codes),
        "codes" => second_step::new_codes(service, &person, &typed.passphrase, &typed.code)
            .await
            .map(Stands::Codes),
        "off" => second_step::switch_off(service, &person, &typed.passphrase, &typed.code)
            .await
            .map(|()| Stands::Off),
        _ => return Err(WebError::NotFound),
    };
    let said = match (typed.what.as_str(), &done) {
        ("off", Ok(_)) => "It is switched off. From now on the passphrase alone signs you in.",
        ("confirm", Ok(_)) => "It is switched on. Other devices are signed out.",
        _ => "",
    };
    match done {
        Ok(now) => Ok(sheet(&person, now, said, Vec::new())),
        Err(error) => refused(&app, &person, &typed, error).await,
    }
}

/// The page again, with what is wrong at its field.
async fn refused(app: &App, person: &Person, typed: &Typed, error: StepError) -> Result<Response, WebError> {
    let (field, text) = match &error {
        StepError::SignIn(SignInError::DoesNotFit) => {
            ("passphrase", "This is not your passphrase. Type it again.".to_owned())
        }
        StepError::SignIn(SignInError::Secret(SecretError::Busy)) => {
            let text = "Very many people sign in at this moment. Wait some seconds, then try again.";
            ("passphrase", text.to_owned())
        }
        StepError::SignIn(SignInError::Locked { .. }) => {
            let field = if typed.what == "begin" { "passphrase" } else { "code" };
            (
                field,
                "Ten tries were wrong. Wait a quarter of an hour, then try again.".to_owned(),
            )
        }
        _ => ("code", words(error)?),
    };
    let now = if typed.what == "confirm" {
        match second_step::begun(&app.service, person).await {
            Ok(enrol) => enrolling(enrol),
            Err(_) => stands(app, person).await?,
        }
    } else {
        stands(app, person).await?
    };
    Ok(sheet(person, now, "", vec![(field, text)]))
}

/// What is wrong with a code, for the person; an error of the server otherwise.
fn words(error: StepError) -> Result<String, WebError> {
    match error {
        StepError::WrongCode => Ok(
            "This code is not good. Each code of the app is good once and for about a minute: wait for the \
            next one and type its six digits. If none is ever good, the clock of the phone or of this server is wrong."
                .to_owned(),
        ),
        StepError::NoKey | StepError::Key(_) | StepError::Sealed => {
            tracing::error!(%error, "the key for second steps is not there or not the right one");
            Ok("Codes of the app cannot be checked at the moment, because the key file of this server is missing. Type one \
                of your recovery codes, and tell whoever runs the server."
                .to_owned())
        }
        StepError::NotSo => Ok("This was changed meanwhile. Open the page again and look how it stands.".to_owned()),
        StepError::SignIn(SignInError::Store(error)) => Err(error.into()),
        error => Err(WebError::internal(error)),
    }
}

#[derive(Debug, Template)]
#[template(path = "second_step_code.html")]
struct CodePage {
    frame: Frame,
    half: String,
    next: String,
    wrong: String,
}

/// The form for the code, after the passphrase was right.
pub(super) fn ask(half: &str, next: &str, status: StatusCode, wrong: String) -> Response {
    let page = CodePage {
        frame: Frame::anyone(),
        half: half.to_owned(),
        next: next.to_owned(),
        wrong,
    };
    Sheet(status, page).into_response()
}

/// The code as typed, with what the first half of the sign-in gave.
#[derive(Deserialize)]
#[serde(default)]
#[derive(Default)]
pub(in crate::web) struct TypedCode {
    half: String,
    next: String,
    code: String,
}

/// The second half of a sign-in.
pub(in crate::web) async fn finish(
    State(app): State<App>,
    ConnectInfo(from): ConnectInfo<SocketAddr>,
    headers: HeaderMap,
    jar: CookieJar,
    Form(typed): Form<TypedCode>,
) -> Result<Response, WebError> {
    let again = |status, wrong: String| ask(&typed.half, &typed.next, status, wrong);
    let Some(half) = Token::from_cookie(&typed.half) else {
        let wrong = "The code comes after name and passphrase. Sign in with those first.";
        return Ok(signed_out(&typed.next, wrong));
    };
    if typed.code.trim().is_empty() {
        let wrong = "Type the six digits that the app shows now, or one of your recovery codes.";
        return Ok(again(StatusCode::UNPROCESSABLE_ENTITY, wrong.to_owned()));
    }
    let Some(counted) = guards::begin_try(&app, from, &headers) else {
        return Ok(again(StatusCode::TOO_MANY_REQUESTS, guards::CROWDED.to_owned()));
    };
    let had = guards::token(&app, &jar);
    let finished = second_step::finish(&app.service, &half, &typed.code, had.as_ref(), is_shared(&jar)).await;
    let wrong = matches!(
        finished,
        Err(StepError::Over | StepError::WrongCode | StepError::SignIn(SignInError::Locked { .. }))
    );
    if !wrong {
        counted.was_not_wrong();
    }
    match finished {
        Ok((token, _)) => {
            let jar = jar.add(cookie(&app, token.as_str().to_owned()));
            Ok((jar, Redirect::to(onward(&typed.next))).into_response())
        }
        Err(StepError::Over) => {
            let wrong = "More than five minutes passed since your passphrase, or it was changed meanwhile. Sign in again, with the \
                app at hand.";
            Ok(signed_out(&typed.next, wrong))
        }
        Err(StepError::SignIn(SignInError::Locked { until })) => {
            let clock = times::show_clock(until, &TimeZone::system());
            let wrong = format!("Codes are locked after {TRIES} tries. Try again after {clock}.");
            Ok(again(StatusCode::TOO_MANY_REQUESTS, wrong))
        }
        Err(error) => Ok(again(StatusCode::UNPROCESSABLE_ENTITY, words(error)?)),
    }
}
