//! Why reports wait for a person, and which ones somebody is done with.

use serde::Deserialize;

use super::ids::{AssignmentId, ClassId, ExerciseRevisionId, PairId, PersonId, PlateId, PlateRevisionId, ReportId};
use super::packed::Packed;
use super::when::When;
use super::{Store, StoreError, Tx, json_of, of_json};

/// Milliseconds after the due time up to which lateness is a matter of minutes, that a person may want to look at.
const MINUTES_MS: i64 = 60 * 60_000;

/// Most reports of one queue; more than that are looked at in the next one.
const QUEUE: i64 = 1000;

/// A reason that was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// Its word.
    pub reason: &'static str,
    /// What it speaks of, as JSON.
    pub detail: String,
}

/// A reason of a report in the queue.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Reason {
    /// Its word.
    pub reason: String,
    /// What it speaks of, as JSON.
    pub detail: String,
}

/// A report that waits, as far as its place in the queue goes.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct InLine {
    /// Report.
    pub report: ReportId,
    /// Words of the reasons that came after somebody was done with it.
    pub words: Option<String>,
    /// Queries without an answer.
    pub queries: i64,
    /// Whether evidence is wanted and none is there.
    pub lacks_evidence: i64,
    /// Whether it is late by minutes only, and nobody looked yet.
    pub is_late_by_minutes: i64,
}

/// A report that waits.
#[derive(Debug, Clone)]
pub struct Waiting {
    /// Report.
    pub report: ReportId,
    /// Assignment.
    pub assignment: AssignmentId,
    /// Its title.
    pub title: String,
    /// Name of the pair.
    pub pair_name: String,
    /// Pair.
    pub pair: PairId,
    /// Serial number of the plate.
    pub serial: String,
    /// Attempt.
    pub attempt: i64,
    /// When it was handed in.
    pub handed_in_at: When,
    /// When it was due.
    pub due_at: When,
    /// Computed mark.
    pub mark: Option<String>,
    /// Reasons that came after somebody was done with it.
    pub reasons: Vec<Reason>,
}

/// The reports of a class that wait for a person, in the order in which they came.
///
/// # Errors
/// When the database does not answer or the row cannot be read.
pub async fn line(store: &Store, class: ClassId) -> Result<Vec<InLine>, StoreError> {
    // One row: a row costs a hop between threads. Materialized, or SQLite looks twice for what it filters by.
    let line = sqlx::query_scalar!(
        r#"with all_of as materialized (
               select r.id, r.handed_in_at,
                   (select group_concat(t.reason, ' ') from attention t
                    where t.report = r.id and t.found_at > coalesce(d.at, -1)) as words,
                   (select count(*) from query q where q.report = r.id and q.answer is null) as queries,
                   coalesce(c.wants_evidence, 0) = 1 and d.report is null and not exists (
                       select 1 from evidence e where e.assignment = r.assignment and e.pair = r.pair
                           and e.attempt = r.attempt) as lacks_evidence,
                   d.report is null and r.handed_in_at > coalesce(x.due_at, a.due_at)
                       and r.handed_in_at <= coalesce(x.due_at, a.due_at) + ?2 as is_late
               from assignment a join report r on r.assignment = a.id
               left join reviewed d on d.report = r.id
               left join extension x on x.assignment = r.assignment and x.pair = r.pair
               left join gradebook_column c on c.assignment = a.id
               where a.class = ?1)
           select json_group_array(json_array(id, words, queries, lacks_evidence, is_late)) as "line!: String"
           from (select * from all_of where words is not null or queries or lacks_evidence or is_late
                 order by handed_in_at, id limit ?3)"#,
        class,
        MINUTES_MS,
        QUEUE,
    )
    .fetch_one(store.read())
    .await?;
    of_json("the reports that wait", &line)
}

/// What is to be told of some reports that wait, in no order.
///
/// # Errors
/// When the database does not answer or a row cannot be read.
pub async fn waiting(store: &Store, reports: &[ReportId]) -> Result<Vec<Waiting>, StoreError> {
    let reports = json_of("the numbers of reports", reports)?;
    let rows = sqlx::query!(
        r#"select r.id as "id!", r.assignment as "assignment!", a.title as "title!", r.pair as "pair!", p.name as "pair_name!",
               l.serial as "serial!", r.attempt as "attempt!", r.handed_in_at as "handed_in_at!: When",
               coalesce(x.due_at, a.due_at) as "due_at!: When", g.mark as "mark?",
               (select json_group_array(json_object('reason', t.reason, 'detail', t.detail)) from attention t
                where t.report = r.id and t.found_at > coalesce(
                    (select d.at from reviewed d where d.report = r.id), -1)) as "reasons!: String"
           from json_each(?) j join report r on r.id = j.value join assignment a on a.id = r.assignment
           join pair p on p.id = r.pair join plate l on l.id = r.plate
           left join grade g on g.report = r.id and g.superseded_at is null
           left join extension x on x.assignment = r.assignment and x.pair = r.pair"#,
        reports,
    )
    .fetch_all(store.read())
    .await?;
    rows.into_iter()
        .map(|r| {
            Ok(Waiting {
                report: ReportId(r.id),
                assignment: AssignmentId(r.assignment),
                title: r.title,
                pair_name: r.pair_name,
                pair: PairId(r.pair),
                serial: r.serial,
                attempt: r.attempt,
                handed_in_at: r.handed_in_at,
                due_at: r.due_at,
                mark: r.mark,
                reasons: of_json("why a report waits", &r.reasons)?,
            })
        })
        .collect()
}

