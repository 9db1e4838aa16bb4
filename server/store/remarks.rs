//! Words to a pair about its report.

use super::ids::{PersonId, RemarkId, ReportId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// One remark that stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remark {
    /// Row.
    pub id: RemarkId,
    /// The words.
    pub text: String,
    /// When.
    pub made_at: When,
    /// By whom; none where the person's data are deleted.
    pub made_by: Option<String>,
}

/// The remarks of a report that were not withdrawn, oldest first.
///
/// # Errors
/// When the database does not answer.
pub async fn of(store: &Store, report: ReportId) -> Result<Vec<Remark>, StoreError> {
    let rows = sqlx::query!(
        r#"select r.id as "id!", r.text, r.made_at as "made_at: When", p.name as "made_by?"
           from remark r left join person p on p.id = r.made_by
           where r.report = ? and r.withdrawn_at is null order by r.made_at, r.id"#,
        report,
    )
    .fetch_all(store.read())
    .await?;
    Ok(rows
        .into_iter()
        .map(|r| Remark {
            id: RemarkId(r.id),
            text: r.text,
            made_at: r.made_at,
            made_by: r.made_by,
        })
        .collect())
}

/// Adds one.
///
/// # Errors
/// When the database cannot be written.
pub async fn add(tx: &mut Tx, report: ReportId, text: &str, now: When, by: PersonId) -> Result<RemarkId, StoreError> {
    let id = sqlx::query_scalar!(
        r#"insert into remark (report, text, made_at, made_by) values (?, ?, ?, ?) returning id as "id!""#,
        report,
        text,
        now,
        by,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(RemarkId(id))
}

/// Withdraws one of a report; whether that changed anything.
///
/// # Errors
/// When the database cannot be written.
pub async fn withdraw(tx: &mut Tx, report: ReportId, remark: RemarkId, now: When) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update remark set withdrawn_at = ? where id = ? and report = ? and withdrawn_at is null",
        now,
        remark,
        report,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() > 0)
}
