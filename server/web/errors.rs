//! What a handler fails with, and the page for every 4xx and 5xx.
//!
//! A `WebError` is an answer without a body that says in its `Explained` what happened and where to go. The layer
//! `explain` makes a page of it, and of every other bare 4xx and 5xx, such as those of the framework.

use askama::Template;
use axum::extract::Request;
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{Html, IntoResponse, Redirect, Response};
use tower_http::request_id::RequestId;

use super::frame::Frame;
use crate::store::StoreError;
use crate::store::people::Person;

/// The few outcomes of a handler that did not get to its page.
#[derive(Debug)]
pub enum WebError {
    /// There is no such thing, or it is somebody else's: which of the two is not told.
    NotFound,
    /// The page is for others.
    NotForYou(&'static str),
    /// Nobody is signed in; where to come back to.
    SignIn(String),
    /// A form was sent by nobody.
    SignedOut,
    /// What was asked cannot be done; why, and what to do instead.
    Refused(Box<Explained>),
    /// Our fault. The text is for the log.
    Internal(String),
}

/// What the page of an error says.
#[derive(Debug, Clone)]
pub struct Explained {
    /// Status of the answer.
    pub status: StatusCode,
    /// Headline.
    pub title: String,
    /// What happened.
    pub what: String,
    /// How to mend it.
    pub mend: String,
    /// Where to go: address and words.
    pub way: (String, String),
}

impl Explained {
    /// With the way to the first page.
    #[must_use]
    pub fn new(status: StatusCode, title: &str, what: &str, mend: &str) -> Self {
        let way = ("/".to_owned(), "To your first page".to_owned());
        Self {
            status,
            title: title.to_owned(),
            what: what.to_owned(),
            mend: mend.to_owned(),
            way,
        }
    }

    /// With another way.
    #[must_use]
    pub fn to(mut self, href: impl Into<String>, words: &str) -> Self {
        self.way = (href.into(), words.to_owned());
        self
    }
}

impl WebError {
    /// Our fault, for the log.
    pub fn internal(error: impl std::fmt::Display) -> Self {
        Self::Internal(error.to_string())
    }

