//! Rounds of careful measurement: which count, what they say, the budget behind each reference, and which round to doubt.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;
use serde::Deserialize;

use super::bars::bars;
use super::mend_of;
use crate::actions::load;
use crate::actions::plate_truth::TruthError;
use crate::actions::reference_rounds::{self, Evaluated, RoundError, Typed, last_day, usual_means};
use crate::cohort::rounds::{Budget, Means, Suspicion};
use crate::exercise::model::Exercise;
use crate::grading::grade::DiagnosisState;
use crate::store::ids::RoundId;
use crate::store::rounds::Round;
use crate::units::{show_f64, show_length};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::{Asked, Fields as Sent};
use crate::web::frame::Frame;
use crate::web::guards::PlateOf;
use crate::web::render::Sheet;
use crate::web::sheet::{self, SheetRow};
use crate::web::upload::Upload;
use crate::web::wrongs::sentence;

type Fields = BTreeMap<String, String>;
type Wrongs = Vec<(String, String)>;

/// Fields of the machine: name, label without unit.
const MEANS: [(&str, &str); 5] = [
    ("error", "Stated error of the machine at zero length"),
    ("per_length", "Its growth per unit length"),
    ("tip", "Standard uncertainty of the tip's diameter"),
    ("within", "Temperature of the part known within, kelvin"),
    ("expansion", "Coefficient of expansion known within, per cent"),
];

#[derive(Debug, Template)]
#[template(path = "plate_rounds.html")]
pub(in crate::web) struct Rounds {
    frame: Frame,
    serial: String,
    here: String,
    unit: String,
    seen: i64,
    /// Which rounds count.
    seen_rounds: String,
    rounds: Vec<RoundRow>,
    counting: usize,
    rows: Vec<ReferenceRow>,
    chosen: Option<Chosen>,
    means: Vec<(&'static str, &'static str, String)>,
    corrected: &'static str,
    wrongs: Wrongs,
    /// What was sent and came back.
    typed: Fields,
    cells: Vec<(&'static str, String)>,
}

impl Rounds {
    fn typed(&self, field: &str) -> &str {
        self.typed.get(field).map_or("", String::as_str)
    }

