//! Half-typed reports, one per pair and assignment; both partners' devices write into the same one.

use super::ids::{AssignmentId, PairId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// A draft.
#[derive(Debug, Clone)]
pub struct Draft {
    /// A JSON object of field names and what was typed.
    pub fields: String,
    /// When it was last changed.
    pub updated_at: When,
}

/// The draft of a pair.
///
/// # Errors
/// When the database does not answer.
pub async fn of(store: &Store, assignment: AssignmentId, pair: PairId) -> Result<Option<Draft>, StoreError> {
    Ok(sqlx::query_as!(
        Draft,
        "select fields, updated_at from draft where assignment = ? and pair = ?",
        assignment,
        pair,
    )
    .fetch_optional(store.read())
    .await?)
}

/// Lays changed fields (a JSON object) over the draft; fields that are not among them stay as they are.
///
/// # Errors
/// When the database cannot be written.
pub async fn merge(
    tx: &mut Tx,
    assignment: AssignmentId,
    pair: PairId,
    changed: &str,
    now: When,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into draft (assignment, pair, fields, updated_at) values (?, ?, ?, ?)
         on conflict (assignment, pair) do update
         set fields = json_patch(fields, excluded.fields), updated_at = excluded.updated_at",
        assignment,
        pair,
        changed,
        now,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}
