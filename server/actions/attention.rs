//! Searches graded reports for reasons to look at them: what the grade itself says, calls in doubt, and the same digits
//! as another pair's. A reason is for a person; no mark hangs on it.

use std::collections::BTreeMap;
use std::sync::Arc;

use rust_decimal::Decimal;
use thiserror::Error;

use super::Service;
use super::load::{self, LoadError};
use super::my_result::grade_from;
use crate::cohort::duplicates::{Chances, Comparison, Line, TwoValues, remarkable};
use crate::exercise::model::Exercise;
use crate::exercise::names::BalloonNo;
use crate::grading::grade::Grade;
use crate::grading::review::{DOUBTFUL_CALL, OTHER_PLATE, OtherPlate, Review, SAME_DIGITS, SameDigits, doubtful_calls};
use crate::report::model::Report as Items;
use crate::store::attention::{self, Found, Other, Searched};
use crate::store::ids::{ExerciseRevisionId, PlateRevisionId, ReportId};
use crate::store::{StoreError, grades, other_plates};
use crate::units::{Reading, decimal_to_f64};

/// Most reports that one is compared with: the newest ones.
const OTHERS: i64 = 200;
/// Fewest values that must be the same before the chance of it is worked out: with one or two it is a coincidence that
/// nobody should be asked about.
const FEWEST: usize = 4;

/// Reports whose values, and plates whose references are kept at once.
const KEPT: (usize, usize) = (512, 128);

