//! Plates from a seed: aims typed, the proposal looked at, then registered.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;
use sha2::{Digest, Sha256};

use super::mend_of;
use crate::actions::load;
use crate::actions::plate_truth::{TruthError, new_seed, proposed, register};
use crate::exercise::file::write_plates;
use crate::exercise::model::Exercise;
use crate::exercise::plate::{Plate, PlateKind, Plates};
use crate::procedure::seeding::{Aims, MOST_COPIES, PlateSeed, Proposal};
use crate::store::exercises::Revision;
use crate::store::people::Person;
use crate::units::{hex, parse_plain_decimal, show_number};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::Fields as Sent;
use crate::web::frame::Frame;
use crate::web::guards::ExerciseOf;
use crate::web::render::Sheet;
use crate::web::wrongs::sentence;

/// Fields of the form with label and hint; names are the form's.
const FIELDS: [&str; 9] = [
    "copies",
    "nonconforming",
    "close",
    "share",
    "apart",
    "step",
    "angle_step",
    "wall",
    "shop_uncertainty",
];

#[derive(Debug, Template)]
#[template(path = "plates_propose.html")]
pub(in crate::web) struct Propose {
    frame: Frame,
    id: i64,
    title: String,
    unit: String,
    fields: Vec<Shown>,
    kind: String,
    wrongs: Vec<(String, String)>,
    /// Seed of what is shown below; hidden in the form that registers it.
    seed: String,
    /// Print of what is shown, so that nothing else is registered when an aim was changed since.
    print: String,
    plates: Vec<ShownPlate>,
    remarks: Vec<String>,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Shown {
    name: &'static str,
    label: String,
    value: String,
    hint: &'static str,
    mend: String,
}

#[derive(Debug)]
struct ShownPlate {
    serial: String,
    planted: Vec<(String, String)>,
}

type Fields = BTreeMap<String, String>;

fn aims_of(fields: &Fields, exercise: &Exercise) -> Result<Aims, Vec<(String, String)>> {
    let usual = Aims::usual(exercise, 8);
    let mut wrongs = Vec::new();
    let text = |name: &str| fields.get(name).map_or("", |t| t.trim()).replace(',', ".");
    let mut count = |name: &str, most: usize| match text(name).parse::<usize>() {
        Ok(n) if n <= most => n,
        _ => {
            wrongs.push((name.to_owned(), format!("Write a whole number from 0 to {most}.")));
            0
        }
    };
    let all = exercise.characteristics.len();
    let (copies, nonconforming) = (count("copies", MOST_COPIES), count("nonconforming", all));
    let (close, apart) = (count("close", all), count("apart", all));
    let mut number = |name: &str, usual: Decimal| match (text(name), parse_plain_decimal(&text(name))) {
        (text, _) if text.is_empty() => usual,
        (_, Some(n)) if n >= Decimal::ZERO && n < Decimal::from(1000) => n,
        _ => {
            wrongs.push((
                name.to_owned(),
                "Write a number that is not below zero, as in 0.005.".to_owned(),
            ));
            usual
        }
    };
    let aims = Aims {
        copies,
        nonconforming,
        close,
        share: number("share", usual.share * Decimal::ONE_HUNDRED) / Decimal::ONE_HUNDRED,
        apart,
        step: number("step", usual.step),
        angle_step: number("angle_step", usual.angle_step),
        wall: number("wall", usual.wall),
        kind: match fields.get("kind").map(String::as_str) {
            Some("virtual") => PlateKind::Virtual,
            _ => PlateKind::Physical,
        },
        shop_uncertainty: Some(number("shop_uncertainty", Decimal::NEGATIVE_ONE)).filter(|u| *u >= Decimal::ZERO),
    };
    if wrongs.is_empty() { Ok(aims) } else { Err(wrongs) }
}

fn usual_fields(exercise: &Exercise) -> Fields {
    let usual = Aims::usual(exercise, 8);
    let decimal = |d: Decimal| d.normalize().to_string();
    let values = [
        usual.copies.to_string(),
        usual.nonconforming.to_string(),
        usual.close.to_string(),
        decimal(usual.share * Decimal::ONE_HUNDRED),
        usual.apart.to_string(),
        decimal(usual.step),
        decimal(usual.angle_step),
        decimal(usual.wall),
        String::new(),
    ];
    FIELDS.iter().map(|f| (*f).to_owned()).zip(values).collect()
}

fn shown(fields: &Fields, unit: &str, wrongs: &[(String, String)]) -> Vec<Shown> {
    let label = |name: &str| match name {
        "copies" => "Copies".to_owned(),
        "nonconforming" => "Nonconforming on each".to_owned(),
        "close" => "Close to a limit on each".to_owned(),
        "share" => "Close is within, per cent of half the tolerance".to_owned(),
        "apart" => "Numbers in which two copies differ".to_owned(),
        "step" => format!("Smallest step of the shop, {unit}"),
        "angle_step" => "Smallest step of an angle, degrees".to_owned(),
        "wall" => format!("Thinnest wall, {unit}"),
        _ => format!("U of what the shop makes, k = 2, {unit}"),
    };
    let hint = |name: &str| match name {
        "close" => "On either side of the limit; those just outside are among the nonconforming ones.",
        "apart" => "By more than 3 U of the class, so that a report tells which copy it was.",
        "shop_uncertainty" => "Only where the shop is trusted without measuring; leave it empty otherwise.",
        _ => "",
    };
    let field = |name: &&'static str| Shown {
        name,
        label: label(name),
        value: fields.get(*name).cloned().unwrap_or_default(),
        hint: hint(name),
        mend: mend_of(wrongs, name),
    };
    FIELDS.iter().map(field).collect()
}

