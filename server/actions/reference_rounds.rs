//! Rounds of careful measurement on a plate: typed or as a table, left out with a reason, made into a reference.

use std::collections::BTreeMap;

use jiff::civil::Date;
use rust_decimal::Decimal;
use thiserror::Error;

use super::Service;
use super::grade_report::apart;
use super::plate_truth::{How, TruthError, revise};
use crate::cohort::rounds::{self, Away, Budget, Means, Suspicion};
use crate::exercise::model::{Characteristic, Exercise};
use crate::exercise::names::BalloonNo;
use crate::exercise::plate::{Calibrated, Plate};
use crate::report::assemble::{Field, FromForm, from_form};
use crate::report::table::{self, MustAsk, ReadOptions, Role, Table};
use crate::store::ids::{PersonId, PlateId, PlateRevisionId, RoundId};
use crate::store::rounds::NewRound;
use crate::store::{self, StoreError, audit};
use crate::units::{LengthUnit, decimal_to_f64, parse_plain_decimal};

/// Longest name or remark, in characters.
const TEXT: usize = 200;

/// Most readings of one number in one round.
const READINGS: usize = 20;

/// What was typed of a round.
#[derive(Debug, Clone, Default)]
pub struct Typed {
    /// Day, as in 2026-11-03.
    pub measured_on: String,
    /// Who.
    pub operator: String,
    /// On which machine.
    pub machine: String,
    /// Degrees Celsius.
    pub temperature: String,
    /// Anything else.
    pub remark: String,
    /// Text of each number's field, by balloon number.
    pub values: BTreeMap<String, String>,
    /// A table that was pasted or uploaded.
    pub table: Vec<u8>,
    /// Whether values that are far from the print stand as they were read: a round with a fault is for the other rounds to
    /// find, and may be left out with a reason.
    pub as_read: bool,
}

impl Typed {
    /// Whether it could be stored if values far from the print stand as they were read.
    #[must_use]
    pub fn may_stand(&self, exercise: &Exercise, today: Date) -> bool {
        let sure = Self {
            as_read: true,
            ..self.clone()
        };
        !self.as_read && read(exercise, &sure, today).is_ok()
    }
}

/// Fields at fault with how to mend each: measured_on, operator, machine, temperature, remark, table, v-NO.
pub type Wrongs = Vec<(String, String)>;