/// Why a search failed.
#[derive(Debug, Error)]
pub enum SearchError {
    /// Something that it needs cannot be loaded.
    #[error(transparent)]
    Load(#[from] LoadError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// What is stored has another form.
    #[error("a stored report cannot be read: {0}")]
    Unreadable(#[from] serde_json::Error),
    /// The computation was cut off.
    #[error("the server is stopping")]
    Stopping,
}

/// Values of a report by number, and references of a plate.
type Values = BTreeMap<BalloonNo, Decimal>;
type References = BTreeMap<BalloonNo, f64>;
/// What a grade was computed from.
type Basis = (ExerciseRevisionId, PlateRevisionId);

/// What one search learns for the next.
#[derive(Debug, Default)]
pub(super) struct Known {
    values: BTreeMap<ReportId, Arc<Values>>,
    references: BTreeMap<Basis, Arc<References>>,
    chances: Chances,
}

/// What a search of one report found: its own reasons, and those of others.
struct Findings {
    report: ReportId,
    own: Vec<Found>,
    others: Vec<(ReportId, Found)>,
}

/// Searches graded reports and writes what is found, on both sides where two are alike. One that cannot be searched is
/// logged and left.
///
/// # Errors
/// When something cannot be written.
pub(super) async fn search(service: &Service, reports: &[ReportId]) -> Result<(), SearchError> {
    let mut known = service.searches.known.lock().await;
    let mut all = Vec::with_capacity(reports.len());
    for report in reports {
        match search_one(service, &mut known, *report).await {
            Ok(findings) => all.extend(findings),
            Err(error @ SearchError::Store(_)) => return Err(error),
            Err(error) => {
                tracing::warn!(%error, report = report.0, "a report was not searched for reasons to look at it");
            }
        }
    }
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    for findings in &all {
        attention::write(&mut tx, findings.report, &findings.own, now).await?;
        for (report, found) in &findings.others {
            attention::add(&mut tx, *report, found, now).await?;
        }
    }
    Ok(tx.commit().await?)
}

/// The reason of a report on another plate than the pair was given.
pub(super) fn other_plate(other: &other_plates::OtherPlate) -> Result<Found, serde_json::Error> {
    Ok(Found {
        reason: OTHER_PLATE,
        detail: serde_json::to_string(&OtherPlate {
            measured: other.measured.clone(),
            given: other.given.clone(),
        })?,
    })
}

/// Searches what was graded and not searched, as after a stop between the two.
///
/// # Errors
/// When the database does not answer.
pub async fn search_missing(service: &Service) -> Result<(), StoreError> {
    super::searches::soon(service, attention::unsearched(&service.store, 10_000).await?);
    Ok(())
}

/// What is found in one report; none where it has no grade any more.
async fn search_one(service: &Service, known: &mut Known, report: ReportId) -> Result<Option<Findings>, SearchError> {
    let Some(of) = attention::graded(&service.store, report).await? else {
        return Ok(None);
    };
    let grade = grade_from(&of.result)?;
    let mut own = Vec::new();
    own.extend(of.review.as_deref().and_then(Review::from_word).map(|r| Found {
        reason: r.word(),
        detail: "{}".to_owned(),
    }));
    let doubtful = doubtful_calls(&grade);
    if !doubtful.is_empty() {
        own.push(Found {
            reason: DOUBTFUL_CALL,
            detail: serde_json::to_string(&doubtful)?,
        });
    }
    let other = other_plates::of(&service.store, report).await?;
    if let Some(other) = other.filter(|o| o.settled.is_none()) {
        own.push(other_plate(&other)?);
    }
    let mut others = Vec::new();
    for digits in alike(service, known, &of, &grade).await? {
        let theirs = SameDigits {
            other: report.0,
            ..digits.clone()
        };
        others.push((ReportId(digits.other), found_digits(&theirs)?));
        own.push(found_digits(&digits)?);
    }
    Ok(Some(Findings { report, own, others }))
}

fn found_digits(digits: &SameDigits) -> Result<Found, serde_json::Error> {
    Ok(Found {
        reason: SAME_DIGITS,
        detail: serde_json::to_string(digits)?,
    })
}

/// The reports of other pairs that this one is remarkably like.
async fn alike(
    service: &Service,
    known: &mut Known,
    of: &Searched,
    grade: &Grade,
) -> Result<Vec<SameDigits>, SearchError> {
    let mine = Arc::new(values(&of.items)?);
    keep(&mut known.values, of.report, Arc::clone(&mine), KEPT.0);
    let basis = (of.exercise_revision, of.plate_revision);
    let references = Arc::new(references(grade));
    keep(&mut known.references, basis, Arc::clone(&references), KEPT.1);
    let others = attention::others(&service.store, (of.assignment, of.pair, of.plate), OTHERS).await?;
    let candidates = candidates(service, known, &mine, &others).await?;
    if candidates.is_empty() {
        return Ok(Vec::new());
    }
    let exercise = load::exercise(service, of.exercise_revision).await?;
    let mut sides = Vec::with_capacity(candidates.len());
    for (other, theirs) in candidates {
        let biases = if other.plate == of.plate {
            None
        } else {
            let second = references_of(service, known, other).await?;
            Some(biases(&references, &second))
        };
        sides.push((other.report, theirs, biases));
    }
    // Each of the reports with each other one could have been remarked upon.
    let comparisons = others.len() * (others.len() + 1) / 2;
    let mut chances = std::mem::take(&mut known.chances);
    let compared = tokio::task::spawn_blocking(move || {
        let mut found = Vec::new();
        for (other, theirs, biases) in sides {
            let lines = lines(&exercise, &mine, &theirs, biases.as_ref());
            // Noise that makes no distribution says nothing about digits.
            let compared = remarkable(&mut chances, &lines, comparisons).ok().flatten();
            found.extend(compared.and_then(|c| digits(other, &c)));
        }
        (found, chances)
    });
    let (found, chances) = compared.await.map_err(|_| SearchError::Stopping)?;
    known.chances = chances;
    Ok(found)
}

fn digits(other: ReportId, compared: &Comparison) -> Option<SameDigits> {
    (compared.same.len() >= FEWEST).then_some(SameDigits {
        other: other.0,
        same: compared.same.len(),
        of: compared.compared,
        expected: compared.expected_among_all,
    })
}

/// Those of which enough is the same to ask at all, with their values.
async fn candidates<'o>(
    service: &Service,
    known: &mut Known,
    mine: &Values,
    others: &'o [Other],
) -> Result<Vec<(&'o Other, Arc<Values>)>, SearchError> {
    let unknown: Vec<ReportId> = others
        .iter()
        .map(|o| o.report)
        .filter(|report| !known.values.contains_key(report))
        .collect();
    let mut read: BTreeMap<ReportId, Arc<Values>> = BTreeMap::new();
    if !unknown.is_empty() {
        for (report, items) in attention::items(&service.store, &unknown).await? {
            let theirs = Arc::new(values(&items)?);
            keep(&mut known.values, report, Arc::clone(&theirs), KEPT.0);
            read.insert(report, theirs);
        }
    }
    let of = |other: &'o Other| {
        let theirs = read.get(&other.report).or_else(|| known.values.get(&other.report))?;
        let same = mine.iter().filter(|(no, value)| theirs.get(*no) == Some(*value));
        (same.count() >= FEWEST).then(|| (other, Arc::clone(theirs)))
    };
    Ok(others.iter().filter_map(of).collect())
}

