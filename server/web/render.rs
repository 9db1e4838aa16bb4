//! A template as an answer.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};

use super::errors::WebError;

/// A page with status 200.
#[derive(Debug)]
pub struct Page<T>(pub T);

impl<T: Template> IntoResponse for Page<T> {
    fn into_response(self) -> Response {
        Sheet(StatusCode::OK, self.0).into_response()
    }
}

/// A page with another status, as for a form that has to be mended.
#[derive(Debug)]
pub struct Sheet<T>(pub StatusCode, pub T);

impl<T: Template> IntoResponse for Sheet<T> {
    fn into_response(self) -> Response {
        match self.1.render() {
            Ok(html) => (self.0, Html(html)).into_response(),
            Err(error) => WebError::internal(error).into_response(),
        }
    }
}

/// Whether two texts are the same, whatever holds them: for templates.
#[must_use]
pub fn same(one: impl AsRef<str>, other: impl AsRef<str>) -> bool {
    one.as_ref() == other.as_ref()
}
