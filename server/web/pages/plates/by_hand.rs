//! What a plate was made to be, typed by hand: of a plate that there is (a new revision), or of a new one.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;

use super::{known, mend_of};
use crate::actions::load;
use crate::actions::plate_truth::{How, TruthError, register, revise};
use crate::exercise::file::plantable;
use crate::exercise::model::{Exercise, Quantity};
use crate::exercise::names::{FeatureKey, Serial};
use crate::exercise::plate::{Plate, PlateKind};
use crate::store::exercises::Revision;
use crate::store::people::Person;
use crate::units::parse_plain_decimal;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::Fields as Sent;
use crate::web::frame::Frame;
use crate::web::guards::{ExerciseOf, PlateOf};
use crate::web::render::Sheet;
use crate::web::wrongs::sentence;

type Fields = BTreeMap<String, String>;
type Wrongs = Vec<(String, String)>;

#[derive(Debug, Template)]
#[template(path = "plate_planted.html")]
pub(in crate::web) struct Planted {
    frame: Frame,
    heading: String,
    action: String,
    back: String,
    unit: String,
    is_new: bool,
    serial: String,
    kind: String,
    shop: String,
    /// Revision that the person saw.
    seen: i64,
    groups: Vec<Group>,
    wrongs: Wrongs,
    cells: Vec<(&'static str, String)>,
}

impl Planted {
    fn mend(&self, field: &str) -> String {
        mend_of(&self.wrongs, field)
    }
}

#[derive(Debug)]
struct Group {
    name: String,
    fields: Vec<Line>,
}

#[derive(Debug)]
struct Line {
    name: String,
    label: String,
    value: String,
    mend: String,
}

fn field_name(key: &FeatureKey, of: Quantity) -> String {
    format!("p.{key}.{}", of.word())
}

fn fields_of(exercise: &Exercise, plate: &Plate) -> Fields {
    let mut fields = Fields::new();
    for (key, quantities) in plantable(exercise) {
        for of in quantities {
            if let Some(by) = plate.planted.get(&key).and_then(|p| p.get(&of)) {
                fields.insert(field_name(&key, of), by.normalize().to_string());
            }
        }
    }
    let shop = plate.shop_uncertainty.map(|u| u.normalize().to_string());
    fields.insert("shop_uncertainty".to_owned(), shop.unwrap_or_default());
    fields
}

/// The plate with what was typed in place of what was planted.
fn planted(exercise: &Exercise, plate: &Plate, fields: &Fields) -> Result<Plate, Wrongs> {
    let mut wrongs = Wrongs::new();
    let mut number = |name: &str| {
        let text = fields.get(name).map_or("", |t| t.trim()).replace(',', ".");
        if text.is_empty() {
            return None;
        }
        let read = parse_plain_decimal(&text).filter(|n| n.abs() < Decimal::from(1_000_000));
        if read.is_none() {
            wrongs.push((
                name.to_owned(),
                "Write a number, as in 0.012 or -0.03, or leave it empty.".to_owned(),
            ));
        }
        read
    };
    let mut changed = plate.clone();
    changed.planted.clear();
    for (key, quantities) in plantable(exercise) {
        for of in quantities {
            if let Some(by) = number(&field_name(&key, of)).filter(|by| !by.is_zero()) {
                changed
                    .planted
                    .entry(key.clone())
                    .or_default()
                    .insert(of, by.normalize());
            }
        }
    }
    changed.shop_uncertainty = number("shop_uncertainty");
    if changed.shop_uncertainty.is_some_and(|u| u <= Decimal::ZERO) {
        let mend = "U is above zero; leave it empty where the shop is not trusted without measuring.";
        wrongs.push(("shop_uncertainty".to_owned(), mend.to_owned()));
    }
    if wrongs.is_empty() { Ok(changed) } else { Err(wrongs) }
}

fn groups(exercise: &Exercise, fields: &Fields, wrongs: &[(String, String)]) -> Vec<Group> {
    let group = |(key, quantities): (FeatureKey, Vec<Quantity>)| {
        let name = exercise.feature(&key).map(|(_, f)| f.name.clone());
        let fields = quantities.into_iter().map(|of| {
            let name = field_name(&key, of);
            Line {
                label: if of.is_angle() {
                    format!("{}, degrees", of.word())
                } else {
                    of.word().to_owned()
                },
                value: fields.get(&name).cloned().unwrap_or_default(),
                mend: mend_of(wrongs, &name),
                name,
            }
        });
        Group {
            name: name.unwrap_or_else(|| key.to_string()),
            fields: fields.collect(),
        }
    };
    plantable(exercise).into_iter().map(group).collect()
}

/// What the form is of: the exercise, and the plate where there is one.
struct Of<'p> {
    person: &'p Person,
    revision: &'p Revision,
    exercise: &'p Exercise,
    /// Row, serial, revision of its truth.
    plate: Option<(i64, &'p str, i64)>,
}

fn sheet(of: &Of<'_>, fields: &Fields, wrongs: Wrongs) -> Planted {
    let exercise = of.revision.exercise.0;
    let text = |name: &str| fields.get(name).cloned().unwrap_or_default();
    let (heading, action, back) = match of.plate {
        Some((id, serial, _)) => (
            format!("What plate {serial} was made to be"),
            format!("/exercises/{exercise}/plates/{id}/planted"),
            format!("/exercises/{exercise}/plates/{id}"),
        ),
        None => (
            "A new plate".to_owned(),
            format!("/exercises/{exercise}/plates/new"),
            format!("/exercises/{exercise}"),
        ),
    };
    Planted {
        frame: Frame::of(of.person, "/plates"),
        heading,
        action,
        back,
        unit: of.exercise.units.to_string(),
        is_new: of.plate.is_none(),
        serial: text("serial"),
        kind: text("kind"),
        shop: text("shop_uncertainty"),
        seen: of.plate.map_or(0, |(_, _, seen)| seen),
        groups: groups(of.exercise, fields, &wrongs),
        wrongs,
        cells: vec![
            ("Exercise", of.revision.code.clone()),
            (
                "Plate",
                of.plate
                    .map_or_else(|| "new".to_owned(), |(_, serial, _)| serial.to_owned()),
            ),
        ],
    }
}

pub(in crate::web) async fn page(State(app): State<App>, of: PlateOf) -> Result<Response, WebError> {
    let PlateOf {
        person,
        revision,
        plate,
    } = of;
    let (exercise, truth) = known(&app, &revision, &plate.truth).await?;
    let of = Of {
        person: &person,
        revision: &revision,
        exercise: &exercise,
        plate: Some((plate.id.0, &plate.serial, plate.revision.0)),
    };
    Ok(Sheet(StatusCode::OK, sheet(&of, &fields_of(&exercise, &truth), Wrongs::new())).into_response())
}

/// Stores the next revision.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    of: PlateOf,
    Sent(fields): Sent,
) -> Result<Response, WebError> {
    let PlateOf {
        person,
        revision,
        plate,
    } = of;
    let (exercise, truth) = known(&app, &revision, &plate.truth).await?;
    let of = Of {
        person: &person,
        revision: &revision,
        exercise: &exercise,
        plate: Some((plate.id.0, &plate.serial, plate.revision.0)),
    };
    let back = |wrongs: Wrongs| Sheet(StatusCode::UNPROCESSABLE_ENTITY, sheet(&of, &fields, wrongs)).into_response();
    let changed = match planted(&exercise, &truth, &fields) {
        Ok(changed) => changed,
        Err(wrongs) => return Ok(back(wrongs)),
    };
    let seen = fields
        .get("seen")
        .and_then(|s| s.parse::<i64>().ok())
        .unwrap_or_default();
    let how = How {
        kind: "by_hand",
        detail: serde_json::json!({}),
    };
    match revise(
        &app.service,
        &exercise,
        (plate.id, seen.into()),
        &changed,
        &how,
        person.id,
    )
    .await
    {
        Ok(_) => Ok(Redirect::to(&format!("/exercises/{}/plates/{}", revision.exercise, plate.id)).into_response()),
        Err(error @ TruthError::Wrong(_)) => Ok(back(vec![("shop_uncertainty".to_owned(), sentence(&error))])),
        Err(error @ TruthError::Overtaken) => {
            let told = back(vec![("shop_uncertainty".to_owned(), sentence(&error))]);
            Ok((StatusCode::CONFLICT, told).into_response())
        }
        Err(error) => Err(WebError::internal(error)),
    }
}

