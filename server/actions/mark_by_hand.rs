//! Gives points for the lines of a report that are marked by hand, and grades it again.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use thiserror::Error;

use super::Service;
use super::grade_report::{GradeError, grade_report};
use crate::exercise::model::MarksLine;
use crate::store::ids::{PersonId, ReportId};
use crate::store::{StoreError, audit, grades, hand_marks};

/// Why no points were given.
#[derive(Debug, Error)]
pub enum HandMarkError {
    /// More than the line has, or less than nothing.
    #[error("`{line}` has {most} points at most")]
    OutOfRange {
        /// Which line.
        line: String,
        /// What it has.
        most: Decimal,
    },
    /// There is no such line.
    #[error("there is no line `{0}`")]
    NoSuchLine(String),
    /// The points are kept, but the report could not be graded again.
    #[error(transparent)]
    Grade(#[from] GradeError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Gives points, by name of the line; lines that are not named keep theirs.
///
/// # Errors
/// When a line or its points do not exist, or the database cannot be written.
pub async fn mark_by_hand(
    service: &Service,
    report: ReportId,
    lines: &[MarksLine],
    points: &BTreeMap<String, Decimal>,
    by: PersonId,
) -> Result<(), HandMarkError> {
    for (name, given) in points {
        let line = lines.iter().find(|l| l.name == *name);
        let line = line.ok_or_else(|| HandMarkError::NoSuchLine(name.clone()))?;
        if !(Decimal::ZERO..=line.points).contains(given) {
            return Err(HandMarkError::OutOfRange {
                line: name.clone(),
                most: line.points,
            });
        }
    }
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    for (name, given) in points {
        hand_marks::set(&mut tx, report, name, *given, now, by).await?;
    }
    grades::set_due(&mut tx, report).await?;
    let detail = serde_json::json!({ "points": points });
    let about = ("report", report.0);
    let entry = audit::Entry {
        at: now,
        person: Some(by),
        what: "mark-by-hand",
        about,
        detail,
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    grade_report(service, report).await?;
    Ok(())
}
