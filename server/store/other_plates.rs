//! Reports on another plate than the pair was given, and what the instructor said of them.

use super::audit;
use super::ids::{AssignmentId, ExerciseRevisionId, PairId, PersonId, PlateId, ReportId};
use super::when::When;
use super::{Store, StoreError, Tx, json_of};

/// What the instructor said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "snake_case")]
pub enum Settled {
    /// The report counts as it is.
    Counts,
    /// It does not, and the pair has the attempt once more.
    Not,
}

/// The plates of a report that is about to be stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    /// The plate that the pair was given.
    pub given: PlateId,
    /// Serials for the trail: measured, given.
    pub serials: (String, String),
}

/// A report on another plate.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OtherPlate {
    /// Report.
    pub report: ReportId,
    /// Whose.
    pub pair: PairId,
    /// Serial of the plate that was measured.
    pub measured: String,
    /// Row of it.
    pub plate: PlateId,
    /// Serial of the plate that the pair was given.
    pub given: String,
    /// What the instructor said; none while it is open.
    pub settled: Option<Settled>,
}

/// Notes of a report that was just stored which plate the pair was given, and writes it to the trail.
///
/// # Errors
/// When the database cannot be written.
pub(super) async fn add(tx: &mut Tx, report: ReportId, said: &Said, by: PersonId, now: When) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into other_plate (report, given) values (?, ?)",
        report,
        said.given
    )
    .execute(tx.connection())
    .await?;
    let (measured, given) = &said.serials;
    let detail = serde_json::json!({ "measured": measured, "given": given });
    audit::note(tx, ("report", report.0), "measured-other-plate", by, now, detail).await
}

/// The other plate of a report; none where it is on the pair's own.
///
/// # Errors
/// When the database does not answer.
pub async fn of(store: &Store, report: ReportId) -> Result<Option<OtherPlate>, StoreError> {
    Ok(sqlx::query_as!(
        OtherPlate,
        r#"select o.report as "report!", r.pair, m.serial as measured, m.id as "plate!", g.serial as given,
               o.settled as "settled?: Settled"
           from other_plate o join report r on r.id = o.report join plate m on m.id = r.plate
           join plate g on g.id = o.given where o.report = ?"#,
        report,
    )
    .fetch_optional(store.read())
    .await?)
}

/// Those of some reports that are on another plate and open.
///
/// # Errors
/// When the database does not answer.
pub async fn open_among(store: &Store, reports: &[ReportId]) -> Result<Vec<OtherPlate>, StoreError> {
    let reports = json_of("the numbers of reports", reports)?;
    Ok(sqlx::query_as!(
        OtherPlate,
        r#"select o.report as "report!", r.pair, m.serial as measured, m.id as "plate!", g.serial as given,
               o.settled as "settled?: Settled"
           from json_each(?) j join other_plate o on o.report = j.value join report r on r.id = o.report
           join plate m on m.id = r.plate join plate g on g.id = o.given where o.settled is null"#,
        reports,
    )
    .fetch_all(store.read())
    .await?)
}

/// All of an assignment.
///
/// # Errors
/// When the database does not answer.
pub async fn of_assignment(store: &Store, assignment: AssignmentId) -> Result<Vec<OtherPlate>, StoreError> {
    Ok(sqlx::query_as!(
        OtherPlate,
        r#"select o.report as "report!", r.pair, m.serial as measured, m.id as "plate!", g.serial as given,
               o.settled as "settled?: Settled"
           from report r join other_plate o on o.report = r.id join plate m on m.id = r.plate
           join plate g on g.id = o.given where r.assignment = ? order by r.id"#,
        assignment,
    )
    .fetch_all(store.read())
    .await?)
}

/// How many reports of a pair do not count, so that it has their attempts once more.
///
/// # Errors
/// When the database does not answer.
pub async fn given_back(store: &Store, assignment: AssignmentId, pair: PairId) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select count(*) as "count!: i64" from report r join other_plate o on o.report = r.id
           where r.assignment = ? and r.pair = ? and o.settled = 'not'"#,
        assignment,
        pair,
    )
    .fetch_one(store.read())
    .await?)
}

/// The most attempts that a pair has used; a report that does not count is given back.
///
/// # Errors
/// When the database does not answer.
pub async fn most_used(store: &Store, assignment: AssignmentId) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select coalesce(max(used), 0) as "used!: i64" from (
               select max(r.attempt) - count(o.report) as used from report r
               left join other_plate o on o.report = r.id and o.settled = 'not'
               where r.assignment = ? group by r.pair)"#,
        assignment,
    )
    .fetch_one(store.read())
    .await?)
}

/// Says whether a report counts, or that it is open again; whether it is one on another plate.
///
/// # Errors
/// When the database cannot be written.
pub async fn settle(
    tx: &mut Tx,
    report: ReportId,
    settled: Option<Settled>,
    by: PersonId,
    now: When,
) -> Result<bool, StoreError> {
    let at = settled.map(|_| now);
    let by = settled.map(|_| by);
    let done = sqlx::query!(
        "update other_plate set settled = ?, settled_at = ?, settled_by = ? where report = ?",
        settled,
        at,
        by,
        report,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// The plates of the exercise of this revision that are in service: row and serial. For finding the one that a pair says
/// it measured; the list itself goes to nobody.
///
/// # Errors
/// When the database does not answer.
pub async fn in_service(store: &Store, revision: ExerciseRevisionId) -> Result<Vec<(PlateId, String)>, StoreError> {
    let rows = sqlx::query!(
        r#"select p.id as "id!: PlateId", p.serial from exercise_revision v join plate p on p.exercise = v.exercise
           where v.id = ? and p.state = 'in_service' order by p.serial"#,
        revision,
    )
    .fetch_all(store.read())
    .await?;
    Ok(rows.into_iter().map(|r| (r.id, r.serial)).collect())
}
