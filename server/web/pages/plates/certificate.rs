//! Values of a calibration certificate: value, U and k of each number that it states.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;

use super::{known, mend_of};
use crate::actions::plate_truth::{How, TruthError, revise};
use crate::exercise::model::Exercise;
use crate::exercise::plate::{Calibrated, Plate};
use crate::units::parse_plain_decimal;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::Fields as Sent;
use crate::web::frame::Frame;
use crate::web::guards::PlateOf;
use crate::web::render::Sheet;
use crate::web::sheet::{self, SheetRow};
use crate::web::wrongs::sentence;

type Fields = BTreeMap<String, String>;
type Wrongs = Vec<(String, String)>;

#[derive(Debug, Template)]
#[template(path = "plate_certificate.html")]
pub(in crate::web) struct Certificate {
    frame: Frame,
    serial: String,
    here: String,
    unit: String,
    number: String,
    seen: i64,
    rows: Vec<Row>,
    wrongs: Wrongs,
    cells: Vec<(&'static str, String)>,
}

impl Certificate {
    fn mend(&self, field: &str) -> String {
        mend_of(&self.wrongs, field)
    }
}

#[derive(Debug)]
struct Row {
    sheet: SheetRow,
    value: String,
    expanded: String,
    k: String,
    mend: String,
}

fn fields_of(plate: &Plate) -> Fields {
    let mut fields = Fields::new();
    for (no, found) in &plate.references {
        fields.insert(format!("v-{no}"), found.value.to_string());
        fields.insert(format!("U-{no}"), found.expanded.to_string());
        fields.insert(format!("k-{no}"), found.k.to_string());
    }
    fields
}

/// The plate with what was typed in place of its references.
fn calibrated(exercise: &Exercise, plate: &Plate, fields: &Fields) -> Result<Plate, Wrongs> {
    let mut wrongs = Wrongs::new();
    let mut changed = plate.clone();
    changed.references.clear();
    for c in &exercise.characteristics {
        let text = |part: &str| {
            fields
                .get(&format!("{part}-{}", c.no))
                .map_or("", |t| t.trim())
                .replace(',', ".")
        };
        let (value, expanded, k) = (text("v"), text("U"), text("k"));
        if value.is_empty() && expanded.is_empty() {
            continue;
        }
        let mut wrong = |what: &str| wrongs.push((format!("v-{}", c.no), format!("Number {}: {what}", c.no)));
        let Some(value) = parse_plain_decimal(&value) else {
            wrong("write the value as a number, with its U beside it, or leave both empty.");
            continue;
        };
        let Some(expanded) = parse_plain_decimal(&expanded).filter(|u| *u > Decimal::ZERO) else {
            wrong("write the U of the certificate, above zero: nothing is measured without uncertainty.");
            continue;
        };
        let k = if k.is_empty() {
            Some(Decimal::TWO)
        } else {
            parse_plain_decimal(&k)
        };
        let Some(k) = k.filter(|k| *k >= Decimal::ONE && *k <= Decimal::from(20)) else {
            wrong("write the coverage factor k of the certificate, mostly 2.");
            continue;
        };
        changed
            .references
            .insert(c.no.clone(), Calibrated { value, expanded, k });
    }
    if wrongs.is_empty() { Ok(changed) } else { Err(wrongs) }
}

fn page_of(of: &PlateOf, exercise: &Exercise, fields: &Fields, wrongs: Wrongs) -> Certificate {
    let text = |name: String| fields.get(&name).cloned().unwrap_or_default();
    let row = |sheet: SheetRow| Row {
        value: text(format!("v-{}", sheet.no)),
        expanded: text(format!("U-{}", sheet.no)),
        k: text(format!("k-{}", sheet.no)),
        mend: mend_of(&wrongs, &format!("v-{}", sheet.no)),
        sheet,
    };
    Certificate {
        frame: Frame::of(&of.person, "/plates"),
        serial: of.plate.serial.clone(),
        here: format!("/exercises/{}/plates/{}", of.revision.exercise, of.plate.id),
        unit: exercise.units.to_string(),
        number: text("certificate".to_owned()),
        seen: of.plate.revision.0,
        rows: sheet::rows(exercise).into_iter().map(row).collect(),
        cells: vec![
            ("Exercise", of.revision.code.clone()),
            ("Plate", of.plate.serial.clone()),
        ],
        wrongs,
    }
}

pub(in crate::web) async fn page(State(app): State<App>, of: PlateOf) -> Result<Response, WebError> {
    let (exercise, truth) = known(&app, &of.revision, &of.plate.truth).await?;
    let page = page_of(&of, &exercise, &fields_of(&truth), Wrongs::new());
    Ok(Sheet(StatusCode::OK, page).into_response())
}

/// Stores the next revision.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    of: PlateOf,
    Sent(fields): Sent,
) -> Result<Response, WebError> {
    let (exercise, truth) = known(&app, &of.revision, &of.plate.truth).await?;
    let back = |wrongs: Wrongs| {
        Sheet(
            StatusCode::UNPROCESSABLE_ENTITY,
            page_of(&of, &exercise, &fields, wrongs),
        )
        .into_response()
    };
    let number = fields.get("certificate").map_or("", |c| c.trim());
    if !(1..=100).contains(&number.chars().count()) {
        let mend = "Write the number of the certificate, so that everybody knows where the values come from.";
        return Ok(back(vec![("certificate".to_owned(), mend.to_owned())]));
    }
    let changed = match calibrated(&exercise, &truth, &fields) {
        Ok(changed) => changed,
        Err(wrongs) => return Ok(back(wrongs)),
    };
    let seen = fields
        .get("seen")
        .and_then(|s| s.parse::<i64>().ok())
        .unwrap_or_default();
    let how = How {
        kind: "certificate",
        detail: serde_json::json!({ "certificate": number }),
    };
    match revise(
        &app.service,
        &exercise,
        (of.plate.id, seen.into()),
        &changed,
        &how,
        of.person.id,
    )
    .await
    {
        Ok(_) => {
            Ok(Redirect::to(&format!("/exercises/{}/plates/{}", of.revision.exercise, of.plate.id)).into_response())
        }
        Err(error @ TruthError::Wrong(_)) => Ok(back(vec![("certificate".to_owned(), sentence(&error))])),
        Err(error @ TruthError::Overtaken) => {
            let told = back(vec![("certificate".to_owned(), sentence(&error))]);
            Ok((StatusCode::CONFLICT, told).into_response())
        }
        Err(error) => Err(WebError::internal(error)),
    }
}