/// Why nothing was stored.
#[derive(Debug, Error)]
pub enum RoundError {
    /// What was typed.
    #[error("some fields have to be mended")]
    Wrong(Wrongs),
    /// Why a round is left out is missing.
    #[error("write why the round is left out, in at most {TEXT} characters")]
    Why,
    /// There is no such round (any more).
    #[error("there is no such round")]
    Gone,
    /// No round counts.
    #[error("no round counts: enter one, or take one in again")]
    NoRounds,
    /// Other rounds count than those whose mean the person saw.
    #[error(
        "a round was entered, left out or taken in meanwhile: look at the means below once more, then make them the reference"
    )]
    RoundsChanged,
    /// The new truth could not be stored.
    #[error(transparent)]
    Truth(#[from] TruthError),
    /// What is stored has another form.
    #[error("a stored round cannot be read: {0}")]
    Unreadable(#[from] serde_json::Error),
    /// The computation was cut off.
    #[error("the server is stopping")]
    Stopping,
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

type Readings = BTreeMap<BalloonNo, Vec<Decimal>>;

/// Reads what was typed.
///
/// # Errors
/// With every field at fault.
pub fn read(exercise: &Exercise, typed: &Typed, today: Date) -> Result<Readings, Wrongs> {
    let mut wrongs = wrong_heads(typed, today);
    let mut values = typed.values.clone();
    if !typed.table.is_empty() {
        match from_table(exercise, &typed.table) {
            Ok(more) => {
                for (no, text) in more {
                    let typed = values.entry(no).or_default();
                    if !typed.trim().is_empty() && typed.trim() != text {
                        let mend = "A number has one value typed below and another one in this table. Clear the one that does \
                                    not count.";
                        wrongs.push(("table".to_owned(), mend.to_owned()));
                        break;
                    }
                    *typed = text;
                }
            }
            Err(mend) => wrongs.push(("table".to_owned(), mend)),
        }
    }
    let (readings, more) = readings(exercise, &values, typed.as_read);
    wrongs.extend(more);
    if wrongs.is_empty() && readings.is_empty() {
        wrongs.push((
            "table".to_owned(),
            "Write at least one value, or paste a table.".to_owned(),
        ));
    }
    if wrongs.is_empty() { Ok(readings) } else { Err(wrongs) }
}

/// What is wrong with day, names and temperature.
fn wrong_heads(typed: &Typed, today: Date) -> Wrongs {
    let mut wrongs = Wrongs::new();
    let mut wrong = |field: &str, mend: String| wrongs.push((field.to_owned(), mend));
    match typed.measured_on.trim().parse::<Date>() {
        Err(_) => wrong("measured_on", "Write the day as in 2026-11-03.".to_owned()),
        Ok(day) if day > today => wrong(
            "measured_on",
            "This day is still to come. Write the day of the round.".to_owned(),
        ),
        Ok(_) => {}
    }
    for (field, text, needed) in [
        ("operator", &typed.operator, "Write who measured."),
        ("machine", &typed.machine, "Write on which machine."),
    ] {
        if text.trim().is_empty() {
            wrong(field, needed.to_owned());
        }
    }
    for (field, text) in [
        ("operator", &typed.operator),
        ("machine", &typed.machine),
        ("remark", &typed.remark),
    ] {
        if text.chars().count() > TEXT {
            wrong(field, format!("Write at most {TEXT} characters."));
        }
    }
    let temperature = typed.temperature.trim().replace(',', ".");
    let celsius = parse_plain_decimal(&temperature);
    if !temperature.is_empty() && celsius.is_none_or(|t| !(Decimal::from(-10)..=Decimal::from(50)).contains(&t)) {
        let mend = "Write degrees Celsius from \u{2212}10 to 50, as in 20.4, or leave it empty.";
        wrong("temperature", mend.to_owned());
    }
    wrongs
}

/// Texts by number out of a table with a number and a value in each line; a number that stands twice was read twice.
fn from_table(exercise: &Exercise, bytes: &[u8]) -> Result<BTreeMap<String, String>, String> {
    let reading = |options: &ReadOptions| table::read(bytes, options).map_err(|refusal| refusal.to_string());
    let mut read = reading(&ReadOptions::default())?;
    if let Table::Report(found) = &read
        && found.head.must_ask == Some(MustAsk::Columns)
    {
        // Without headings the columns are what the page asks for; a first one that is no number of the print is said below.
        let columns = Some(vec![Some(Role::Label), Some(Role::Measured)]);
        read = reading(&ReadOptions {
            columns,
            ..ReadOptions::default()
        })?;
    }
    let Table::Report(read) = read else {
        return Err("These are probed points. A round has a number and a value in each line.".to_owned());
    };
    if read.head.must_ask.is_some() {
        return Err(
            "This can be read in two ways. Write all decimals with a point and no mark between thousands, and give the columns the headings no and measured."
                .to_owned(),
        );
    }
    let mut values: BTreeMap<String, String> = BTreeMap::new();
    for row in &read.rows {
        let known = row
            .label
            .parse::<BalloonNo>()
            .ok()
            .filter(|no| exercise.characteristic(no).is_some());
        let Some(no) = known else {
            let label: String = row.label.chars().take(20).collect();
            return Err(format!(
                "Line {}: there is no number {label} on this print. Correct the number or take the line out.",
                row.line
            ));
        };
        if let Some(measured) = &row.measured {
            let unit = row.unit.map(|u| format!(" {u}")).unwrap_or_default();
            let text = values.entry(no.to_string()).or_default();
            let between = if text.is_empty() { "" } else { "; " };
            text.push_str(&format!("{between}{measured}{unit}"));
        }
    }
    Ok(values)
}

/// Reads the fields of values: one value or several, with a semicolon or a blank between them.
fn readings(exercise: &Exercise, values: &BTreeMap<String, String>, as_read: bool) -> (Readings, Wrongs) {
    let split: Vec<(&String, Vec<String>)> = values.iter().map(|(no, text)| (no, pieces(text))).collect();
    let longest = split.iter().map(|(_, p)| p.len()).max().unwrap_or(0);
    let (mut all, mut wrongs) = (Readings::new(), Wrongs::new());
    if longest > READINGS {
        let too_many = split.iter().filter(|(_, p)| p.len() > READINGS);
        wrongs.extend(too_many.map(|(no, _)| (format!("v-{no}"), format!("Write at most {READINGS} readings."))));
        return (all, wrongs);
    }
    for pass in 0..longest {
        let fields: Vec<Field> = split
            .iter()
            .map(|(no, pieces)| Field {
                no: (*no).clone(),
                measured: pieces.get(pass).cloned().unwrap_or_default(),
                call: String::new(),
            })
            .collect();
        match from_form(exercise, &fields, &ReadOptions::default()) {
            FromForm::Report(read) => {
                for item in read.report.items {
                    if let Some(measured) = item.measured {
                        all.entry(item.no).or_default().push(measured.decimal());
                    }
                }
            }
            FromForm::Problems(problems) => {
                wrongs.extend(problems.into_iter().map(|p| (field_of(p.no.as_deref()), p.text)));
            }
            FromForm::AskDecimalMark(_) => wrongs.push((
                "table".to_owned(),
                "It cannot be told whether a comma stands for the decimal mark. Write decimals with a point."
                    .to_owned(),
            )),
        }
    }
    for (no, read) in &all {
        let far = exercise.characteristic(no).and_then(|(_, c)| {
            read.iter()
                .find_map(|v| impossible(c, *v).or_else(|| far(exercise, c, *v).filter(|_| !as_read)))
        });
        wrongs.extend(far.map(|mend| (format!("v-{no}"), mend)));
    }
    wrongs.dedup();
    (all, wrongs)
}

fn field_of(no: Option<&str>) -> String {
    no.map_or_else(|| "table".to_owned(), |no| format!("v-{no}"))
}

/// Pieces between semicolons, and between blanks where every piece begins as a number does.
fn pieces(text: &str) -> Vec<String> {
    let mut all = Vec::new();
    for piece in text.split(';').map(str::trim).filter(|p| !p.is_empty()) {
        let words: Vec<&str> = piece.split_whitespace().collect();
        let number =
            |w: &&str| w.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+' | '.' | '\u{2212}'));
        if words.iter().all(number) {
            all.extend(words.into_iter().map(str::to_owned));
        } else {
            all.push(piece.to_owned());
        }
    }
    all
}

/// Widths of the tolerance beyond which a value is rather a slip than a plate.
const FAR: Decimal = Decimal::TEN;

/// What is wrong with a value that nothing measures.
fn impossible(c: &Characteristic, value: Decimal) -> Option<String> {
    (c.of.is_geometrical() && value < Decimal::ZERO).then(|| format!("The {} is never below zero.", c.of.word()))
}

/// What is wrong with a value that is far from the print.
fn far(exercise: &Exercise, c: &Characteristic, value: Decimal) -> Option<String> {
    let width = c.limits.width().or(c.limits.upper.filter(|_| c.of.is_geometrical()))?;
    let off = if exercise.is_plan_direction(c) {
        crate::exercise::geometry::at_nearest_half_turn(value, c.nominal) - c.nominal
    } else {
        value - c.nominal
    };
    let most = FAR * width;
    if off.abs() <= most {
        return None;
    }
    let inch = Decimal::new(254, 1);
    let unit = exercise.units;
    let (factor, other) = match unit {
        LengthUnit::Mm => (inch, "inches"),
        LengthUnit::Inch => (Decimal::ONE / inch, "millimetres"),
    };
    if !c.of.is_angle() && !c.nominal.is_zero() && (value * factor - c.nominal).abs() <= most {
        return Some(format!("{value} looks like {other}; write the value in {unit}."));
    }
    if (value + c.nominal).abs() <= most {
        return Some(format!("{value} has the wrong sign: nominal is {}.", c.nominal));
    }
    if value.abs() <= most {
        return Some(format!(
            "{value} looks like a deviation; write the value, near {}.",
            c.nominal
        ));
    }
    Some(format!(
        "{value} is {off} from nominal {}, more than ten tolerances. Look at it again.",
        c.nominal
    ))
}

/// The latest day that a round can be of: one of this evening may be tomorrow's in UTC.
#[must_use]
pub fn last_day(service: &Service) -> Date {
    let now = service.clock.now().timestamp();
    let today = now.to_zoned_datetime(jiff::tz::TimeZone::UTC).date();
    today.tomorrow().unwrap_or(today)
}

/// Stores a round.
///
/// # Errors
/// With every field at fault, or when the database cannot be written.
pub async fn add(
    service: &Service,
    exercise: &Exercise,
    plate: PlateId,
    typed: &Typed,
    by: PersonId,
) -> Result<RoundId, RoundError> {
    let now = service.clock.now();
    let read = read(exercise, typed, last_day(service)).map_err(RoundError::Wrong)?;
    let readings: BTreeMap<&str, Vec<String>> = read
        .iter()
        .map(|(no, values)| (no.as_str(), values.iter().map(Decimal::to_string).collect()))
        .collect();
    let new = NewRound {
        plate,
        measured_on: typed.measured_on.trim(),
        operator: typed.operator.trim(),
        machine: typed.machine.trim(),
        temperature: &typed.temperature.trim().replace(',', "."),
        remark: typed.remark.trim(),
        readings: &serde_json::to_string(&readings)?,
        at: now,
        by,
    };
    let mut tx = service.store.change().await?;
    let id = store::rounds::add(&mut tx, &new).await?;
    let detail = serde_json::json!({ "round": id, "numbers": readings.len() });
    trail(service, &mut tx, (plate, by), "add-round", detail).await?;
    tx.commit().await?;
    Ok(id)
}

async fn trail(
    service: &Service,
    tx: &mut store::Tx,
    (plate, by): (PlateId, PersonId),
    what: &str,
    detail: serde_json::Value,
) -> Result<(), StoreError> {
    let entry = audit::Entry {
        at: service.clock.now(),
        person: Some(by),
        what,
        about: ("plate", plate.0),
        detail,
    };
    audit::write(tx, &entry).await
}

/// Leaves a round out with a reason, or takes it in again where there is none.
///
/// # Errors
/// When there is no such round, the reason is missing, or the database cannot be written.
pub async fn leave_out(
    service: &Service,
    plate: PlateId,
    round: RoundId,
    why: Option<&str>,
    by: PersonId,
) -> Result<(), RoundError> {
    let why = why.map(str::trim);
    if why.is_some_and(|w| !(1..=TEXT).contains(&w.chars().count())) {
        return Err(RoundError::Why);
    }
    let mut tx = service.store.change().await?;
    let at = why.map(|_| service.clock.now());
    if !store::rounds::leave_out(&mut tx, plate, round, at, why.unwrap_or_default()).await? {
        return Err(RoundError::Gone);
    }
    let what = if why.is_some() {
        "leave-round-out"
    } else {
        "take-round-in"
    };
    let detail = serde_json::json!({ "round": round, "why": why });
    trail(service, &mut tx, (plate, by), what, detail).await?;
    tx.commit().await?;
    Ok(())
}

/// The rounds of a plate and what follows from those that count.
#[derive(Debug)]
pub struct Evaluated {
    /// All rounds by day.
    pub stored: Vec<store::rounds::Round>,
    /// Places in `stored` of those that count.
    pub counting: Vec<usize>,
    /// A budget for every number that has a value, in the order of the sheet.
    pub budgets: Vec<Budget>,
    /// Values that lie away; rounds by their place among those that count.
    pub away: Vec<Away>,
    /// What explains each round that counts, held against the others.
    pub suspicions: Vec<Option<Suspicion>>,
}

impl Evaluated {
    /// Which rounds count, as a form carries it.
    #[must_use]
    pub fn seen(&self) -> String {
        let ids = self.counting.iter().filter_map(|i| self.stored.get(*i));
        ids.map(|r| r.id.to_string()).collect::<Vec<_>>().join("-")
    }
}

/// Evaluates the rounds of a plate, off the async threads.
///
/// # Errors
/// When the database does not answer or a stored round cannot be read.
pub async fn evaluate(
    service: &Service,
    exercise: std::sync::Arc<Exercise>,
    plate: PlateId,
    means: Means,
) -> Result<Evaluated, RoundError> {
    let stored = store::rounds::of(&service.store, plate).await?;
    let counting: Vec<usize> = (0..stored.len()).filter(|i| stored[*i].left_out_at.is_none()).collect();
    let rounds: Vec<rounds::Round> = counting
        .iter()
        .filter_map(|i| stored.get(*i))
        .map(round)
        .collect::<Result<_, _>>()?;
    let done = apart(service, move || {
        let budgets: Vec<Budget> = (0..exercise.characteristics.len())
            .filter_map(|i| rounds::budget(&exercise, i, &rounds, &means))
            .collect();
        let suspicions: Vec<Option<Suspicion>> = (0..rounds.len())
            .map(|i| rounds::suspicion(&exercise, &rounds, i, &means))
            .collect();
        (budgets, rounds::away(&exercise, &rounds, &means), suspicions)
    });
    let (budgets, away, suspicions) = done.await.ok_or(RoundError::Stopping)?;
    Ok(Evaluated {
        stored,
        counting,
        budgets,
        away,
        suspicions,
    })
}

fn round(stored: &store::rounds::Round) -> Result<rounds::Round, serde_json::Error> {
    let readings: BTreeMap<BalloonNo, Vec<String>> = serde_json::from_str(&stored.readings)?;
    let values = readings
        .into_iter()
        .map(|(no, texts)| (no, texts.iter().filter_map(|t| t.parse().ok()).collect()))
        .collect();
    Ok(rounds::Round {
        values,
        celsius: parse_plain_decimal(&stored.temperature).map(decimal_to_f64),
    })
}

/// What is usual for an exercise whose machine nobody has described: half of the class's uncertainty at zero length, and all
/// of its growth (common practice, no published source).
#[must_use]
pub fn usual_means(exercise: &Exercise) -> Means {
    Means {
        error: decimal_to_f64(exercise.measurement.expanded_uncertainty / Decimal::from(2)),
        error_per_length: decimal_to_f64(exercise.measurement.per_length),
        tip: decimal_to_f64(exercise.measurement.repeatability / Decimal::from(4)),
        within: 0.5,
        expansion_within: 0.1,
        corrected: true,
    }
}

/// Makes the mean of the rounds that count the reference of the plate; numbers without a value keep what they have. U is the
/// half width of the 95.45 % interval with the effective degrees of freedom, kept with k = 2, so that marks use all of it.
/// `seen` are the rounds whose mean the person saw ([`Evaluated::seen`]); empty: whichever count.
///
/// # Errors
/// When no round counts, other rounds count than those that were seen, somebody was faster, or the database cannot be written.
pub async fn accept(
    service: &Service,
    exercise: std::sync::Arc<Exercise>,
    of: (PlateId, PlateRevisionId),
    plate: &Plate,
    (means, seen): (Means, &str),
    by: PersonId,
) -> Result<Option<PlateRevisionId>, RoundError> {
    let evaluated = evaluate(service, exercise.clone(), of.0, means).await?;
    if !seen.is_empty() && seen != evaluated.seen() {
        return Err(RoundError::RoundsChanged);
    }
    if evaluated.budgets.is_empty() {
        return Err(RoundError::NoRounds);
    }
    let mut plate = plate.clone();
    for budget in &evaluated.budgets {
        let no = exercise.characteristics.get(budget.index).map(|c| c.no.clone());
        if let Some((no, (value, expanded))) = no.zip(budget.rounded(exercise.decimals)) {
            let k = Decimal::TWO;
            plate.references.insert(no, Calibrated { value, expanded, k });
        }
    }
    let rounds: Vec<RoundId> = evaluated
        .counting
        .iter()
        .filter_map(|i| evaluated.stored.get(*i).map(|r| r.id))
        .collect();
    let how = How {
        kind: "rounds",
        detail: serde_json::json!({
            "rounds": rounds, "error": means.error, "error_per_length": means.error_per_length, "tip": means.tip,
            "within": means.within, "expansion_within": means.expansion_within, "corrected": means.corrected,
        }),
    };
    Ok(revise(service, &exercise, of, &plate, &how, by).await?)
}
