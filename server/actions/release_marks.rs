//! Releases the marks of an assignment to its pairs.

use super::Service;
use crate::store::ids::{AssignmentId, PersonId};
use crate::store::{StoreError, assignments, audit};

/// Releases the marks; whether they were not released before.
///
/// # Errors
/// When the database cannot be written.
pub async fn release_marks(service: &Service, assignment: AssignmentId, by: PersonId) -> Result<bool, StoreError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let released = assignments::release(&mut tx, assignment, now).await?;
    if released {
        let entry = audit::Entry {
            at: now,
            person: Some(by),
            what: "release-marks",
            about: ("assignment", assignment.0),
            detail: serde_json::json!({}),
        };
        audit::write(&mut tx, &entry).await?;
    }
    tx.commit().await?;
    Ok(released)
}
