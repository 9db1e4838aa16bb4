//! What pairs ask about their marks, and the answers.

use super::ids::{PersonId, QueryId, ReportId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// An answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// The words.
    pub text: String,
    /// When.
    pub at: When,
    /// By whom; none where the person's data are deleted.
    pub by: Option<String>,
}

/// One query.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Query {
    /// Row.
    pub id: QueryId,
    /// Balloon number that it is about; none: the whole.
    pub no: Option<String>,
    /// The words.
    pub text: String,
    /// When.
    pub asked_at: When,
    /// By whom; none where the person's data are deleted.
    pub asked_by: Option<String>,
    /// The answer, once there is one.
    pub answer: Option<Answer>,
}

/// The queries of a report, oldest first.
///
/// # Errors
/// When the database does not answer.
pub async fn of(store: &Store, report: ReportId) -> Result<Vec<Query>, StoreError> {
    let rows = sqlx::query!(
        r#"select q.id as "id!", q.no, q.text, q.asked_at as "asked_at: When", p.name as "asked_by?", q.answer,
               q.answered_at as "answered_at: When", w.name as "answered_by?"
           from query q left join person p on p.id = q.asked_by left join person w on w.id = q.answered_by
           where q.report = ? order by q.asked_at, q.id"#,
        report,
    )
    .fetch_all(store.read())
    .await?;
    Ok(rows
        .into_iter()
        .map(|r| {
            let by = r.answered_by;
            Query {
                id: QueryId(r.id),
                no: r.no,
                text: r.text,
                asked_at: r.asked_at,
                asked_by: r.asked_by,
                answer: r.answer.zip(r.answered_at).map(|(text, at)| Answer { text, at, by }),
            }
        })
        .collect())
}

/// Adds one, unless the same words wait for an answer already (a form that was sent twice); whether it was added.
///
/// # Errors
/// When the database cannot be written.
pub async fn ask(
    tx: &mut Tx,
    report: ReportId,
    no: Option<&str>,
    text: &str,
    now: When,
    by: PersonId,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "insert into query (report, no, text, asked_at, asked_by) select ?1, ?2, ?3, ?4, ?5
         where not exists (select 1 from query where report = ?1 and text = ?3 and answer is null)",
        report,
        no,
        text,
        now,
        by,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() > 0)
}

/// Answers one of a report, or changes the answer; whether there is such a query.
///
/// # Errors
/// When the database cannot be written.
pub async fn answer(
    tx: &mut Tx,
    report: ReportId,
    query: QueryId,
    text: &str,
    now: When,
    by: PersonId,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update query set answer = ?, answered_at = ?, answered_by = ? where id = ? and report = ?",
        text,
        now,
        by,
        query,
        report,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() > 0)
}

/// Takes an answer back, so that the query waits again; whether there was one.
///
/// # Errors
/// When the database cannot be written.
pub async fn take_back(tx: &mut Tx, report: ReportId, query: QueryId) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update query set answer = null, answered_at = null, answered_by = null
         where id = ? and report = ? and answer is not null",
        query,
        report,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() > 0)
}

/// How many queries of a report wait for an answer.
///
/// # Errors
/// When the database does not answer.
pub async fn waiting(store: &Store, report: ReportId) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select count(*) as "count!: i64" from query where report = ? and answer is null"#,
        report,
    )
    .fetch_one(store.read())
    .await?)
}
