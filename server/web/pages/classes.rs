//! The classes of an instructor or assistant.

use askama::Template;
use axum::extract::State;

use crate::store::classes::{self, ClassLine};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{Staff, may_change_class};
use crate::web::render::Page;

#[derive(Debug, Template)]
#[template(path = "classes.html")]
pub(in crate::web) struct Classes {
    frame: Frame,
    classes: Vec<ClassLine>,
    may_change: bool,
}

pub(in crate::web) async fn page(State(app): State<App>, Staff(person): Staff) -> Result<Page<Classes>, WebError> {
    let classes = classes::of_person(&app.service.store, person.id).await?;
    Ok(Page(Classes {
        frame: Frame::of(&person, "/classes"),
        may_change: may_change_class(&person),
        classes,
    }))
}
