//! The first page, which sends everybody to their own; and whether the server is well.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Redirect;

use crate::store::people::Role;
use crate::web::app::App;
use crate::web::guards::SignedIn;

/// Staff begin with their classes, students with their assignments.
pub(in crate::web) async fn page(SignedIn(person): SignedIn) -> Redirect {
    Redirect::to(match person.role {
        Role::Instructor | Role::Assistant => "/classes",
        Role::Student => "/my",
    })
}

/// `ok` while the database answers and no damage is known. Anybody may ask, so it says one word and no reason: that stands in
/// the log.
pub(in crate::web) async fn health(State(app): State<App>) -> Result<&'static str, StatusCode> {
    if let Err(error) = app.service.store.answers().await {
        tracing::error!(%error, "the database failed");
        return Err(StatusCode::SERVICE_UNAVAILABLE);
    }
    if app.service.store.is_damaged() {
        return Err(StatusCode::SERVICE_UNAVAILABLE);
    }
    Ok("ok\n")
}
