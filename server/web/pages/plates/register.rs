//! The plate drawer: all plates of all exercises, where they are and in which state.

use askama::Template;
use axum::extract::State;

use super::kind_word;
use crate::store::drawer::{self, Registered};
use crate::store::plates::State as PlateState;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::Instructor;
use crate::web::pages::authoring::zone_of;
use crate::web::render::Page;
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "plates_register.html")]
pub(in crate::web) struct Register {
    frame: Frame,
    rows: Vec<Row>,
    out: usize,
    withdrawn: usize,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Row {
    plate: Registered,
    kind: &'static str,
    /// Who has it and since when; empty: it is in.
    with: String,
    state: String,
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    Instructor(person): Instructor,
) -> Result<Page<Register>, WebError> {
    let zone = zone_of(&app, &person).await?;
    let all = drawer::all(&app.service.store).await?;
    let row = |plate: Registered| Row {
        kind: kind_word(plate.kind),
        with: match (&plate.holder, plate.out_at) {
            (Some(holder), Some(at)) => format!("{holder}, since {}", times::show_day(at, &zone)),
            _ => String::new(),
        },
        state: match plate.state {
            PlateState::InService => "in service".to_owned(),
            PlateState::Withdrawn if plate.withdrawn_why.is_empty() => "withdrawn".to_owned(),
            PlateState::Withdrawn => format!("withdrawn: {}", plate.withdrawn_why),
        },
        plate,
    };
    let rows: Vec<Row> = all.into_iter().map(row).collect();
    let out = rows.iter().filter(|r| !r.with.is_empty()).count();
    Ok(Page(Register {
        frame: Frame::of(&person, "/plates"),
        out,
        withdrawn: rows.iter().filter(|r| r.plate.state == PlateState::Withdrawn).count(),
        cells: vec![("Plates", rows.len().to_string()), ("Out", out.to_string())],
        rows,
    }))
}
