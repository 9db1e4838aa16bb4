//! Taking a seat with a printed slip. Whoever has no slip sees no name here, and no word that tells one code from
//! another.

use std::net::SocketAddr;

use askama::Template;
use axum::extract::{ConnectInfo, Form, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::CookieJar;
use jiff::tz::TimeZone;
use serde::Deserialize;

use super::sign_in::{cookie, is_shared};
use crate::actions::secrets::SecretError;
use crate::actions::sign_in::{SignInError, TRIES};
use crate::actions::take_seat::{SeatError, take_seat, whose};
use crate::store::people::{Person, Role};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards;
use crate::web::render::{Page, Sheet};
use crate::web::times;
use crate::web::wrongs::mend;

#[derive(Debug, Template)]
#[template(path = "seat.html")]
pub(in crate::web) struct Seat {
    frame: Frame,
    code: String,
    /// Whose seat it is, once the code is known to be good.
    whose: Option<Person>,
    wrongs: Vec<(&'static str, String)>,
}

impl Seat {
    const fn of(code: String, whose: Option<Person>, wrongs: Vec<(&'static str, String)>) -> Self {
        let frame = Frame {
            lang: "en",
            who: None,
            person: None,
            ways: Vec::new(),
        };
        Self {
            frame,
            code,
            whose,
            wrongs,
        }
    }

    fn mend(&self, field: &str) -> &str {
        mend(&self.wrongs, field)
    }
}

/// Code and secret as typed.
#[derive(Deserialize)]
pub(in crate::web) struct Typed {
    #[serde(default)]
    code: String,
    secret: Option<String>,
    #[serde(default)]
    again: String,
}

pub(in crate::web) async fn page() -> Page<Seat> {
    Page(Seat::of(String::new(), None, Vec::new()))
}

const NOT_GOOD: &str = "No seat can be taken with this code. Check it letter by letter against your slip. A slip is good \
    once and for some days only; if yours is older or was used, ask your instructor for a new one.";

pub(in crate::web) async fn submit(
    State(app): State<App>,
    ConnectInfo(from): ConnectInfo<SocketAddr>,
    headers: HeaderMap,
    jar: CookieJar,
    Form(typed): Form<Typed>,
) -> Result<Response, WebError> {
    let back = |status, whose, field, what: String| {
        let page = Seat::of(typed.code.trim().to_owned(), whose, vec![(field, what)]);
        Sheet(status, page).into_response()
    };
    if typed.code.trim().is_empty() {
        let what = NOT_GOOD.to_owned();
        return Ok(back(StatusCode::UNPROCESSABLE_ENTITY, None, "code", what));
    }
    let Some(counted) = guards::begin_try(&app, from, &headers) else {
        let what = guards::CROWDED.to_owned();
        return Ok(back(StatusCode::TOO_MANY_REQUESTS, None, "code", what));
    };
    let person = match whose(&app.service, &typed.code).await {
        Ok(person) => {
            counted.was_not_wrong();
            person
        }
        Err(error) => {
            if !matches!(
                error,
                SeatError::NotGood | SeatError::SignIn(SignInError::Locked { .. })
            ) {
                counted.was_not_wrong();
            }
            let (status, what) = refused(error)?;
            return Ok(back(status, None, "code", what));
        }
    };
    let Some(secret) = &typed.secret else {
        let page = Seat::of(typed.code.trim().to_owned(), Some(person), Vec::new());
        return Ok(Page(page).into_response());
    };
    if *secret != typed.again {
        let what = "The two are not the same. Type it twice, in both fields.".to_owned();
        return Ok(back(StatusCode::UNPROCESSABLE_ENTITY, Some(person), "again", what));
    }
    let had = guards::token(&app, &jar);
    match take_seat(&app.service, &typed.code, secret, had.as_ref(), is_shared(&jar)).await {
        Ok((Some(token), _)) => {
            let jar = jar.add(cookie(&app, token.as_str().to_owned()));
            Ok((jar, Redirect::to("/")).into_response())
        }
        Ok((None, _)) => Ok(Redirect::to("/sign-in").into_response()),
        Err(SeatError::Pin(what)) => Ok(back(
            StatusCode::UNPROCESSABLE_ENTITY,
            Some(person),
            "secret",
            what.to_owned(),
        )),
        Err(error) => {
            let (status, what) = refused(error)?;
            Ok(back(status, None, "code", what))
        }
    }
}

fn refused(error: SeatError) -> Result<(StatusCode, String), WebError> {
    match error {
        SeatError::NotGood => Ok((StatusCode::UNPROCESSABLE_ENTITY, NOT_GOOD.to_owned())),
        SeatError::SignIn(SignInError::Locked { until }) => {
            let clock = times::show_clock(until, &TimeZone::system());
            let what =
                format!("This slip is locked after {TRIES} tries. Try again after {clock}, or ask for a new slip.");
            Ok((StatusCode::TOO_MANY_REQUESTS, what))
        }
        SeatError::SignIn(SignInError::Secret(SecretError::Busy)) => {
            let what = "Very many people take their seats at this moment. Wait some seconds, then send it again.";
            Ok((StatusCode::SERVICE_UNAVAILABLE, what.to_owned()))
        }
        SeatError::SignIn(SignInError::Store(error)) => Err(error.into()),
        error => Err(WebError::internal(error)),
    }
}
