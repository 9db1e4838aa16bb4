//! Searches graded reports for reasons to look at them: what the grade itself says, calls in doubt, and the same digits
//! as another pair's. A reason is for a person; no mark hangs on it.

use std::collections::BTreeMap;

use thiserror::Error;

use super::Service;
use super::grade_report::apart;
use super::load::{self, LoadError};
use super::my_result::grade_from;
use crate::cohort::duplicates::{Line, TwoValues, compare};
use crate::exercise::model::Exercise;
use crate::exercise::names::BalloonNo;
use crate::grading::grade::Grade;
use crate::grading::review::{DOUBTFUL_CALL, OTHER_PLATE, OtherPlate, Review, SAME_DIGITS, SameDigits, doubtful_calls};
use crate::report::model::Report as Items;
use crate::store::attention::{self, Found, Other};
use crate::store::ids::ReportId;
use crate::store::reports::{self, Report};
use crate::store::{StoreError, assignments, grades, other_plates};
use crate::units::decimal_to_f64;

/// Most reports that one is compared with: the newest ones.
const OTHERS: i64 = 200;
/// Fewest values that must be the same before the chance of it is worked out: with one or two it is a coincidence that
/// nobody should be asked about.
const FEWEST: usize = 4;

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

/// Searches one graded report and writes what is found, on both sides where two are alike.
///
/// # Errors
/// When something cannot be loaded or written.
pub async fn search(
    service: &Service,
    report: &Report,
    grade: &Grade,
    reason: Option<Review>,
) -> Result<(), SearchError> {
    let mut found = Vec::new();
    found.extend(reason.map(|r| Found {
        reason: r.word(),
        detail: "{}".to_owned(),
    }));
    let doubtful = doubtful_calls(grade);
    if !doubtful.is_empty() {
        found.push(Found {
            reason: DOUBTFUL_CALL,
            detail: serde_json::to_string(&doubtful)?,
        });
    }
    let other = other_plates::of(&service.store, report.id).await?;
    if let Some(other) = other.filter(|o| o.settled.is_none()) {
        found.push(other_plate(&other)?);
    }
    let alike = alike(service, report, grade).await?;
    for digits in &alike {
        found.push(Found {
            reason: SAME_DIGITS,
            detail: serde_json::to_string(digits)?,
        });
    }
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    attention::write(&mut tx, report.id, &found, now).await?;
    for digits in alike {
        let theirs = SameDigits {
            other: report.id.0,
            ..digits
        };
        let theirs = Found {
            reason: SAME_DIGITS,
            detail: serde_json::to_string(&theirs)?,
        };
        attention::add(&mut tx, ReportId(digits.other), &theirs, now).await?;
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

/// Searches what was graded and not searched, as after a stop between the two. What cannot be searched is logged.
///
/// # Errors
/// When the database does not answer.
pub async fn search_missing(service: &Service) -> Result<(), StoreError> {
    for id in attention::unsearched(&service.store, 10_000).await? {
        let (Some(report), Some(stored)) = (
            reports::one(&service.store, id).await?,
            grades::of(&service.store, id).await?,
        ) else {
            continue;
        };
        let reason = stored.review.as_deref().and_then(Review::from_word);
        let searched = match grade_from(&stored.result) {
            Ok(grade) => search(service, &report, &grade, reason).await,
            Err(error) => Err(error.into()),
        };
        if let Err(error) = searched {
            tracing::warn!(%error, report = id.0, "a report was not searched for reasons to look at it");
        }
    }
    Ok(())
}

/// The reports of other pairs that this one is remarkably like.
async fn alike(service: &Service, report: &Report, grade: &Grade) -> Result<Vec<SameDigits>, SearchError> {
    let of = (report.assignment, report.pair, report.plate);
    let others = attention::others(&service.store, of, OTHERS).await?;
    if others.is_empty() {
        return Ok(Vec::new());
    }
    let assignment = assignments::one(&service.store, report.assignment)
        .await?
        .ok_or(LoadError::Missing("an assignment"))?;
    let exercise = load::exercise(service, assignment.exercise_revision).await?;
    let items: Items = serde_json::from_str(&report.items)?;
    let references = references(grade);
    let plate = report.plate;
    let found = apart(service, move || {
        // Each of the reports with each other one could have been remarked upon.
        let comparisons = others.len() * (others.len() + 1) / 2;
        let mut found = Vec::new();
        for other in &others {
            let bias = if other.plate == plate { None } else { Some(&references) };
            found.extend(like(&exercise, &items, other, bias, comparisons)?);
        }
        Ok::<_, serde_json::Error>(found)
    });
    Ok(found.await.ok_or(SearchError::Stopping)??)
}

type References = BTreeMap<BalloonNo, f64>;

fn references(grade: &Grade) -> References {
    let of = |i: &crate::grading::grade::GradedItem| Some((i.no.clone(), i.reference?));
    grade.items.iter().filter_map(of).collect()
}

/// Two reports side by side, where enough is the same to ask at all. `references` are the first plate's, where the
/// plates are two.
fn like(
    exercise: &Exercise,
    items: &Items,
    other: &Other,
    references: Option<&References>,
    comparisons: usize,
) -> Result<Option<SameDigits>, serde_json::Error> {
    let theirs: Items = serde_json::from_str(&other.items)?;
    let same = items.items.iter().filter(|i| {
        let value = i.measured.as_ref().map(crate::units::Reading::decimal);
        value.is_some()
            && theirs
                .item(&i.no)
                .and_then(|t| t.measured.as_ref().map(crate::units::Reading::decimal))
                == value
    });
    if same.count() < FEWEST {
        return Ok(None);
    }
    let biases: References = match references {
        None => References::new(),
        Some(first) => {
            let second = self::references(&grade_from(&other.result)?);
            let bias = |(no, x): (&BalloonNo, &f64)| Some((no.clone(), x - second.get(no)?));
            first.iter().filter_map(bias).collect()
        }
    };
    let line = |c: &crate::exercise::model::Characteristic| {
        let bias = if references.is_some() { *biases.get(&c.no)? } else { 0.0 };
        let first = items.item(&c.no)?.measured.as_ref()?.decimal();
        let second = theirs.item(&c.no)?.measured.as_ref()?.decimal();
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
    let lines: Vec<Line> = exercise.characteristics.iter().filter_map(line).collect();
    // Noise that makes no distribution says nothing about digits.
    let Ok(compared) = compare(&lines, comparisons) else {
        return Ok(None);
    };
    Ok(
        (compared.is_remarkable() && compared.same.len() >= FEWEST).then_some(SameDigits {
            other: other.report.0,
            same: compared.same.len(),
            of: compared.compared,
            expected: compared.expected_among_all,
        }),
    )
}