/// Keeps a value; where there are too many, what has the smallest key goes: the oldest.
fn keep<K: Ord, V>(known: &mut BTreeMap<K, V>, key: K, value: V, most: usize) {
    known.insert(key, value);
    if known.len() > most {
        known.pop_first();
    }
}

fn values(items: &str) -> Result<Values, serde_json::Error> {
    let items: Items = serde_json::from_str(items)?;
    let of = |item: crate::report::model::ReportItem| {
        let value = item.measured.as_ref().map(Reading::decimal)?;
        Some((item.no, value))
    };
    Ok(items.items.into_iter().filter_map(of).collect())
}

fn references(grade: &Grade) -> References {
    let of = |i: &crate::grading::grade::GradedItem| Some((i.no.clone(), i.reference?));
    grade.items.iter().filter_map(of).collect()
}

/// The references that the grade of another report was computed from.
async fn references_of(service: &Service, known: &mut Known, other: &Other) -> Result<Arc<References>, SearchError> {
    let basis = (other.exercise_revision, other.plate_revision);
    if let Some(known) = known.references.get(&basis) {
        return Ok(Arc::clone(known));
    }
    let stored = grades::of(&service.store, other.report)
        .await?
        .ok_or(LoadError::Missing("a grade"))?;
    let references = Arc::new(references(&grade_from(&stored.result)?));
    keep(&mut known.references, basis, Arc::clone(&references), KEPT.1);
    Ok(references)
}

/// By how much the references of the first plate lie above those of the second.
fn biases(first: &References, second: &References) -> References {
    let bias = |(no, x): (&BalloonNo, &f64)| Some((no.clone(), x - second.get(no)?));
    first.iter().filter_map(bias).collect()
}

/// Two reports side by side; `biases` are those of their plates, where these are two.
fn lines(exercise: &Exercise, mine: &Values, theirs: &Values, biases: Option<&References>) -> Vec<Line> {
    let line = |c: &crate::exercise::model::Characteristic| {
        let bias = match biases {
            Some(biases) => *biases.get(&c.no)?,
            None => 0.0,
        };
        let (first, second) = (*mine.get(&c.no)?, *theirs.get(&c.no)?);
        // Both wrote the print down: that is another matter, and the grade says it.
        if first == second && first == c.nominal {
            return None;
        }
        let sigma = decimal_to_f64(c.u_lab) / 2.0;
        let step = 10_f64.powi(-i32::try_from(exercise.decimals).unwrap_or(0));
        let honest = TwoValues {
            sigma_1: sigma,
            sigma_2: sigma,
            step,
            bias,
        };
        Some(Line { first, second, honest })
    };
    exercise.characteristics.iter().filter_map(line).collect()
}
