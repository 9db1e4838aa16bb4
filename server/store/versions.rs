//! What a form was made from, as a short word: a digest of the stored values that the form changes. The page carries it, and
//! the change compares it again within its own transaction, so that of two people who change the same thing the second is told.

use sha2::{Digest, Sha256};
use sqlx::sqlite::SqliteConnection;

use super::ids::{AssignmentId, ClassId, PlateId};
use super::{Store, StoreError, Tx};
use crate::units::hex;

/// What several people may change at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Thing {
    /// Times and rules of an assignment.
    Assignment(AssignmentId),
    /// Weights and drops of a class.
    Gradebook(ClassId),
    /// Label and place of a plate.
    Place(PlateId),
}

/// The word for what stands now.
///
/// # Errors
/// When the database does not answer.
pub async fn now(store: &Store, thing: Thing) -> Result<String, StoreError> {
    let mut connection = store.read().acquire().await?;
    of(&mut connection, thing).await
}

/// Whether a form may change a thing: it was made from what stands, as the change in progress sees it. A program that sends
/// no word asks for no comparison.
///
/// # Errors
/// When the database does not answer.
pub async fn still(tx: &mut Tx, thing: Thing, seen: &str) -> Result<bool, StoreError> {
    Ok(seen.is_empty() || of(tx.connection(), thing).await? == seen)
}

async fn of(connection: &mut SqliteConnection, thing: Thing) -> Result<String, StoreError> {
    let stands = match thing {
        Thing::Assignment(id) => sqlx::query_scalar!(
            r#"select json_array(title, opens_at, due_at, attempts, counting, late_grace_minutes, late_percent_per_day,
                       late_floor_percent, marks_override, feedback) as "stands!: String"
                   from assignment where id = ?"#,
            id,
        )
        .fetch_one(connection)
        .await?,
        Thing::Gradebook(class) => {
            sqlx::query_scalar!(
                r#"select json_array((select drops from gradebook_rule where class = ?1),
                       (select json_group_array(json_array(assignment, weight, wants_evidence)) from
                           (select c.assignment, c.weight, c.wants_evidence from gradebook_column c
                            join assignment a on a.id = c.assignment where a.class = ?1 order by c.assignment)))
                   as "stands!: String""#,
                class,
            )
            .fetch_one(connection)
            .await?
        }
        Thing::Place(plate) => {
            sqlx::query_scalar!(
                r#"select json_array(label, place) as "stands!: String" from plate where id = ?"#,
                plate,
            )
            .fetch_one(connection)
            .await?
        }
    };
    Ok(hex(&Sha256::digest(stands.as_bytes())[..8]))
}