fn shown_plate(exercise: &Exercise, plate: &Plate) -> ShownPlate {
    let planted = plate.planted.iter().map(|(key, deviations)| {
        let name = exercise
            .feature(key)
            .map_or_else(|| key.to_string(), |(_, f)| f.name.clone());
        let each: Vec<String> = deviations
            .iter()
            .map(|(of, by)| {
                let sign = if by.is_sign_negative() { "" } else { "+" };
                format!("{} {sign}{}", of.word(), show_number(*by))
            })
            .collect();
        (name, each.join(", "))
    });
    ShownPlate {
        serial: plate.serial.to_string(),
        planted: planted.collect(),
    }
}

/// What the page shows below its form.
#[derive(Default)]
struct Below {
    seed: Option<PlateSeed>,
    proposal: Option<Proposal>,
    wrongs: Vec<(String, String)>,
}

fn sheet(person: &Person, revision: &Revision, exercise: &Exercise, fields: &Fields, below: Below) -> Propose {
    let unit = exercise.units.to_string();
    let proposal = below.proposal;
    Propose {
        frame: Frame::of(person, "/exercises"),
        id: revision.exercise.0,
        title: revision.title.clone(),
        fields: shown(fields, &unit, &below.wrongs),
        unit,
        kind: fields.get("kind").cloned().unwrap_or_else(|| "physical".to_owned()),
        wrongs: below.wrongs,
        seed: below
            .seed
            .filter(|_| proposal.is_some())
            .map(|s| s.to_string())
            .unwrap_or_default(),
        print: proposal
            .as_ref()
            .map(|p| print_of(exercise, &p.plates))
            .unwrap_or_default(),
        plates: proposal
            .iter()
            .flat_map(|p| &p.plates)
            .map(|p| shown_plate(exercise, p))
            .collect(),
        remarks: proposal.map(|p| p.remarks).unwrap_or_default(),
        cells: vec![
            ("Exercise", revision.code.clone()),
            ("Revision", revision.number.to_string()),
        ],
    }
}

pub(in crate::web) async fn page(State(app): State<App>, of: ExerciseOf) -> Result<Response, WebError> {
    let ExerciseOf { person, revision } = of;
    let exercise = load::exercise(&app.service, revision.id)
        .await
        .map_err(WebError::internal)?;
    let page = sheet(
        &person,
        &revision,
        &exercise,
        &usual_fields(&exercise),
        Below::default(),
    );
    Ok(Sheet(StatusCode::OK, page).into_response())
}

/// Proposes, or registers what was proposed: the seed and the aims make the same plates again.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    of: ExerciseOf,
    Sent(fields): Sent,
) -> Result<Response, WebError> {
    let ExerciseOf { person, revision } = of;
    let exercise = load::exercise(&app.service, revision.id)
        .await
        .map_err(WebError::internal)?;
    let back = |wrongs: Vec<(String, String)>| {
        let below = Below {
            wrongs,
            ..Below::default()
        };
        Sheet(
            StatusCode::UNPROCESSABLE_ENTITY,
            sheet(&person, &revision, &exercise, &fields, below),
        )
        .into_response()
    };
    let aims = match aims_of(&fields, &exercise) {
        Ok(aims) => aims,
        Err(wrongs) => return Ok(back(wrongs)),
    };
    let registering = fields.get("do").is_some_and(|d| d == "register");
    let typed_seed = fields.get("seed").and_then(|s| s.parse::<PlateSeed>().ok());
    let seed = match typed_seed.filter(|_| registering) {
        Some(seed) => seed,
        None => new_seed().map_err(WebError::internal)?,
    };
    let proposal = match proposed(&app.service, &revision, seed, &aims).await {
        Ok(proposal) => proposal,
        Err(TruthError::Cannot(why)) => return Ok(back(vec![(why.aim().word().to_owned(), sentence(&why))])),
        Err(error) => return Err(WebError::internal(error)),
    };
    let as_shown = fields
        .get("print")
        .is_some_and(|p| *p == print_of(&exercise, &proposal.plates));
    if registering && typed_seed.is_some() && as_shown {
        let of = (revision.exercise, exercise.as_ref());
        return match register(&app.service, of, &proposal.plates, "proposed", person.id).await {
            Ok(_) => Ok(Redirect::to(&format!("/exercises/{}#plates", revision.exercise)).into_response()),
            Err(TruthError::SerialTaken(serial)) => {
                let mend = format!("Plate {serial} was registered meanwhile. Propose again.");
                Ok(back(vec![("copies".to_owned(), mend)]))
            }
            Err(error) => Err(WebError::internal(error)),
        };
    }
    let below = Below {
        seed: Some(seed),
        proposal: Some(proposal),
        wrongs: Vec::new(),
    };
    Ok(Sheet(StatusCode::OK, sheet(&person, &revision, &exercise, &fields, below)).into_response())
}

/// The plates in short.
fn print_of(exercise: &Exercise, plates: &[Plate]) -> String {
    let all = Plates {
        exercise: exercise.code.clone(),
        plates: plates.to_vec(),
    };
    let digest = Sha256::digest(write_plates(&all).as_bytes());
    hex(&digest[..16])
}
