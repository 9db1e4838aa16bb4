//! What is there already of reports and grades that are about to be stored: all of it in one row, since a statement costs a hop
//! between threads.

use super::grades::NewGrade;
use super::ids::ReportId;
use super::reports::NewReport;
use super::{StoreError, Tx, json_of, of_json};

/// What cannot be read, should it be so.
const BEFORE: &str = "what is there before a report";

/// What there is.
#[derive(Debug, Default)]
pub(super) struct Before {
    /// For each report, how many attempts its pair has used.
    pub(super) attempts: Vec<i64>,
    /// Whether a pair that hands in has a draft of it.
    pub(super) drafts: bool,
    /// Reports that have a grade, of those that are to get their first.
    pub(super) graded: Vec<ReportId>,
    /// The highest number that a report has or had.
    pub(super) last: i64,
}

impl Before {
    /// Before these. One report alone finds out by its own statement, and grades that are not first ones take a place whatever is
    /// there.
    ///
    /// # Errors
    /// When the database does not answer.
    pub(super) async fn of(tx: &mut Tx, reports: &[&NewReport], grades: &[&NewGrade]) -> Result<Self, StoreError> {
        if reports.len() < 2 && !grades.iter().any(|g| g.is_first) {
            return Ok(Self::default());
        }
        let pairs: Vec<_> = reports.iter().map(|r| (r.assignment, r.pair)).collect();
        let firsts: Vec<_> = grades.iter().filter(|g| g.is_first).map(|g| g.report).collect();
        let (pairs, firsts) = (json_of("pairs", &pairs)?, json_of("reports", &firsts)?);
        let row = sqlx::query!(
            r#"select
                   (select json_group_array(coalesce((select max(r.attempt) from report r
                        where r.assignment = j.value ->> 0 and r.pair = j.value ->> 1), 0) order by j.key)
                    from json_each(?1) j) as "attempts!: String",
                   exists (select 1 from json_each(?1) j cross join draft d
                        on d.assignment = j.value ->> 0 and d.pair = j.value ->> 1) as "drafts!: bool",
                   (select json_group_array(g.report) from json_each(?2) j cross join grade g
                        on g.report = j.value and g.superseded_at is null) as "graded!: String",
                   (select max(coalesce((select max(id) from report), 0), l.id) from report_last l) as "last!: i64""#,
            pairs,
            firsts,
        )
        .fetch_one(tx.connection())
        .await?;
        Ok(Self {
            attempts: of_json(BEFORE, &row.attempts)?,
            drafts: row.drafts,
            graded: of_json(BEFORE, &row.graded)?,
            last: row.last,
        })
    }
}