    fn explained(self) -> Explained {
        match self {
            Self::NotFound => of_status(StatusCode::NOT_FOUND),
            Self::NotForYou(whom) => Explained::new(
                StatusCode::FORBIDDEN,
                "This page is for others",
                &format!("This page is for {whom}, and you are signed in as somebody else."),
                "Go to your first page, or sign out and sign in with the other name.",
            ),
            Self::SignedOut | Self::SignIn(_) => Explained::new(
                StatusCode::UNAUTHORIZED,
                "You are signed out",
                "You were signed out before this form came in, so it was not kept.",
                "Sign in again in another tab, then come back to this page, go one page back and send the form again: \
                 most browsers still hold what you typed.",
            )
            .to("/sign-in", "Sign in"),
            Self::Refused(explained) => *explained,
            Self::Internal(text) => {
                tracing::error!(error = text, "a request failed");
                of_status(StatusCode::INTERNAL_SERVER_ERROR)
            }
        }
    }
}

impl From<Explained> for WebError {
    fn from(explained: Explained) -> Self {
        Self::Refused(Box::new(explained))
    }
}

impl IntoResponse for WebError {
    fn into_response(self) -> Response {
        if let Self::SignIn(next) = &self {
            return Redirect::to(&super::pages::sign_in::address(next)).into_response();
        }
        let explained = self.explained();
        let mut response = explained.status.into_response();
        response.extensions_mut().insert(explained);
        response
    }
}

/// A disk that is full, locked or damaged has a page of its own; the text of the failure goes to the log.
impl From<StoreError> for WebError {
    fn from(error: StoreError) -> Self {
        tracing::error!(%error, "the database failed");
        let mut root = &error;
        while let StoreError::Batch(inner) = root {
            root = inner;
        }
        let (what, mend) = match root {
            StoreError::CannotWrite(_) => (
                "The server cannot write to its disk at the moment, so nothing was stored.",
                "Keep this page and your sheet. Tell your instructor: the disk of the server is full or write-protected.",
            ),
            StoreError::Busy(_) | StoreError::Stopping => (
                "The server is busy or about to stop, so nothing was stored.",
                "Wait a moment and send it again.",
            ),
            StoreError::Damaged(_) => (
                "The database of the server is damaged, so nothing was stored.",
                "Keep your sheet. Tell your instructor: the last backup has to be restored.",
            ),
            _ => return Self::Internal(error.to_string()),
        };
        Explained::new(StatusCode::SERVICE_UNAVAILABLE, "Not stored", what, mend).into()
    }
}

fn of_status(status: StatusCode) -> Explained {
    let (title, what, mend) = match status {
        StatusCode::NOT_FOUND => (
            "Not here",
            "There is nothing at this address, or it belongs to somebody else.",
            "Check the address, or start again from your first page.",
        ),
        StatusCode::METHOD_NOT_ALLOWED => (
            "Not like this",
            "This address takes a form, and it was opened like a page (or the other way round).",
            "Go to your first page and find the form from there.",
        ),
        StatusCode::FORBIDDEN => (
            "Not from there",
            "The form was sent from another site, or by a browser that does not say where it comes from.",
            "Open the page here and send the form again.",
        ),
        StatusCode::PAYLOAD_TOO_LARGE => (
            "Too big",
            "What was sent is bigger than this server takes. Nothing of it was stored; drafts are as they were.",
            "Send a smaller file: a report has some kilobytes, and at most 8 MB are taken.",
        ),
        StatusCode::REQUEST_TIMEOUT | StatusCode::GATEWAY_TIMEOUT => (
            "It took too long",
            "What was sent and the answer to it were not through in the time that the server gives them, half a minute for most \
             pages, so it gave up on them.",
            "Look whether it was done all the same, and try again if not: handing in the same report twice makes one report.",
        ),
        status if status.is_server_error() => (
            "Something went wrong here",
            "The server made a mistake. It is not yours.",
            "Try again in a moment. If it stays like this, tell whoever runs the server the number below.",
        ),
        _ => (
            "That could not be read",
            "What the browser sent is not what this page takes.",
            "Go back, check what you typed and send it again.",
        ),
    };
    Explained::new(status, title, what, mend)
}

#[derive(Debug, Template)]
#[template(path = "error.html")]
struct ErrorPage {
    frame: Frame,
    error: Explained,
    request: String,
}

/// Where is asked whether the server is well.
pub(super) const HEALTH: &str = "/health";

/// What is answered there where it is not.
const NOT_WELL: &str = "failing\n";

/// Puts a page under every 4xx and 5xx that has none.
pub(super) async fn explain(request: Request, next: Next) -> Response {
    let is_health = request.uri().path() == HEALTH;
    let id = request.extensions().get::<RequestId>().cloned();
    let response = next.run(request).await;
    let status = response.status();
    let has_page = response
        .headers()
        .get(header::CONTENT_TYPE)
        .is_some_and(|t| t.as_bytes().starts_with(b"text/html"));
    if !(status.is_client_error() || status.is_server_error()) || has_page {
        return response;
    }
    if is_health {
        return (status, NOT_WELL).into_response();
    }
    let error = response
        .extensions()
        .get::<Explained>()
        .cloned()
        .unwrap_or_else(|| of_status(status));
    let frame = Frame::of_any(response.extensions().get::<Person>());
    let request = id
        .and_then(|id| id.header_value().to_str().map(str::to_owned).ok())
        .unwrap_or_default();
    let (mut parts, _) = response.into_parts();
    parts.headers.remove(header::CONTENT_LENGTH);
    parts.headers.insert(
        header::CONTENT_TYPE,
        HeaderValue::from_static("text/html; charset=utf-8"),
    );
    let page = ErrorPage { frame, error, request };
    let body = page.render().unwrap_or_else(|_| page.error.title.clone());
    (parts, Html(body)).into_response()
}
