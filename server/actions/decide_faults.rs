//! The instructor's word on the faults of a report, and the pair's answer to the one check. The report is graded again
//! with it.

use thiserror::Error;

use super::Service;
use super::grade_report::{GradeError, compute, grade_report};
use crate::exercise::model::Exercise;
use crate::grading::decided::{Answer, Decision, Verdict, kind};
use crate::grading::extra::Extra;
use crate::grading::grade::Grade;
use crate::grading::words;
use crate::procedure::fault::MOST_FAULTS;
use crate::store::ids::{PersonId, ReportId};
use crate::store::{StoreError, audit, decided_faults, grades};
use crate::units::Reading;

/// Why nothing was decided.
#[derive(Debug, Error)]
pub enum DecideError {
    /// These faults cannot all have happened to this report.
    #[error(
        "These numbers cannot have come about like that: a fault speaks of a value that is not there, or two of them of the same value."
    )]
    NotPossible,
    /// More than are combined.
    #[error("There are three faults at most. Reject one of the others first.")]
    TooMany,
    /// There is no such step or answer any more.
    #[error("That was taken back already.")]
    Gone,
    /// The check is not the one that is asked for.
    #[error("This reading is not asked for any more.")]
    NotAsked,
    /// The report could not be graded.
    #[error(transparent)]
    Grade(#[from] GradeError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Says something of faults, in one step that can be taken back in one. Nothing is stored where the report cannot have come
/// about like that.
///
/// # Errors
/// When the faults do not go together, or the database cannot be written.
pub async fn decide(
    service: &Service,
    report: ReportId,
    exercise: &Exercise,
    decisions: &[Decision],
    by: PersonId,
) -> Result<(), DecideError> {
    let mut after = decided_faults::of(&service.store, report).await?.decided();
    for d in decisions {
        after.decisions.retain(|e| kind(&e.fault) != kind(&d.fault));
        after.decisions.push(d.clone());
    }
    let confirmed = after
        .decisions
        .iter()
        .filter(|d| d.verdict == Verdict::Confirmed)
        .count();
    if confirmed > MOST_FAULTS {
        return Err(DecideError::TooMany);
    }
    let grade = compute(service, report, Some(after)).await?.grade;
    if grade.diagnosis.decided.iter().any(|d| !d.applied) {
        return Err(DecideError::NotPossible);
    }
    let said = |verdict: Verdict| -> Vec<String> {
        let of = decisions.iter().filter(|d| d.verdict == verdict);
        of.map(|d| words::title(exercise, &d.fault)).collect()
    };
    let detail = serde_json::json!({
        "confirmed": said(Verdict::Confirmed),
        "rejected": said(Verdict::Rejected),
        "mark": grade.marks.r#final.map(|m| m.to_string()),
    });
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    decided_faults::decide(&mut tx, report, decisions, now, by).await?;
    grades::set_due(&mut tx, report).await?;
    let entry = audit::Entry {
        at: now,
        person: Some(by),
        what: "decide-faults",
        about: ("report", report.0),
        detail,
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    grade_report(service, report).await?;
    Ok(())
}

/// Takes back what was said of faults in one step.
///
/// # Errors
/// When it was taken back already, or the database cannot be written.
pub async fn take_back(service: &Service, report: ReportId, step: i64, by: PersonId) -> Result<(), DecideError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    if !decided_faults::take_back(&mut tx, report, step, now).await? {
        return Err(DecideError::Gone);
    }
    grades::set_due(&mut tx, report).await?;
    let entry = audit::Entry {
        at: now,
        person: Some(by),
        what: "take-back-faults",
        about: ("report", report.0),
        detail: serde_json::json!({ "step": step }),
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    grade_report(service, report).await?;
    Ok(())
}

/// Takes the reading that is asked for. It is evidence for the diagnosis and no part of the mark.
///
/// # Errors
/// When another reading is asked for by now, or the database cannot be written.
pub async fn answer(
    service: &Service,
    report: ReportId,
    asked: Option<&Extra>,
    answer: &Answer,
    by: PersonId,
) -> Result<Grade, DecideError> {
    if asked != Some(&answer.extra) {
        return Err(DecideError::NotAsked);
    }
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    decided_faults::answer(&mut tx, report, answer, now, by).await?;
    grades::set_due(&mut tx, report).await?;
    let entry = audit::Entry {
        at: now,
        person: Some(by),
        what: "answer-check",
        about: ("report", report.0),
        detail: serde_json::json!({ "reading": answer.extra.to_string(), "value": answer.reading.as_str() }),
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    Ok(grade_report(service, report).await?)
}

/// Takes a reading back, as one that was mistyped.
///
/// # Errors
/// When it is not there any more, or the database cannot be written.
pub async fn take_answer_back(service: &Service, report: ReportId, id: i64, by: PersonId) -> Result<(), DecideError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    if !decided_faults::take_answer_back(&mut tx, report, id, now).await? {
        return Err(DecideError::Gone);
    }
    grades::set_due(&mut tx, report).await?;
    let entry = audit::Entry {
        at: now,
        person: Some(by),
        what: "take-back-check",
        about: ("report", report.0),
        detail: serde_json::json!({}),
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    grade_report(service, report).await?;
    Ok(())
}

/// Digits of a reading that anyone types.
const LONGEST: usize = 24;

/// A reading as it is typed on a phone: a comma will do.
///
/// # Errors
/// With how to mend it.
pub fn reading_of(text: &str) -> Result<Reading, String> {
    let text = text.trim().replace(',', ".").replace('\u{2212}', "-");
    let mend = || "Type the number that the display shows, as in 12.345.".to_owned();
    if text.len() > LONGEST {
        return Err(mend());
    }
    text.parse().map_err(|_| mend())
}
