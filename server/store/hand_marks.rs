//! Points of lines that the instructor marks by hand.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::ids::{PersonId, ReportId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// Points by line of one report.
///
/// # Errors
/// When the database does not answer or the points are no number.
pub async fn of(store: &Store, report: ReportId) -> Result<BTreeMap<String, Decimal>, StoreError> {
    let rows = sqlx::query!("select line, points from hand_mark where report = ?", report)
        .fetch_all(store.read())
        .await?;
    rows.into_iter()
        .map(|r| {
            let unreadable = |_| StoreError::Unreadable {
                what: "points of a line",
                found: r.points.chars().take(40).collect(),
            };
            Ok((r.line, r.points.parse().map_err(unreadable)?))
        })
        .collect()
}

/// Gives points for a line, in place of those before.
///
/// # Errors
/// When the database cannot be written.
pub async fn set(
    tx: &mut Tx,
    report: ReportId,
    line: &str,
    points: Decimal,
    now: When,
    by: PersonId,
) -> Result<(), StoreError> {
    let points = points.to_string();
    sqlx::query!(
        "insert into hand_mark (report, line, points, marked_at, marked_by) values (?, ?, ?, ?, ?)
         on conflict (report, line) do update
         set points = excluded.points, marked_at = excluded.marked_at, marked_by = excluded.marked_by",
        report,
        line,
        points,
        now,
        by,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}
