//! Rounds of careful measurement. For instructors' pages only: what is read here tells what a plate is.

use super::ids::{PersonId, PlateId, RoundId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// A round that is about to be stored.
#[derive(Debug, Clone)]
pub struct NewRound<'a> {
    /// Plate.
    pub plate: PlateId,
    /// Day, as in 2026-11-03.
    pub measured_on: &'a str,
    /// Who measured.
    pub operator: &'a str,
    /// On which machine.
    pub machine: &'a str,
    /// Degrees Celsius; empty where not written down.
    pub temperature: &'a str,
    /// Anything else.
    pub remark: &'a str,
    /// Readings by balloon number as JSON.
    pub readings: &'a str,
    /// When it was typed.
    pub at: When,
    /// By whom.
    pub by: PersonId,
}

/// A stored round.
#[derive(Debug, Clone)]
pub struct Round {
    /// Row.
    pub id: RoundId,
    /// Day.
    pub measured_on: String,
    /// Who measured.
    pub operator: String,
    /// On which machine.
    pub machine: String,
    /// Degrees Celsius; empty where not written down.
    pub temperature: String,
    /// Anything else.
    pub remark: String,
    /// Readings by balloon number as JSON.
    pub readings: String,
    /// When it was left out; none: it counts.
    pub left_out_at: Option<When>,
    /// Why.
    pub left_out_why: String,
}

/// The rounds of a plate by day.
///
/// # Errors
/// When the database does not answer.
pub async fn of(store: &Store, plate: PlateId) -> Result<Vec<Round>, StoreError> {
    Ok(sqlx::query_as!(
        Round,
        r#"select id as "id!: RoundId", measured_on, operator, machine, temperature, remark, readings,
               left_out_at as "left_out_at?: When", left_out_why
           from reference_round where plate = ? order by measured_on, id"#,
        plate,
    )
    .fetch_all(store.read())
    .await?)
}

/// Adds a round.
///
/// # Errors
/// When the database cannot be written.
pub async fn add(tx: &mut Tx, new: &NewRound<'_>) -> Result<RoundId, StoreError> {
    let id = sqlx::query_scalar!(
        r#"insert into reference_round (plate, measured_on, operator, machine, temperature, remark, readings, entered_at,
               entered_by) values (?, ?, ?, ?, ?, ?, ?, ?, ?) returning id as "id!""#,
        new.plate,
        new.measured_on,
        new.operator,
        new.machine,
        new.temperature,
        new.remark,
        new.readings,
        new.at,
        new.by,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(RoundId(id))
}

/// Leaves a round of a plate out with a reason, or takes it in again with none; false where there is no such round.
///
/// # Errors
/// When the database cannot be written.
pub async fn leave_out(
    tx: &mut Tx,
    plate: PlateId,
    round: RoundId,
    at: Option<When>,
    why: &str,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update reference_round set left_out_at = ?, left_out_why = ? where id = ? and plate = ?",
        at,
        why,
        round,
        plate,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() > 0)
}
