//! Sheets to print for instructors: the lab sheet of any revision, the shop sheet of one plate, labels for all plates.

use askama::Template;
use axum::extract::{Path, Query, State};
use rust_decimal::Decimal;
use serde::Deserialize;

use crate::actions::load;
use crate::exercise::model::{Axis, Characteristic, Exercise, Owner, Quantity};
use crate::exercise::plate::Plate;
use crate::exercise::shop::{self, FeatureToMake, ToMake};
use crate::store::exercises;
use crate::store::ids::PlateId;
use crate::store::plates::{self, Kind, State as PlateState};
use crate::units::{show_length, show_number};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::ExerciseOf;
use crate::web::lab::{Asked, LabSheet};
use crate::web::paper::{Paper, SheetQuery};
use crate::web::render::Page;

/// The lab sheet without an assignment: for looking at it, and for a class that fills it in on paper.
pub(in crate::web) async fn lab(
    State(app): State<App>,
    of: ExerciseOf,
    Query(query): Query<SheetQuery>,
) -> Result<Page<LabSheet>, WebError> {
    let ExerciseOf { person, revision } = of;
    let id = revision.exercise;
    let revision = match query.revision {
        Some(number) => exercises::of_number(&app.service.store, id, number)
            .await?
            .ok_or(WebError::NotFound)?,
        None => revision,
    };
    let exercise = load::exercise(&app.service, revision.id)
        .await
        .map_err(WebError::internal)?;
    let asked = Asked {
        frame: Frame::of(&person, "/exercises"),
        revision: revision.id,
        paper: query.paper(),
        here: format!("/exercises/{id}/lab-sheet?revision={}&", revision.number),
        back: (format!("/exercises/{id}"), "Back to the exercise"),
        cells: vec![
            ("Revision", revision.number.to_string()),
            ("Plate", String::new()),
            ("Pair", String::new()),
            ("Date", String::new()),
        ],
    };
    LabSheet::of(&app, &exercise, asked).await.map(Page)
}

