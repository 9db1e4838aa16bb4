//! One plate: what it really is, whether it is good enough to teach with, where it is, and its history.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::{kind_word, mend_of};
use crate::actions::load;
use crate::actions::plate_drawer::{Act, DrawerError, act};
use crate::actions::plate_state::{Saying, say_of_plate};
use crate::cohort::rounds::worth;
use crate::report::model::Report;
use crate::store::drawer::{self, Registered};
use crate::store::plates::{PlateLine, State as PlateState};
use crate::store::versions::{self, Thing};
use crate::store::{audit, rounds};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::Fields as Sent;
use crate::web::frame::Frame;
use crate::web::graded::{self, GradedRow};
use crate::web::guards::PlateOf;
use crate::web::pages::authoring::zone_of;
use crate::web::pages::exercise::lines_of;
use crate::web::render::Sheet;
use crate::web::times;
use crate::web::wrongs::{meanwhile, sentence};

#[derive(Debug, Template)]
#[template(path = "plate.html")]
pub(in crate::web) struct Plate {
    frame: Frame,
    exercise: i64,
    line: PlateLine,
    kind: &'static str,
    rows: Vec<GradedRow>,
    is_good: bool,
    against: Vec<String>,
    remarks: Vec<String>,
    rounds: usize,
    registered: Registered,
    /// Label and place as they stand, as [`versions`] has it.
    seen: String,
    out_since: String,
    /// Grades that count and were computed with an older revision.
    old_grades: i64,
    revisions: Vec<RevisionRow>,
    history: Vec<(String, String)>,
    wrongs: Vec<(String, String)>,
    typed: BTreeMap<String, String>,
    cells: Vec<(&'static str, String)>,
}

impl Plate {
    /// Whether rounds are entered that are not the reference yet.
    fn has_rounds_only(&self) -> bool {
        self.rounds > 1 && self.rows.iter().any(|row| row.reference.is_empty())
    }

    fn typed(&self, field: &str) -> &str {
        self.typed.get(field).map_or("", String::as_str)
    }

    /// What was typed in a field, or what stands.
    fn kept<'a>(&'a self, field: &str, stands: &'a str) -> &'a str {
        self.typed.get(field).map_or(stands, String::as_str)
    }

    fn mend(&self, field: &str) -> String {
        mend_of(&self.wrongs, field)
    }
}

#[derive(Debug)]
struct RevisionRow {
    number: i64,
    when: String,
    who: String,
    how: &'static str,
    grades: i64,
}

/// The page, as it is or with a form that came back.
async fn sheet(
    app: &App,
    of: PlateOf,
    wrongs: Vec<(String, String)>,
    typed: BTreeMap<String, String>,
) -> Result<Plate, WebError> {
    let PlateOf {
        person,
        revision,
        plate: line,
    } = of;
    let (service, store) = (&app.service, &app.service.store);
    let print = load::exercise(service, revision.id).await.map_err(WebError::internal)?;
    let zone = zone_of(app, &person).await?;
    let items = lines_of(&print, &line.truth)?;
    let truth = load::plate_from(&print, &line.truth).map_err(WebError::internal)?;
    let worth = worth(&print, &truth);
    let registered = drawer::one(store, line.id).await?.ok_or(WebError::NotFound)?;
    let revisions = drawer::revisions(store, line.id).await?;
    let mut history: Vec<_> = Vec::new();
    for entry in audit::of(store, "plate", line.id.0).await? {
        let who = entry.person.unwrap_or_else(|| "the server".to_owned());
        let words = format!("{who} {}", told(&entry.what, &entry.detail));
        history.push((times::show(entry.at, &zone), words));
    }
    Ok(Plate {
        frame: Frame::of(&person, "/plates"),
        exercise: revision.exercise.0,
        kind: kind_word(line.kind),
        rows: graded::rows(&print, &items, &Report::blank(&print)),
        is_good: worth.is_good,
        against: worth.against,
        remarks: worth.remarks,
        rounds: rounds::of(store, line.id).await?.len(),
        out_since: registered.out_at.map(|at| times::show(at, &zone)).unwrap_or_default(),
        old_grades: revisions
            .iter()
            .filter(|r| r.id != line.revision)
            .map(|r| r.grades)
            .sum(),
        revisions: revisions
            .into_iter()
            .map(|r| RevisionRow {
                number: r.number,
                when: times::show(r.created_at, &zone),
                who: r.created_by.unwrap_or_else(|| "the server".to_owned()),
                how: how_word(r.kind.as_deref()),
                grades: r.grades,
            })
            .collect(),
        history,
        cells: vec![
            ("Exercise", revision.code),
            ("Plate", line.serial.clone()),
            ("Truth", format!("revision {}", line.number)),
        ],
        seen: versions::now(store, Thing::Place(line.id)).await?,
        registered,
        line,
        wrongs,
        typed,
    })
}

fn how_word(kind: Option<&str>) -> &'static str {
    match kind {
        Some("proposed") => "proposed from a seed",
        Some("by_hand") => "typed by hand",
        Some("rounds") => "mean of the rounds",
        Some("certificate") => "a certificate",
        _ => "imported",
    }
}