pub(in crate::web) async fn new(State(app): State<App>, of: ExerciseOf) -> Result<Response, WebError> {
    let ExerciseOf { person, revision } = of;
    let exercise = load::exercise(&app.service, revision.id)
        .await
        .map_err(WebError::internal)?;
    let of = Of {
        person: &person,
        revision: &revision,
        exercise: &exercise,
        plate: None,
    };
    Ok(Sheet(StatusCode::OK, sheet(&of, &Fields::new(), Wrongs::new())).into_response())
}

/// Registers a new plate.
pub(in crate::web) async fn add(
    State(app): State<App>,
    of: ExerciseOf,
    Sent(fields): Sent,
) -> Result<Response, WebError> {
    let ExerciseOf { person, revision } = of;
    let exercise = load::exercise(&app.service, revision.id)
        .await
        .map_err(WebError::internal)?;
    let of = Of {
        person: &person,
        revision: &revision,
        exercise: &exercise,
        plate: None,
    };
    let back = |wrongs: Wrongs| Sheet(StatusCode::UNPROCESSABLE_ENTITY, sheet(&of, &fields, wrongs)).into_response();
    let Ok(serial) = fields.get("serial").map_or("", |s| s.trim()).parse::<Serial>() else {
        let mend = format!(
            "Write 1 to 24 letters, digits, points and hyphens, as in {}-12.",
            revision.code
        );
        return Ok(back(vec![("serial".to_owned(), mend)]));
    };
    let blank = Plate {
        serial,
        kind: match fields.get("kind").map(String::as_str) {
            Some("virtual") => PlateKind::Virtual,
            _ => PlateKind::Physical,
        },
        seed: None,
        shop_uncertainty: None,
        planted: BTreeMap::new(),
        references: BTreeMap::new(),
    };
    let plate = match planted(&exercise, &blank, &fields) {
        Ok(plate) => plate,
        Err(wrongs) => return Ok(back(wrongs)),
    };
    if let Err(wrong) = crate::actions::plate_truth::readable(&exercise, &plate) {
        return Ok(back(vec![("shop_uncertainty".to_owned(), sentence(&wrong))]));
    }
    let registered = register(
        &app.service,
        (revision.exercise, &exercise),
        &[plate],
        "by_hand",
        person.id,
    )
    .await;
    match registered {
        Ok(ids) => {
            let id = ids.first().map_or(0, |id| id.0);
            Ok(Redirect::to(&format!("/exercises/{}/plates/{id}", revision.exercise)).into_response())
        }
        Err(error @ TruthError::SerialTaken(_)) => Ok(back(vec![("serial".to_owned(), sentence(&error))])),
        Err(error) => Err(WebError::internal(error)),
    }
}