#[derive(Debug, Template)]
#[template(path = "shop_sheet.html")]
pub(in crate::web) struct ShopSheet {
    frame: Frame,
    paper: Paper,
    here: String,
    /// Page of the plate.
    back: String,
    serial: String,
    unit: &'static str,
    drawing: String,
    rows: Vec<ShopRow>,
    besides: Vec<String>,
    /// Within what the shop is asked to keep, where the plate says so.
    within: Option<String>,
    cells: Vec<(&'static str, String)>,
}

/// A feature to be made.
#[derive(Debug)]
struct ShopRow {
    nos: Vec<String>,
    name: String,
    kind: &'static str,
    /// X, Y, Z.
    place: Vec<(char, Option<Figure>)>,
    sizes: Vec<(&'static str, Figure)>,
    depth: String,
}

/// A value to be made, with what the print has where that differs.
#[derive(Debug)]
struct Figure {
    make: String,
    print: Option<String>,
}

#[derive(Debug, Deserialize)]
pub(in crate::web) struct PlatePath {
    plate: i64,
}

/// What the shop needs to make one plate. It tells what the plate is, so only instructors reach it.
pub(in crate::web) async fn shop(
    State(app): State<App>,
    of: ExerciseOf,
    Path(path): Path<PlatePath>,
    Query(query): Query<SheetQuery>,
) -> Result<Page<ShopSheet>, WebError> {
    let ExerciseOf { person, revision } = of;
    let exercise = load::exercise(&app.service, revision.id)
        .await
        .map_err(WebError::internal)?;
    let all = plates::of_exercise(&app.service.store, revision.exercise).await?;
    let line = all
        .into_iter()
        .find(|l| l.id == PlateId(path.plate))
        .ok_or(WebError::NotFound)?;
    let plate = load::plate_from(&exercise, &line.truth).map_err(WebError::internal)?;
    let picture = app.pictures.plan(revision.id, &exercise).await?;
    let here = format!("/exercises/{}/plates/{}", revision.exercise, line.id);
    let cells = vec![
        ("Exercise", format!("{}, {}", revision.code, revision.title)),
        ("Revision", revision.number.to_string()),
        ("Plate", line.serial.clone()),
        ("Truth", format!("revision {}", line.number)),
        ("Sheet", "shop sheet, secret".to_owned()),
    ];
    Ok(Page(ShopSheet {
        frame: Frame::of(&person, "/exercises"),
        paper: query.paper(),
        here: format!("{here}/shop-sheet?"),
        back: here,
        serial: line.serial,
        unit: exercise.units.as_str(),
        drawing: picture.svg.clone(),
        rows: shop::to_make(&exercise, &plate)
            .iter()
            .filter_map(|f| shop_row(&exercise, f))
            .collect(),
        besides: besides(&exercise, &plate),
        within: plate
            .shop_uncertainty
            .map(|u| format!("{} {}", show_number(u.normalize()), exercise.units)),
        cells,
    }))
}

fn shop_row(exercise: &Exercise, made: &FeatureToMake) -> Option<ShopRow> {
    let feature = exercise.features.get(made.feature)?;
    let own = |c: &&Characteristic| c.owner == Owner::Feature(made.feature);
    let place = [Axis::X, Axis::Y, Axis::Z].map(|axis| {
        let value = made.values.iter().find(|v| v.of.axis() == Some(axis));
        (axis.letter(), value.map(|v| figure(exercise, v)))
    });
    let sizes = made.values.iter().filter(|v| v.of.axis().is_none());
    Some(ShopRow {
        nos: exercise
            .characteristics
            .iter()
            .filter(own)
            .map(|c| c.no.to_string())
            .collect(),
        name: feature.name.clone(),
        kind: feature.shape.word(),
        place: place.into(),
        sizes: sizes.map(|v| (v.of.word(), figure(exercise, v))).collect(),
        depth: made
            .depth
            .map_or_else(String::new, |d| show_length(d, exercise.decimals)),
    })
}

/// In the places of the exercise.
fn figure(exercise: &Exercise, value: &ToMake) -> Figure {
    let unit = if value.of.is_angle() { "\u{b0}" } else { "" };
    let show = |v: Decimal| format!("{}{unit}", show_length(v, exercise.decimals));
    Figure {
        make: show(value.make),
        print: (value.make != value.print).then(|| show(value.print)),
    }
}

/// What is planted between features, in words.
fn besides(exercise: &Exercise, plate: &Plate) -> Vec<String> {
    let name = |i: usize| exercise.features.get(i).map_or("", |f| f.name.as_str());
    let line = |(pair, of, amount): (usize, Quantity, Decimal)| {
        let [first, second] = exercise.between.get(pair)?.features;
        Some(format!(
            "{} to {}: {} off by {}",
            name(first),
            name(second),
            of.word(),
            show_length(amount, exercise.decimals)
        ))
    };
    shop::between(exercise, plate).into_iter().filter_map(line).collect()
}

#[derive(Debug, Template)]
#[template(path = "labels.html")]
pub(in crate::web) struct Labels {
    frame: Frame,
    paper: Paper,
    here: String,
    id: i64,
    code: String,
    title: String,
    serials: Vec<String>,
    cells: Vec<(&'static str, String)>,
}

/// Labels for the plates of an exercise. They say which plate it is and nothing of what it is.
pub(in crate::web) async fn labels(
    State(app): State<App>,
    of: ExerciseOf,
    Query(query): Query<SheetQuery>,
) -> Result<Page<Labels>, WebError> {
    let ExerciseOf { person, revision } = of;
    let id = revision.exercise;
    let all = plates::of_exercise(&app.service.store, id).await?;
    let metal = all
        .into_iter()
        .filter(|l| l.kind == Kind::Physical && l.state == PlateState::InService);
    let serials: Vec<String> = metal.map(|l| l.serial).collect();
    let cells = vec![
        ("Exercise", format!("{}, {}", revision.code, revision.title)),
        ("Labels", serials.len().to_string()),
        ("Sheet", "plate labels".to_owned()),
    ];
    Ok(Page(Labels {
        frame: Frame::of(&person, "/exercises"),
        paper: query.paper(),
        here: format!("/exercises/{id}/labels?"),
        id: id.0,
        code: revision.code,
        title: revision.title,
        serials,
        cells,
    }))
}
