//! Sign in, sign out.

use std::net::SocketAddr;

use askama::Template;
use axum::extract::{ConnectInfo, Form, Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::CookieJar;
use axum_extra::extract::cookie::{Cookie, SameSite};
use jiff::tz::TimeZone;
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use serde::Deserialize;

use super::second_step;
use crate::actions::secrets::SecretError;
use crate::actions::sign_in::{self, Entered, SignInError, TRIES};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{self, SignedIn};
use crate::web::render::{Page, Sheet};
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "sign_in.html")]
struct SignIn {
    frame: Frame,
    /// Name as typed.
    name: String,
    /// Where to go afterwards.
    next: String,
    /// Whether many people use this device.
    shared: bool,
    /// What is wrong and how to mend it; empty when nothing is.
    wrong: String,
}

/// Where to go afterwards.
#[derive(Debug, Default, Deserialize)]
pub(in crate::web) struct Next {
    #[serde(default)]
    next: String,
}

/// Name and secret as typed.
#[derive(Deserialize)]
pub(in crate::web) struct Typed {
    #[serde(default)]
    name: String,
    #[serde(default)]
    secret: String,
    #[serde(default)]
    next: String,
    /// `yes` where many people use this device.
    #[serde(default)]
    shared: String,
}

/// Name of the cookie by which a device knows that many people use it. It says nothing of a person, outlives the session, and
/// the page's script reads it: such a device keeps nothing of what is typed.
const SHARED: &str = "shared-device";

/// Whether this device is one that many people use.
pub(in crate::web) fn is_shared(jar: &CookieJar) -> bool {
    jar.get(SHARED).is_some_and(|c| c.value() == "1")
}

/// The cookie of a device that many people use.
fn shared_cookie(app: &App) -> Cookie<'static> {
    Cookie::build((SHARED, "1"))
        .path("/")
        .same_site(SameSite::Lax)
        .secure(app.settings.behind_tls)
        .permanent()
        .build()
}

/// The address of this page for somebody who wanted to go somewhere.
pub(in crate::web) fn address(next: &str) -> String {
    if next == "/" || !is_here(next) {
        return "/sign-in".to_owned();
    }
    const PATH: &AsciiSet = &NON_ALPHANUMERIC.remove(b'/').remove(b'-').remove(b'_').remove(b'.');
    format!("/sign-in?next={}", utf8_percent_encode(next, PATH))
}

/// Only paths of this site, so that nobody is sent elsewhere by a link to this page.
fn is_here(next: &str) -> bool {
    next.starts_with('/')
        && !next.starts_with("//")
        && !next.contains('\\')
        && !next.chars().any(char::is_control)
        && next.len() <= 2000
}

/// The form; whoever is signed in already goes on.
pub(in crate::web) async fn page(person: Option<SignedIn>, jar: CookieJar, Query(query): Query<Next>) -> Response {
    if person.is_some() {
        return Redirect::to(onward(&query.next)).into_response();
    }
    let page = SignIn {
        frame: Frame::anyone(),
        name: String::new(),
        next: query.next,
        shared: is_shared(&jar),
        wrong: String::new(),
    };
    Page(page).into_response()
}

/// Where to go after signing in.
pub(super) fn onward(next: &str) -> &str {
    if is_here(next) { next } else { "/" }
}

/// The device remembers whether it is shared.
fn told_shared(app: &App, jar: CookieJar, shared: bool) -> CookieJar {
    if shared {
        jar.add(shared_cookie(app))
    } else if is_shared(&jar) {
        jar.remove(shared_cookie(app))
    } else {
        jar
    }
}