    fn mend(&self, field: &str) -> String {
        mend_of(&self.wrongs, field)
    }
}

#[derive(Debug)]
struct RoundRow {
    round: Round,
    numbers: usize,
    /// What is said of it: sentences, none for a round that agrees.
    doubts: Vec<String>,
}

#[derive(Debug)]
struct ReferenceRow {
    sheet: SheetRow,
    value: String,
    expanded: String,
    between: String,
    lab: String,
    words: String,
}

/// The budget that is shown in full.
#[derive(Debug)]
struct Chosen {
    no: String,
    name: String,
    parts: Vec<(&'static str, String, String, String)>,
    combined: String,
    degrees: String,
    k: String,
    expanded: String,
    bars: String,
}

/// What was asked for in the address, or sent again with a form.
fn means_of(exercise: &Exercise, asked: &Fields) -> Result<Means, Wrongs> {
    let usual = usual_means(exercise);
    let mut wrongs = Wrongs::new();
    let mut number = |name: &str, usual: f64| {
        let Some(text) = asked.get(name).map(|t| t.trim().replace(',', ".")) else {
            return usual;
        };
        // As `4e-6` too: growth per length is written so.
        let read = text
            .parse::<f64>()
            .ok()
            .filter(|n| n.is_finite() && *n >= 0.0 && *n < 1e6);
        read.unwrap_or_else(|| {
            wrongs.push((
                name.to_owned(),
                "Write a number that is not below zero, as in 0.0015 or 4e-6.".to_owned(),
            ));
            usual
        })
    };
    let means = Means {
        error: number("error", usual.error),
        error_per_length: number("per_length", usual.error_per_length),
        tip: number("tip", usual.tip),
        within: number("within", usual.within),
        expansion_within: number("expansion", usual.expansion_within * 100.0) / 100.0,
        corrected: asked.get("corrected").is_none_or(|c| c == "yes"),
    };
    if wrongs.is_empty() { Ok(means) } else { Err(wrongs) }
}

fn shown_means(exercise: &Exercise, asked: &Fields) -> Vec<(&'static str, &'static str, String)> {
    let usual = usual_means(exercise);
    let values = [
        usual.error,
        usual.error_per_length,
        usual.tip,
        usual.within,
        usual.expansion_within * 100.0,
    ];
    let each = MEANS.iter().zip(values).map(|((name, label), usual)| {
        let value = asked.get(*name).cloned().unwrap_or_else(|| format!("{usual}"));
        (*name, *label, value)
    });
    each.collect()
}

/// What is said of a round.
fn doubts(evaluated: &Evaluated, place: usize) -> Vec<String> {
    let mut doubts = Vec::new();
    if let Some(Some(suspicion)) = evaluated.suspicions.get(place) {
        doubts.extend(suspected(suspicion));
    }
    let named = |outlier: bool| {
        let of = evaluated
            .away
            .iter()
            .filter(|a| a.round == place && a.test.is_outlier() == outlier);
        of.map(|a| format!("{} (G {:.2})", a.no, a.test.g))
            .collect::<Vec<_>>()
            .join(", ")
    };
    let (outliers, stragglers) = (named(true), named(false));
    if !outliers.is_empty() {
        doubts.push(format!(
            "Outlying at {outliers}: by chance less than once in a hundred (Grubbs)."
        ));
    }
    if !stragglers.is_empty() {
        doubts.push(format!(
            "Away from the others at {stragglers}: by chance less than once in twenty."
        ));
    }
    doubts
}

fn suspected(suspicion: &Suspicion) -> Vec<String> {
    let unexplained = || {
        let nos: Vec<&str> = suspicion.unexplained.iter().take(8).map(|n| n.as_str()).collect();
        format!(
            "It does not fit the other rounds at {}, and no one mistake explains it.",
            nos.join(", ")
        )
    };
    match suspicion.state {
        DiagnosisState::Clean | DiagnosisState::NotLookedInto => Vec::new(),
        DiagnosisState::FaultStated => suspicion.sentences.clone(),
        DiagnosisState::FaultSuspected => {
            let maybe = |s: &String| format!("Perhaps: {s}");
            suspicion.sentences.iter().map(maybe).collect()
        }
        DiagnosisState::Unexplained if suspicion.unexplained.is_empty() => {
            vec!["It does not fit the other rounds, and no one mistake explains it.".to_owned()]
        }
        DiagnosisState::Unexplained => vec![unexplained()],
    }
}

fn reference_row(exercise: &Exercise, sheet: SheetRow, budget: Option<&Budget>) -> ReferenceRow {
    let places = exercise.decimals + 2;
    let lab = exercise
        .characteristics
        .iter()
        .find(|c| c.no.as_str() == sheet.no)
        .map(|c| c.u_lab)
        .unwrap_or_default();
    let rounded = budget.and_then(|b| b.rounded(exercise.decimals));
    let words = match rounded {
        None => "no value".to_owned(),
        Some((_, u)) if u > lab => "known less well than a pair measures".to_owned(),
        Some((_, u)) if u * Decimal::from(3) > lab => "more than a third of the class's U".to_owned(),
        Some(_) => "good".to_owned(),
    };
    ReferenceRow {
        value: rounded.map(|(v, _)| show_length(v, places)).unwrap_or_default(),
        expanded: rounded.map(|(_, u)| show_length(u, places)).unwrap_or_default(),
        between: budget
            .and_then(|b| b.between)
            .map(|s| show_f64(s, places))
            .unwrap_or_default(),
        lab: show_length(lab, places),
        words,
        sheet,
    }
}

fn chosen(exercise: &Exercise, budget: &Budget) -> Option<Chosen> {
    let c = exercise.characteristics.get(budget.index)?;
    let places = exercise.decimals + 2;
    let degrees = |d: Option<f64>| d.map_or_else(|| "very many".to_owned(), |d| show_f64(d, 1));
    let part = |p: &crate::cohort::rounds::Part| (p.source, p.how.clone(), show_f64(p.u, places), degrees(p.degrees));
    let named: Vec<(&str, f64)> = budget.parts.iter().map(|p| (p.source, p.u)).collect();
    Some(Chosen {
        no: c.no.to_string(),
        name: format!("{}, {}", exercise.owner_name(c), c.of.word()),
        parts: budget.parts.iter().map(part).collect(),
        combined: show_f64(budget.combined.u, places),
        degrees: degrees(budget.combined.degrees),
        k: show_f64(budget.k, 2),
        expanded: show_f64(budget.expanded, places),
        bars: bars(&named, budget.combined.u, places),
    })
}

fn round_rows(evaluated: &Evaluated) -> Vec<RoundRow> {
    let row = |(i, round): (usize, &Round)| {
        let readings: BTreeMap<String, Vec<String>> = serde_json::from_str(&round.readings).unwrap_or_default();
        let place = evaluated.counting.iter().position(|c| *c == i);
        RoundRow {
            numbers: readings.len(),
            doubts: place.map(|place| doubts(evaluated, place)).unwrap_or_default(),
            round: round.clone(),
        }
    };
    evaluated.stored.iter().enumerate().map(row).collect()
}

/// The page with what was asked for.
async fn sheet(app: &App, of: &PlateOf, asked: &Fields, mut wrongs: Wrongs) -> Result<Rounds, WebError> {
    let exercise = load::exercise(&app.service, of.revision.id)
        .await
        .map_err(WebError::internal)?;
    let means = means_of(&exercise, asked).unwrap_or_else(|more| {
        wrongs.extend(more);
        usual_means(&exercise)
    });
    let evaluated = reference_rounds::evaluate(&app.service, exercise.clone(), of.plate.id, means)
        .await
        .map_err(WebError::internal)?;
    let budget_of = |no: &str| {
        let all = evaluated.budgets.iter();
        all.clone().find(|b| {
            exercise
                .characteristics
                .get(b.index)
                .is_some_and(|c| c.no.as_str() == no)
        })
    };
    let rows = sheet::rows(&exercise);
    let shown = asked
        .get("no")
        .and_then(|no| budget_of(no))
        .or(evaluated.budgets.first());
    Ok(Rounds {
        frame: Frame::of(&of.person, "/plates"),
        serial: of.plate.serial.clone(),
        here: format!("/exercises/{}/plates/{}", of.revision.exercise, of.plate.id),
        unit: exercise.units.to_string(),
        seen: of.plate.revision.0,
        seen_rounds: evaluated.seen(),
        rounds: round_rows(&evaluated),
        counting: evaluated.counting.len(),
        chosen: shown.and_then(|b| chosen(&exercise, b)),
        rows: rows
            .into_iter()
            .map(|row| {
                let budget = budget_of(&row.no);
                reference_row(&exercise, row, budget)
            })
            .collect(),
        means: shown_means(&exercise, asked),
        corrected: if means.corrected { "yes" } else { "no" },
        cells: vec![
            ("Exercise", of.revision.code.clone()),
            ("Plate", of.plate.serial.clone()),
            (
                "Rounds",
                format!("{} of {}", evaluated.counting.len(), evaluated.stored.len()),
            ),
        ],
        wrongs,
        typed: asked.clone(),
    })
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    of: PlateOf,
    Asked(asked): Asked,
) -> Result<Response, WebError> {
    Ok(Sheet(StatusCode::OK, sheet(&app, &of, &asked, Wrongs::new()).await?).into_response())
}

#[derive(Debug, Deserialize)]
pub(in crate::web) struct RoundPath {
    round: i64,
}

/// Leaves a round out, or takes it in again.
pub(in crate::web) async fn leave_out(
    State(app): State<App>,
    of: PlateOf,
    Path(path): Path<RoundPath>,
    Sent(fields): Sent,
) -> Result<Response, WebError> {
    let round = RoundId(path.round);
    let typed = fields.get(&format!("why-{round}")).map_or("", String::as_str);
    let why = (!fields.contains_key("take-in")).then_some(typed);
    match reference_rounds::leave_out(&app.service, of.plate.id, round, why, of.person.id).await {
        Ok(()) => Ok(back(&of, "/rounds")),
        Err(RoundError::Gone) => Err(WebError::NotFound),
        Err(wrong @ RoundError::Why) => {
            let wrongs = vec![(format!("why-{round}"), sentence(&wrong))];
            let page = sheet(&app, &of, &fields, wrongs).await?;
            Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
        Err(error) => Err(WebError::internal(error)),
    }
}

fn back(of: &PlateOf, to: &str) -> Response {
    Redirect::to(&format!(
        "/exercises/{}/plates/{}{to}",
        of.revision.exercise, of.plate.id
    ))
    .into_response()
}

/// Makes the mean of the rounds the reference.
pub(in crate::web) async fn accept(
    State(app): State<App>,
    of: PlateOf,
    Sent(fields): Sent,
) -> Result<Response, WebError> {
    let exercise = load::exercise(&app.service, of.revision.id)
        .await
        .map_err(WebError::internal)?;
    let refused = async |status: StatusCode, wrongs: Wrongs| {
        let page = sheet(&app, &of, &fields, wrongs).await?;
        Ok::<_, WebError>(Sheet(status, page).into_response())
    };
    let means = match means_of(&exercise, &fields) {
        Ok(means) => means,
        Err(_) => return refused(StatusCode::UNPROCESSABLE_ENTITY, Wrongs::new()).await,
    };
    let truth = load::plate_from(&exercise, &of.plate.truth).map_err(WebError::internal)?;
    let seen = fields
        .get("seen")
        .and_then(|s| s.parse::<i64>().ok())
        .unwrap_or_default();
    let plate = (of.plate.id, seen.into());
    let seen = fields.get("rounds").map_or("", String::as_str);
    let stored = reference_rounds::accept(&app.service, exercise, plate, &truth, (means, seen), of.person.id).await;
    match stored {
        Ok(_) => Ok(back(&of, "")),
        Err(error @ (RoundError::NoRounds | RoundError::Truth(TruthError::Wrong(_)))) => {
            let wrongs = vec![("error".to_owned(), sentence(&error))];
            refused(StatusCode::UNPROCESSABLE_ENTITY, wrongs).await
        }
        Err(error @ (RoundError::RoundsChanged | RoundError::Truth(TruthError::Overtaken))) => {
            let wrongs = vec![("error".to_owned(), sentence(&error))];
            refused(StatusCode::CONFLICT, wrongs).await
        }
        Err(error) => Err(WebError::internal(error)),
    }
}

#[derive(Debug, Template)]
#[template(path = "plate_round.html")]
pub(in crate::web) struct NewRound {
    frame: Frame,
    serial: String,
    here: String,
    unit: String,
    typed: Typed,
    rows: Vec<ValueRow>,
    /// Whether to ask if values far from the print stand as they were read.
    ask_as_read: bool,
    wrongs: Wrongs,
    cells: Vec<(&'static str, String)>,
}

impl NewRound {
    fn mend(&self, field: &str) -> String {
        mend_of(&self.wrongs, field)
    }

    fn table(&self) -> String {
        String::from_utf8_lossy(&self.typed.table).into_owned()
    }
}

#[derive(Debug)]
struct ValueRow {
    sheet: SheetRow,
    value: String,
    mend: String,
}

fn round_sheet(of: &PlateOf, exercise: &Exercise, typed: Typed, wrongs: Wrongs) -> NewRound {
    let row = |sheet: SheetRow| ValueRow {
        value: typed.values.get(&sheet.no).cloned().unwrap_or_default(),
        mend: mend_of(&wrongs, &format!("v-{}", sheet.no)),
        sheet,
    };
    NewRound {
        frame: Frame::of(&of.person, "/plates"),
        serial: of.plate.serial.clone(),
        here: format!("/exercises/{}/plates/{}", of.revision.exercise, of.plate.id),
        unit: exercise.units.to_string(),
        rows: sheet::rows(exercise).into_iter().map(row).collect(),
        cells: vec![
            ("Exercise", of.revision.code.clone()),
            ("Plate", of.plate.serial.clone()),
        ],
        ask_as_read: typed.as_read,
        typed,
        wrongs,
    }
}

pub(in crate::web) async fn new(State(app): State<App>, of: PlateOf) -> Result<Response, WebError> {
    let exercise = load::exercise(&app.service, of.revision.id)
        .await
        .map_err(WebError::internal)?;
    let typed = Typed {
        temperature: "20.0".to_owned(),
        ..Typed::default()
    };
    Ok(Sheet(StatusCode::OK, round_sheet(&of, &exercise, typed, Wrongs::new())).into_response())
}

/// Stores a round.
pub(in crate::web) async fn add(State(app): State<App>, of: PlateOf, upload: Upload) -> Result<Response, WebError> {
    let exercise = load::exercise(&app.service, of.revision.id)
        .await
        .map_err(WebError::internal)?;
    let text = |name: &str| upload.field(name).to_owned();
    let values = upload.fields.iter().filter_map(|(name, text)| {
        let no = name.strip_prefix("v-")?;
        Some((no.to_owned(), text.clone()))
    });
    let file = upload.file("file").filter(|f| !f.bytes.is_empty() || f.too_big);
    let too_big = file.is_some_and(|f| f.too_big);
    let file = file.filter(|f| !f.too_big);
    let typed = Typed {
        measured_on: text("measured_on"),
        operator: text("operator"),
        machine: text("machine"),
        temperature: text("temperature"),
        remark: text("remark"),
        values: values.collect(),
        table: file.map_or_else(|| text("table").into_bytes(), |f| f.bytes.clone()),
        as_read: text("as-read") == "yes",
    };
    let added = if too_big {
        let mend = "The file is larger than 8 MB. A round is a few lines: choose another file, or paste the table.";
        Err(RoundError::Wrong(vec![("file".to_owned(), mend.to_owned())]))
    } else {
        reference_rounds::add(&app.service, &exercise, of.plate.id, &typed, of.person.id).await
    };
    match added {
        Ok(_) => Ok(back(&of, "/rounds")),
        Err(RoundError::Wrong(wrongs)) => {
            let ask = typed.may_stand(&exercise, last_day(&app.service));
            let mut page = round_sheet(&of, &exercise, typed, wrongs);
            page.ask_as_read |= ask;
            Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
        Err(error) => Err(WebError::internal(error)),
    }
}
