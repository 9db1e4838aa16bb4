//! Fields of a form or an address by name, where which there are hangs on what the page is about. As in forms whose fields are
//! known, each comes once: of two of one name nobody could say which was meant.

use std::collections::BTreeMap;

use axum::extract::{Form, FromRequest, FromRequestParts, Query, Request};
use axum::http::StatusCode;
use axum::http::request::Parts;
use axum::response::{IntoResponse, Response};

use super::errors::{Explained, WebError};

/// Longest part of a field's name that is shown.
const SHOWN: usize = 40;

/// Fields of a form, by name.
#[derive(Debug)]
pub struct Fields(pub BTreeMap<String, String>);

/// Fields of a form, in the order in which they came.
#[derive(Debug)]
pub struct Listed(pub Vec<(String, String)>);

/// What is asked for in an address, by name.
#[derive(Debug)]
pub struct Asked(pub BTreeMap<String, String>);

/// The answer to a form with two fields of one name.
pub(super) fn doubled(status: StatusCode, name: &str) -> WebError {
    let name: String = name.chars().take(SHOWN).collect();
    Explained::new(
        status,
        "A field came twice",
        &format!("The field `{name}` came more than once, so it is not known which was meant. Nothing was stored."),
        "Go back and send the form again from its page: most browsers still hold what you typed. If it comes to this again, \
         switch off whatever changes pages in your browser, or use another one.",
    )
    .into()
}

/// Fields by name.
fn by_name(status: StatusCode, listed: Vec<(String, String)>) -> Result<BTreeMap<String, String>, WebError> {
    let mut fields = BTreeMap::new();
    for (name, text) in listed {
        if fields.contains_key(&name) {
            return Err(doubled(status, &name));
        }
        fields.insert(name, text);
    }
    Ok(fields)
}

/// Holds a list to one field of each name, but for those that are meant to repeat.
///
/// # Errors
/// The page that says which came twice.
pub(super) fn once_each(listed: &[(String, String)], repeats: &[&str]) -> Result<(), WebError> {
    let once = listed.iter().filter(|(name, _)| !repeats.contains(&name.as_str()));
    by_name(StatusCode::UNPROCESSABLE_ENTITY, once.cloned().collect()).map(drop)
}

async fn listed<S: Send + Sync>(request: Request, state: &S) -> Result<Vec<(String, String)>, Response> {
    let form = Form::<Vec<(String, String)>>::from_request(request, state).await;
    form.map(|Form(listed)| listed).map_err(IntoResponse::into_response)
}

impl<S: Send + Sync> FromRequest<S> for Fields {
    type Rejection = Response;

    async fn from_request(request: Request, state: &S) -> Result<Self, Response> {
        let listed = listed(request, state).await?;
        let fields = by_name(StatusCode::UNPROCESSABLE_ENTITY, listed);
        fields.map(Self).map_err(IntoResponse::into_response)
    }
}

impl<S: Send + Sync> FromRequest<S> for Listed {
    type Rejection = Response;

    async fn from_request(request: Request, state: &S) -> Result<Self, Response> {
        let listed = listed(request, state).await?;
        once_each(&listed, &[]).map_err(IntoResponse::into_response)?;
        Ok(Self(listed))
    }
}

impl<S: Send + Sync> FromRequestParts<S> for Asked {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Response> {
        let asked = Query::<Vec<(String, String)>>::from_request_parts(parts, state).await;
        let Query(asked) = asked.map_err(IntoResponse::into_response)?;
        let fields = by_name(StatusCode::BAD_REQUEST, asked);
        fields.map(Self).map_err(IntoResponse::into_response)
    }
}
