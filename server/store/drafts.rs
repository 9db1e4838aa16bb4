//! Half-typed reports, one per pair and assignment; both partners' devices write into the same one.

use super::ids::{AssignmentId, PairId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// A draft.
#[derive(Debug, Clone)]
pub struct Draft {
    /// A JSON object of field names and what was typed.
    pub fields: String,
    /// A JSON object of field names and how they came to be what they are.
    pub versions: String,
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
        "select fields, versions, updated_at from draft where assignment = ? and pair = ?",
        assignment,
        pair,
    )
    .fetch_optional(store.read())
    .await?)
}

/// The draft of a pair within a change, so that nobody writes between reading and writing it.
///
/// # Errors
/// When the database does not answer.
pub async fn within(tx: &mut Tx, assignment: AssignmentId, pair: PairId) -> Result<Option<Draft>, StoreError> {
    Ok(sqlx::query_as!(
        Draft,
        "select fields, versions, updated_at from draft where assignment = ? and pair = ?",
        assignment,
        pair,
    )
    .fetch_optional(tx.connection())
    .await?)
}

/// Takes the draft of a pair away.
///
/// # Errors
/// When the database cannot be written.
pub async fn remove(tx: &mut Tx, assignment: AssignmentId, pair: PairId) -> Result<(), StoreError> {
    sqlx::query!("delete from draft where assignment = ? and pair = ?", assignment, pair)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Writes a draft in place of the one before it.
///
/// # Errors
/// When the database cannot be written.
pub async fn put(
    tx: &mut Tx,
    (assignment, pair): (AssignmentId, PairId),
    fields: &str,
    versions: &str,
    now: When,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into draft (assignment, pair, fields, versions, updated_at) values (?, ?, ?, ?, ?)
         on conflict (assignment, pair) do update
         set fields = excluded.fields, versions = excluded.versions, updated_at = excluded.updated_at",
        assignment,
        pair,
        fields,
        versions,
        now,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}
