//! The first page, which sends everybody to their own; and whether the server is well.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Redirect;

use crate::store::people::Role;
use crate::web::app::App;
use crate::web::errors::{Explained, WebError};
use crate::web::guards::SignedIn;

/// Staff begin with their classes, students with their assignments.
pub(in crate::web) async fn page(SignedIn(person): SignedIn) -> Redirect {
    Redirect::to(match person.role {
        Role::Instructor | Role::Assistant => "/classes",
        Role::Student => "/my",
    })
}

/// `ok` while the database answers and no damage is known.
pub(in crate::web) async fn health(State(app): State<App>) -> Result<&'static str, WebError> {
    app.service.store.answers().await?;
    if app.service.store.is_damaged() {
        let (title, what) = ("Damaged", "The database file of this server is damaged.");
        let mend = "Stop the server and restore the last backup.";
        return Err(Explained::new(StatusCode::SERVICE_UNAVAILABLE, title, what, mend).into());
    }
    Ok("ok\n")
}
