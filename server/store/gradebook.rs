//! All marks of a class in one aggregated row: a statement costs a hop between threads, so one fat one.

use serde::Deserialize;

use super::ids::{AssignmentId, ClassId, PairId, ReportId};
use super::when::When;
use super::{Store, StoreError};

/// One report as far as the gradebook needs it. The order of the fields is that of the query.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Cell {
    /// Assignment.
    pub assignment: AssignmentId,
    /// Pair.
    pub pair: PairId,
    /// Report.
    pub report: ReportId,
    /// Attempt.
    pub attempt: i64,
    /// When it was handed in.
    pub handed_in_at: When,
    /// Mark before the late rule.
    pub mark: Option<String>,
    /// Why a person should look at it first.
    pub review: Option<String>,
    /// Whether a grade has been computed.
    pub graded: i64,
}

/// Every report of a class, by assignment, pair and attempt.
///
/// # Errors
/// When the database does not answer or the row cannot be read.
pub async fn of_class(store: &Store, class: ClassId) -> Result<Vec<Cell>, StoreError> {
    let cells = sqlx::query_scalar!(
        r#"select coalesce(json_group_array(json_array(assignment, pair, report, attempt, handed_in_at, mark, review,
               graded)), '[]') as "cells!: String"
           from (select r.assignment as assignment, r.pair as pair, r.id as report, r.attempt as attempt,
                     r.handed_in_at as handed_in_at, g.mark as mark, g.review as review, g.report is not null as graded
                 from assignment a join report r on r.assignment = a.id
                 left join grade g on g.report = r.id and g.superseded_at is null
                 where a.class = ? order by r.assignment, r.pair, r.attempt)"#,
        class,
    )
    .fetch_one(store.read())
    .await?;
    serde_json::from_str(&cells).map_err(|_| StoreError::Unreadable {
        what: "the gradebook",
        found: cells.chars().take(120).collect(),
    })
}
