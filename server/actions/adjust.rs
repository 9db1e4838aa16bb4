//! Gives one student of a pair more or fewer points than the pair, with a reason.

use rust_decimal::Decimal;
use thiserror::Error;

use super::Service;
use super::review::{Wrong, words};
use crate::store::ids::{AdjustmentId, AssignmentId, PersonId};
use crate::store::{StoreError, adjustments, audit, gradebook};

/// Why nothing was adjusted.
#[derive(Debug, Error)]
pub enum AdjustError {
    /// The points.
    #[error("points are a number from -100 to 100 with at most one decimal, and not 0")]
    Points,
    /// The reason.
    #[error(transparent)]
    Wrong(#[from] Wrong),
    /// The student is not in the class.
    #[error("there is no such student in this class")]
    NoStudent,
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Points as typed: with a point or a comma, and either minus.
///
/// # Errors
/// When they are none.
pub fn points(text: &str) -> Result<Decimal, AdjustError> {
    let text = text.trim().replace(',', ".").replace(crate::units::MINUS, "-");
    let text = text.strip_prefix('+').unwrap_or(&text);
    let points: Decimal = text.parse().map_err(|_| AdjustError::Points)?;
    let points = points.normalize();
    if points.is_zero() || points.scale() > 1 || points.abs() > Decimal::ONE_HUNDRED {
        return Err(AdjustError::Points);
    }
    Ok(points)
}

/// Adjusts the mark of one student of the class of an assignment.
///
/// # Errors
/// When the student is not in the class, the reason is missing, or the database cannot be written.
pub async fn adjust(
    service: &Service,
    assignment: AssignmentId,
    student: PersonId,
    points: Decimal,
    reason: &str,
    by: PersonId,
) -> Result<AdjustmentId, AdjustError> {
    let reason = words(reason)?;
    if !gradebook::has_student(&service.store, assignment, student).await? {
        return Err(AdjustError::NoStudent);
    }
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let id = adjustments::add(&mut tx, (assignment, student), points, &reason, now, by).await?;
    let detail = serde_json::json!({ "person": student, "points": points.to_string(), "reason": reason });
    audit::note(
        &mut tx,
        ("assignment", assignment.0),
        "adjust",
        by,
        service.clock.now(),
        detail,
    )
    .await?;
    tx.commit().await?;
    Ok(id)
}

/// Takes an adjustment back.
///
/// # Errors
/// When it does not count any more, or the database cannot be written.
pub async fn take_back(
    service: &Service,
    assignment: AssignmentId,
    adjustment: AdjustmentId,
    by: PersonId,
) -> Result<(), AdjustError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    if !adjustments::undo(&mut tx, assignment, adjustment, now, by).await? {
        return Err(Wrong::Gone.into());
    }
    let detail = serde_json::json!({ "adjustment": adjustment });
    audit::note(
        &mut tx,
        ("assignment", assignment.0),
        "take-adjustment-back",
        by,
        service.clock.now(),
        detail,
    )
    .await?;
    Ok(tx.commit().await?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_as_typed() {
        for (text, wanted) in [
            ("+5", Some("5")),
            ("-2,5", Some("-2.5")),
            ("\u{2212}3", Some("-3")),
            ("0", None),
            ("101", None),
            ("1.25", None),
            ("five", None),
        ] {
            let wanted: Option<Decimal> = wanted.map(|w| w.parse().unwrap());
            assert_eq!(points(text).ok(), wanted, "{text}");
        }
    }
}
