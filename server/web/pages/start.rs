//! The first page, which sends everybody to their own; and whether the server is well.

use axum::extract::State;
use axum::response::Redirect;

use crate::store::people::Role;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::guards::SignedIn;

/// Staff begin with their classes, students with their assignments.
pub(in crate::web) async fn page(SignedIn(person): SignedIn) -> Redirect {
    Redirect::to(match person.role {
        Role::Instructor | Role::Assistant => "/classes",
        Role::Student => "/my",
    })
}

/// `ok` while the database answers.
pub(in crate::web) async fn health(State(app): State<App>) -> Result<&'static str, WebError> {
    app.service.store.answers().await?;
    Ok("ok\n")
}