/// A line of the trail in words, with what was said.
fn told(what: &str, detail: &str) -> String {
    let detail: serde_json::Value = serde_json::from_str(detail).unwrap_or_default();
    let text = |key: &str| {
        detail
            .get(key)
            .and_then(serde_json::Value::as_str)
            .unwrap_or_default()
            .to_owned()
    };
    let with = |words: &str, key: &str| match text(key) {
        said if said.is_empty() => words.to_owned(),
        said => format!("{words}: {said}"),
    };
    match what {
        "register-plate" => "registered it".to_owned(),
        "plate-out" => with("gave it out", "holder"),
        "plate-in" => with("took it in", "remark"),
        "plate-place" => with("wrote down where it lies", "place"),
        "withdraw" => with("withdrew it", "why"),
        "put-in-service" => "put it back in service".to_owned(),
        "open" => "opened its truth to pairs".to_owned(),
        "close" => "closed its truth to pairs".to_owned(),
        "revise-plate" => format!("stored a new revision, {}", how_word(Some(&text("how")))),
        "add-round" => "entered a round".to_owned(),
        "leave-round-out" => with("left a round out", "why"),
        "take-round-in" => "took a round in again".to_owned(),
        "grade-again-with-new-reference" => "had its reports graded again".to_owned(),
        other => other.to_owned(),
    }
}

pub(in crate::web) async fn page(State(app): State<App>, of: PlateOf) -> Result<Response, WebError> {
    let page = sheet(&app, of, Vec::new(), BTreeMap::new()).await?;
    Ok(Sheet(StatusCode::OK, page).into_response())
}

#[derive(Debug, Deserialize)]
pub(in crate::web) struct Say {
    saying: String,
}

/// Opens a plate to pairs, or takes that back.
pub(in crate::web) async fn say(
    State(app): State<App>,
    of: PlateOf,
    Form(form): Form<Say>,
) -> Result<Response, WebError> {
    let (_, saying) = Saying::ALL
        .into_iter()
        .find(|(word, _)| *word == form.saying)
        .ok_or(WebError::NotFound)?;
    say_of_plate(&app.service, of.plate.id, saying, of.person.id).await?;
    Ok(back(&of))
}

fn back(of: &PlateOf) -> Response {
    Redirect::to(&format!("/exercises/{}/plates/{}", of.revision.exercise, of.plate.id)).into_response()
}

/// Out, in, place, dropped, put back.
pub(in crate::web) async fn drawer(
    State(app): State<App>,
    of: PlateOf,
    Sent(typed): Sent,
) -> Result<Response, WebError> {
    let text = |field: &str| typed.get(field).cloned().unwrap_or_default();
    let wanted = match text("act").as_str() {
        "out" => Act::Out { holder: text("holder") },
        "in" => Act::In { remark: text("remark") },
        "place" => {
            let (label, place, seen) = (text("label"), text("place"), text("seen"));
            Act::Place { label, place, seen }
        }
        "withdraw" => Act::Withdraw { why: text("why") },
        "put-back" => Act::PutBack,
        _ => return Err(WebError::NotFound),
    };
    match act(&app.service, of.plate.id, &wanted, of.person.id).await {
        Ok(()) => Ok(back(&of)),
        Err(DrawerError::Store(error)) => Err(error.into()),
        Err(wrong) => {
            let status = match wrong {
                DrawerError::Overtaken => StatusCode::CONFLICT,
                _ => StatusCode::UNPROCESSABLE_ENTITY,
            };
            let mut wrongs = vec![(wrong.field().to_owned(), sentence(&wrong))];
            if matches!(wrong, DrawerError::Overtaken)
                && let Some(now) = drawer::one(&app.service.store, of.plate.id).await?
            {
                wrongs = vec![
                    ("label".to_owned(), meanwhile(&now.label)),
                    ("place".to_owned(), meanwhile(&now.place)),
                ];
            }
            let page = sheet(&app, of, wrongs, typed).await?;
            Ok(Sheet(status, page).into_response())
        }
    }
}
