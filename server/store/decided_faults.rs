//! Decisions on faults, and readings beside the sheet. Rows are only added; the newest that is not taken back counts.

use std::collections::BTreeSet;

use super::ids::{PersonId, ReportId};
use super::when::When;
use super::{Store, StoreError, Tx, json_of};
use crate::grading::decided::{Answer, Decided, Decision, Verdict, kind};
use crate::procedure::fault::Fault;

/// A decision as it is stored.
#[derive(Debug, Clone)]
pub struct DecisionRow {
    /// What was said in one step is taken back in one.
    pub step: i64,
    /// The decision.
    pub decision: Decision,
}

/// A reading as it is stored.
#[derive(Debug, Clone)]
pub struct AnswerRow {
    /// Row.
    pub id: i64,
    /// The reading.
    pub answer: Answer,
    /// When.
    pub at: When,
    /// By whom; none where the person's data are deleted.
    pub by: Option<String>,
}

/// All of a report that is not taken back, oldest first.
#[derive(Debug, Clone, Default)]
pub struct Kept {
    /// Decisions.
    pub decisions: Vec<DecisionRow>,
    /// Readings.
    pub answers: Vec<AnswerRow>,
}

impl Kept {
    /// What a grade is computed from: the last word on each fault, the last answer to each question.
    #[must_use]
    pub fn decided(&self) -> Decided {
        let mut decided = Decided::default();
        for row in &self.decisions {
            decided
                .decisions
                .retain(|d| kind(&d.fault) != kind(&row.decision.fault));
            decided.decisions.push(row.decision.clone());
        }
        for row in &self.answers {
            decided.answers.retain(|a| a.extra != row.answer.extra);
            decided.answers.push(row.answer.clone());
        }
        decided
    }
}

fn unreadable(what: &'static str, found: &str) -> StoreError {
    StoreError::Unreadable {
        what,
        found: found.chars().take(40).collect(),
    }
}

/// Those of the reports of which anything is decided or answered.
///
/// # Errors
/// When the database does not answer.
pub async fn reports(store: &Store, among: &[ReportId]) -> Result<BTreeSet<ReportId>, StoreError> {
    let among = json_of("reports", among)?;
    let ids = sqlx::query_scalar!(
        r#"select id as "report!: i64" from report where id in (select value from json_each(?))
           and (exists (select 1 from fault_decision f where f.report = report.id and f.undone_at is null)
               or exists (select 1 from check_answer c where c.report = report.id and c.undone_at is null))"#,
        among
    )
    .fetch_all(store.read())
    .await?;
    Ok(ids.into_iter().map(ReportId).collect())
}

/// What was decided and answered of a report.
///
/// # Errors
/// When the database does not answer or a row has another form than this version's.
pub async fn of(store: &Store, report: ReportId) -> Result<Kept, StoreError> {
    let decisions = sqlx::query!(
        "select step, fault, verdict, amount_given from fault_decision
         where report = ? and undone_at is null order by id",
        report,
    )
    .fetch_all(store.read())
    .await?;
    let answers = sqlx::query!(
        r#"select a.id as "id!", a.reading, a.value, a.answered_at as "answered_at: When", p.name as "by?"
           from check_answer a left join person p on p.id = a.answered_by
           where a.report = ? and a.undone_at is null order by a.id"#,
        report,
    )
    .fetch_all(store.read())
    .await?;
    let decision = |r: _| -> Result<DecisionRow, StoreError> {
        let (step, fault, verdict, given): (i64, String, String, i64) = r;
        let fault: Fault = serde_json::from_str(&fault).map_err(|_| unreadable("a fault", &fault))?;
        let verdict = match verdict.as_str() {
            "confirmed" => Verdict::Confirmed,
            _ => Verdict::Rejected,
        };
        Ok(DecisionRow {
            step,
            decision: Decision {
                fault,
                verdict,
                amount_given: given != 0,
            },
        })
    };
    let decisions = decisions
        .into_iter()
        .map(|r| decision((r.step, r.fault, r.verdict, r.amount_given)));
    let answers = answers.into_iter().map(|r| {
        let extra = r.reading.parse().map_err(|_| unreadable("a reading", &r.reading))?;
        let reading = r.value.parse().map_err(|_| unreadable("a reading", &r.value))?;
        Ok(AnswerRow {
            id: r.id,
            answer: Answer { extra, reading },
            at: r.answered_at,
            by: r.by,
        })
    });
    Ok(Kept {
        decisions: decisions.collect::<Result<_, _>>()?,
        answers: answers.collect::<Result<_, StoreError>>()?,
    })
}

/// Adds decisions as one step.
///
/// # Errors
/// When the database cannot be written.
pub async fn decide(
    tx: &mut Tx,
    report: ReportId,
    decisions: &[Decision],
    now: When,
    by: PersonId,
) -> Result<(), StoreError> {
    let step = sqlx::query_scalar!(
        r#"select coalesce(max(step), 0) + 1 as "step!: i64" from fault_decision where report = ?"#,
        report
    )
    .fetch_one(tx.connection())
    .await?;
    for d in decisions {
        let fault = json_of("a fault", &d.fault)?;
        let verdict = match d.verdict {
            Verdict::Confirmed => "confirmed",
            Verdict::Rejected => "rejected",
        };
        let given = i64::from(d.amount_given);
        sqlx::query!(
            "insert into fault_decision (report, step, fault, verdict, amount_given, made_at, made_by)
             values (?, ?, ?, ?, ?, ?, ?)",
            report,
            step,
            fault,
            verdict,
            given,
            now,
            by,
        )
        .execute(tx.connection())
        .await?;
    }
    Ok(())
}

/// Takes a step back; whether there was one.
///
/// # Errors
/// When the database cannot be written.
pub async fn take_back(tx: &mut Tx, report: ReportId, step: i64, now: When) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update fault_decision set undone_at = ? where report = ? and step = ? and undone_at is null",
        now,
        report,
        step,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() > 0)
}

/// Adds a reading.
///
/// # Errors
/// When the database cannot be written.
pub async fn answer(tx: &mut Tx, report: ReportId, answer: &Answer, now: When, by: PersonId) -> Result<(), StoreError> {
    let (reading, value) = (answer.extra.to_string(), answer.reading.as_str());
    sqlx::query!(
        "insert into check_answer (report, reading, value, answered_at, answered_by) values (?, ?, ?, ?, ?)",
        report,
        reading,
        value,
        now,
        by,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Takes a reading back; whether it was there.
///
/// # Errors
/// When the database cannot be written.
pub async fn take_answer_back(tx: &mut Tx, report: ReportId, id: i64, now: When) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update check_answer set undone_at = ? where report = ? and id = ? and undone_at is null",
        now,
        report,
        id,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() > 0)
}
