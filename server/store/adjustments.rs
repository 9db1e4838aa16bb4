//! Points that one student of a pair has more or fewer than the pair.

use rust_decimal::Decimal;

use super::ids::{AdjustmentId, AssignmentId, PersonId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// One adjustment that counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Adjustment {
    /// Row.
    pub id: AdjustmentId,
    /// Whose.
    pub person: PersonId,
    /// Name of that person.
    pub name: String,
    /// More or fewer.
    pub points: Decimal,
    /// Why.
    pub reason: String,
}

/// Points as stored.
pub(super) fn points(text: &str) -> Result<Decimal, StoreError> {
    text.parse().map_err(|_| StoreError::Unreadable {
        what: "points of a student",
        found: text.chars().take(40).collect(),
    })
}

/// The adjustments of an assignment that count, by name.
///
/// # Errors
/// When the database does not answer or points are no number.
pub async fn of_assignment(store: &Store, assignment: AssignmentId) -> Result<Vec<Adjustment>, StoreError> {
    let rows = sqlx::query!(
        r#"select a.id as "id!", a.person, p.name, a.points, a.reason
           from adjustment a join person p on p.id = a.person
           where a.assignment = ? and a.undone_at is null order by p.name, a.id"#,
        assignment,
    )
    .fetch_all(store.read())
    .await?;
    rows.into_iter()
        .map(|r| {
            Ok(Adjustment {
                id: AdjustmentId(r.id),
                person: PersonId(r.person),
                name: r.name,
                points: points(&r.points)?,
                reason: r.reason,
            })
        })
        .collect()
}

/// Adds one.
///
/// # Errors
/// When the database cannot be written.
pub async fn add(
    tx: &mut Tx,
    (assignment, person): (AssignmentId, PersonId),
    points: Decimal,
    reason: &str,
    now: When,
    by: PersonId,
) -> Result<AdjustmentId, StoreError> {
    let points = points.to_string();
    let id = sqlx::query_scalar!(
        r#"insert into adjustment (assignment, person, points, reason, made_at, made_by)
           values (?, ?, ?, ?, ?, ?) returning id as "id!""#,
        assignment,
        person,
        points,
        reason,
        now,
        by,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(AdjustmentId(id))
}

/// Takes one of an assignment back; whether it counted until now.
///
/// # Errors
/// When the database cannot be written.
pub async fn undo(
    tx: &mut Tx,
    assignment: AssignmentId,
    adjustment: AdjustmentId,
    now: When,
    by: PersonId,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update adjustment set undone_at = ?, undone_by = ? where id = ? and assignment = ? and undone_at is null",
        now,
        by,
        adjustment,
        assignment,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() > 0)
}