/// Signs in.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    ConnectInfo(from): ConnectInfo<SocketAddr>,
    headers: HeaderMap,
    jar: CookieJar,
    Form(typed): Form<Typed>,
) -> Result<Response, WebError> {
    if typed.name.trim().is_empty() || typed.secret.is_empty() {
        let wrong = "Fill in both fields: your sign-in name, and your passphrase or PIN.";
        return Ok(again(&typed, StatusCode::UNPROCESSABLE_ENTITY, wrong.to_owned()));
    }
    let Some(counted) = guards::begin_try(&app, from, &headers) else {
        return Ok(again(&typed, StatusCode::TOO_MANY_REQUESTS, guards::CROWDED.to_owned()));
    };
    let had = guards::token(&app, &jar);
    let shared = typed.shared == "yes";
    let jar = told_shared(&app, jar, shared);
    let entered = sign_in::sign_in(&app.service, &typed.name, &typed.secret, had.as_ref(), shared).await;
    if !matches!(entered, Err(SignInError::DoesNotFit | SignInError::Locked { .. })) {
        counted.was_not_wrong();
    }
    match entered {
        Ok(Entered::Half(half)) => {
            let form = second_step::ask(half.as_str(), &typed.next, StatusCode::OK, String::new());
            Ok((jar, form).into_response())
        }
        Ok(Entered::Whole(token, _)) => {
            let jar = jar.add(cookie(&app, token.as_str().to_owned()));
            Ok((jar, Redirect::to(onward(&typed.next))).into_response())
        }
        Err(SignInError::DoesNotFit) => {
            let wrong = "Name and passphrase or PIN do not belong together. Check both (capital letters count in a \
                passphrase) and try again. If you do not know them any more, ask your instructor; an instructor asks \
                whoever runs the server.";
            Ok(again(&typed, StatusCode::UNPROCESSABLE_ENTITY, wrong.to_owned()))
        }
        Err(SignInError::Locked { until }) => {
            let clock = times::show_clock(until, &TimeZone::system());
            let wrong = format!(
                "This name is locked after {TRIES} tries. Try again after {clock}, or ask your instructor to open it."
            );
            Ok(again(&typed, StatusCode::TOO_MANY_REQUESTS, wrong))
        }
        Err(SignInError::Secret(SecretError::Busy)) => {
            let wrong = "Very many people sign in at this moment. Wait some seconds, then try again.";
            Ok(again(&typed, StatusCode::SERVICE_UNAVAILABLE, wrong.to_owned()))
        }
        Err(SignInError::Store(error)) => Err(error.into()),
        Err(error) => Err(WebError::internal(error)),
    }
}

fn again(typed: &Typed, status: StatusCode, wrong: String) -> Response {
    let (name, next) = (typed.name.clone(), typed.next.clone());
    Sheet(
        status,
        SignIn {
            frame: Frame::anyone(),
            name,
            next,
            shared: typed.shared == "yes",
            wrong,
        },
    )
    .into_response()
}

/// The form once more, with why.
pub(super) fn signed_out(next: &str, wrong: &str) -> Response {
    let typed = Typed {
        name: String::new(),
        secret: String::new(),
        next: next.to_owned(),
        shared: String::new(),
    };
    again(&typed, StatusCode::UNPROCESSABLE_ENTITY, wrong.to_owned())
}

pub(super) fn cookie(app: &App, value: String) -> Cookie<'static> {
    let tls = app.settings.behind_tls;
    Cookie::build((guards::cookie_name(tls), value))
        .path("/")
        .http_only(true)
        .same_site(SameSite::Lax)
        .secure(tls)
        .build()
}

/// Signs out; also who is signed out already.
pub(in crate::web) async fn leave(State(app): State<App>, jar: CookieJar) -> Result<Response, WebError> {
    if let Some(token) = guards::token(&app, &jar) {
        sign_in::sign_out(&app.service, &token).await?;
    }
    let jar = jar.remove(cookie(&app, String::new()));
    // A tablet is shared: what the browser kept for this person goes with the session.
    Ok((jar, guards::CLEAR, Redirect::to("/sign-in")).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_sent_elsewhere() {
        for (next, to) in [
            ("/classes/1", "/classes/1"),
            ("//elsewhere.example", "/"),
            ("https://elsewhere.example", "/"),
            ("/\\elsewhere.example", "/"),
            ("", "/"),
        ] {
            assert_eq!(onward(next), to);
        }
        assert_eq!(address("/my/3?a=b"), "/sign-in?next=/my/3%3Fa%3Db");
    }
}
