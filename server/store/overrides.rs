//! Marks that a person set in place of computed ones: one counts at a time, and each can be taken back.

use rust_decimal::Decimal;

use super::ids::{AssignmentId, OverrideId, PersonId, ReportId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// A mark that a person set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Override {
    /// Row.
    pub id: OverrideId,
    /// 0 to 100.
    pub mark: Decimal,
    /// Why.
    pub reason: String,
    /// When.
    pub made_at: When,
    /// By whom; none where the person's data are deleted.
    pub made_by: Option<String>,
}

/// The one that counts for a report.
///
/// # Errors
/// When the database does not answer or the mark is no number.
pub async fn of(store: &Store, report: ReportId) -> Result<Option<Override>, StoreError> {
    let row = sqlx::query!(
        r#"select o.id as "id!", o.mark, o.reason, o.made_at as "made_at: When", p.name as "made_by?"
           from mark_override o left join person p on p.id = o.made_by
           where o.report = ? and o.undone_at is null"#,
        report,
    )
    .fetch_optional(store.read())
    .await?;
    row.map(|r| {
        let unreadable = |_| StoreError::Unreadable {
            what: "a mark that was set",
            found: r.mark.chars().take(40).collect(),
        };
        Ok(Override {
            id: OverrideId(r.id),
            mark: r.mark.parse().map_err(unreadable)?,
            reason: r.reason,
            made_at: r.made_at,
            made_by: r.made_by,
        })
    })
    .transpose()
}

/// The marks that count in place of computed ones, of an assignment.
///
/// # Errors
/// When the database does not answer or a mark is no number.
pub async fn of_assignment(store: &Store, assignment: AssignmentId) -> Result<Vec<(ReportId, Decimal)>, StoreError> {
    let rows = sqlx::query!(
        r#"select o.report as "report!: ReportId", o.mark from report r join mark_override o on o.report = r.id
           where r.assignment = ? and o.undone_at is null"#,
        assignment,
    )
    .fetch_all(store.read())
    .await?;
    rows.into_iter()
        .map(|r| {
            let unreadable = |_| StoreError::Unreadable {
                what: "a mark that was set",
                found: r.mark.chars().take(40).collect(),
            };
            Ok((r.report, r.mark.parse().map_err(unreadable)?))
        })
        .collect()
}

/// Sets a mark in place of the one before it.
///
/// # Errors
/// When the database cannot be written.
pub async fn set(
    tx: &mut Tx,
    report: ReportId,
    mark: Decimal,
    reason: &str,
    now: When,
    by: PersonId,
) -> Result<OverrideId, StoreError> {
    undo(tx, report, now, by).await?;
    let mark = mark.to_string();
    let id = sqlx::query_scalar!(
        r#"insert into mark_override (report, mark, reason, made_at, made_by) values (?, ?, ?, ?, ?) returning id as "id!""#,
        report,
        mark,
        reason,
        now,
        by,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(OverrideId(id))
}

/// Takes the set mark back; whether there was one.
///
/// # Errors
/// When the database cannot be written.
pub async fn undo(tx: &mut Tx, report: ReportId, now: When, by: PersonId) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update mark_override set undone_at = ?, undone_by = ? where report = ? and undone_at is null",
        now,
        by,
        report,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() > 0)
}