/// The reasons that were found for one report, whether or not somebody is done with it.
///
/// # Errors
/// When the database does not answer.
pub async fn of(store: &Store, report: ReportId) -> Result<Vec<Reason>, StoreError> {
    Ok(sqlx::query_as!(
        Reason,
        "select reason, detail from attention where report = ? order by reason, detail",
        report
    )
    .fetch_all(store.read())
    .await?)
}

/// All reasons that were found for some reports, as the change in progress sees them.
///
/// # Errors
/// When the database does not answer.
pub async fn of_all(tx: &mut Tx, reports: &[ReportId]) -> Result<Vec<(ReportId, Reason)>, StoreError> {
    let reports = json_of("the numbers of reports", reports)?;
    let rows = sqlx::query!(
        r#"select t.report as "report!: ReportId", t.reason, t.detail
           from json_each(?) j join attention t on t.report = j.value"#,
        reports,
    )
    .fetch_all(tx.connection())
    .await?;
    let reason = |reason, detail| Reason { reason, detail };
    Ok(rows
        .into_iter()
        .map(|r| (r.report, reason(r.reason, r.detail)))
        .collect())
}

/// Takes away reasons that are gone.
///
/// # Errors
/// When the database cannot be written.
pub async fn take_all(tx: &mut Tx, gone: &[(ReportId, Reason)]) -> Result<(), StoreError> {
    let gone: Vec<_> = gone.iter().map(|(r, g)| (r, &g.reason, &g.detail)).collect();
    let gone = json_of("why reports waited", &gone)?;
    sqlx::query!(
        "delete from attention where (report, reason, detail) in (
             select value ->> 0, value ->> 1, value ->> 2 from json_each(?))",
        gone
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Adds reasons; those of reports that are not there any more are left out.
///
/// # Errors
/// When the database cannot be written.
pub async fn add_all(tx: &mut Tx, found: &[(ReportId, Found)], now: When) -> Result<(), StoreError> {
    let found: Vec<_> = found.iter().map(|(r, f)| (r, f.reason, &f.detail)).collect();
    let found = json_of("why reports wait", &found)?;
    sqlx::query!(
        "insert into attention (report, reason, detail, found_at)
         select r.id, f.value ->> 1, f.value ->> 2, ?2 from json_each(?1) f join report r on r.id = f.value ->> 0
         where true on conflict do nothing",
        found,
        now,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Notes that reports were searched.
///
/// # Errors
/// When the database cannot be written.
pub async fn searched(tx: &mut Tx, reports: &[ReportId], now: When) -> Result<(), StoreError> {
    let reports = json_of("the numbers of reports", reports)?;
    sqlx::query!(
        "insert into attention_search (report, searched_at)
         select r.id, ?2 from json_each(?1) j join report r on r.id = j.value where true
         on conflict (report) do update set searched_at = excluded.searched_at",
        reports,
        now,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Adds one reason, unless it is there. One about another report is there whatever else was said of it: the number of
/// comparisons, and with it the chance, differs from search to search, and what somebody is done with stays done.
///
/// # Errors
/// When the database cannot be written.
pub async fn add(tx: &mut Tx, report: ReportId, found: &Found, now: When) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into attention (report, reason, detail, found_at) select ?1, ?2, ?3, ?4
         where not exists (select 1 from attention t where t.report = ?1 and t.reason = ?2
             and (t.detail = ?3 or t.detail ->> 'other' = ?3 ->> 'other'))",
        report,
        found.reason,
        found.detail,
        now,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Takes one reason away, as when a person settled what it is about.
///
/// # Errors
/// When the database cannot be written.
pub async fn take(tx: &mut Tx, report: ReportId, reason: &str) -> Result<(), StoreError> {
    sqlx::query!("delete from attention where report = ? and reason = ?", report, reason)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Reports that are graded and were not searched, oldest first.
///
/// # Errors
/// When the database does not answer.
pub async fn unsearched(store: &Store, most: i64) -> Result<Vec<ReportId>, StoreError> {
    let ids = sqlx::query_scalar!(
        r#"select g.report as "id!" from grade g
           where g.superseded_at is null and not exists (select 1 from attention_search s where s.report = g.report)
           order by g.report limit ?"#,
        most,
    )
    .fetch_all(store.read())
    .await?;
    Ok(ids.into_iter().map(ReportId).collect())
}

/// A graded report that is searched.
#[derive(Debug, Clone)]
pub struct Searched {
    /// Report.
    pub report: ReportId,
    /// Assignment.
    pub assignment: AssignmentId,
    /// Pair.
    pub pair: PairId,
    /// Plate.
    pub plate: PlateId,
    /// Values and calls.
    pub items: Packed,
    /// Why a person should look at it first, as the grade says.
    pub review: Option<String>,
    /// Revision of the exercise that it was graded from.
    pub exercise_revision: ExerciseRevisionId,
    /// Revision of the plate's truth that it was graded from.
    pub plate_revision: PlateRevisionId,
    /// Its grade.
    pub result: Packed,
}

/// A report with the grade that counts; none where it has none.
///
/// # Errors
/// When the database does not answer.
pub async fn graded(store: &Store, report: ReportId) -> Result<Option<Searched>, StoreError> {
    Ok(sqlx::query_as!(
        Searched,
        r#"select r.id as "report!", r.assignment, r.pair, r.plate, r.items as "items: Packed", g.review, g.exercise_revision,
               g.plate_revision, g.result as "result: Packed"
           from report r join grade g on g.report = r.id and g.superseded_at is null where r.id = ?"#,
        report,
    )
    .fetch_optional(store.read())
    .await?)
}

/// A report of another pair that the same digits could come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Other {
    /// Report.
    pub report: ReportId,
    /// Pair.
    pub pair: PairId,
    /// Plate.
    pub plate: PlateId,
    /// Revision of the exercise that it was graded from.
    pub exercise_revision: ExerciseRevisionId,
    /// Revision of the plate's truth that it was graded from.
    pub plate_revision: PlateRevisionId,
}

/// The newest graded reports of an assignment, newest first; without those of a pair where one is given. However many
/// there are, so many are looked at.
///
/// # Errors
/// When the database does not answer.
pub async fn newest_of_assignment(
    store: &Store,
    assignment: AssignmentId,
    without: Option<PairId>,
    most: i64,
) -> Result<Vec<Other>, StoreError> {
    Ok(sqlx::query_as!(
        Other,
        r#"select r.id as "report!: ReportId", r.pair as "pair!: PairId", r.plate as "plate!: PlateId",
               g.exercise_revision as "exercise_revision!: ExerciseRevisionId",
               g.plate_revision as "plate_revision!: PlateRevisionId"
           from (select id from report where assignment = ?1 and (?2 is null or pair <> ?2) order by id desc limit ?3) x
           join report r on r.id = x.id join grade g on g.report = r.id and g.superseded_at is null
           order by r.id desc"#,
        assignment,
        without,
        most,
    )
    .fetch_all(store.read())
    .await?)
}

/// The same of a plate, in all assignments.
///
/// # Errors
/// When the database does not answer.
pub async fn newest_of_plate(
    store: &Store,
    plate: PlateId,
    without: Option<PairId>,
    most: i64,
) -> Result<Vec<Other>, StoreError> {
    Ok(sqlx::query_as!(
        Other,
        r#"select r.id as "report!: ReportId", r.pair as "pair!: PairId", r.plate as "plate!: PlateId",
               g.exercise_revision as "exercise_revision!: ExerciseRevisionId",
               g.plate_revision as "plate_revision!: PlateRevisionId"
           from (select id from report where plate = ?1 and (?2 is null or pair <> ?2)
                 order by handed_in_at desc, id desc limit ?3) x
           join report r on r.id = x.id join grade g on g.report = r.id and g.superseded_at is null
           order by r.id desc"#,
        plate,
        without,
        most,
    )
    .fetch_all(store.read())
    .await?)
}

/// Values and calls of some reports.
///
/// # Errors
/// When the database does not answer.
pub async fn items(store: &Store, reports: &[ReportId]) -> Result<Vec<(ReportId, Packed)>, StoreError> {
    let ids = json_of("the numbers of reports", reports)?;
    let rows = sqlx::query!(
        r#"select r.id as "id!", r.items as "items!: Packed" from json_each(?) j join report r on r.id = j.value"#,
        ids
    )
    .fetch_all(store.read())
    .await?;
    Ok(rows.into_iter().map(|r| (ReportId(r.id), r.items)).collect())
}

/// When somebody was done with a report, and who.
///
/// # Errors
/// When the database does not answer.
pub async fn done_with(store: &Store, report: ReportId) -> Result<Option<(When, Option<String>)>, StoreError> {
    let row = sqlx::query!(
        r#"select r.at as "at: When", p.name as "name?" from reviewed r left join person p on p.id = r.person
           where r.report = ?"#,
        report,
    )
    .fetch_optional(store.read())
    .await?;
    Ok(row.map(|r| (r.at, r.name)))
}

/// Notes that a person is done with a report.
///
/// # Errors
/// When the database cannot be written.
pub async fn done(tx: &mut Tx, report: ReportId, now: When, by: PersonId) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into reviewed (report, at, person) values (?, ?, ?)
         on conflict (report) do update set at = excluded.at, person = excluded.person",
        report,
        now,
        by,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Takes that back; whether somebody was done with it.
///
/// # Errors
/// When the database cannot be written.
pub async fn not_done(tx: &mut Tx, report: ReportId) -> Result<bool, StoreError> {
    let done = sqlx::query!("delete from reviewed where report = ?", report)
        .execute(tx.connection())
        .await?;
    Ok(done.rows_affected() > 0)
}
