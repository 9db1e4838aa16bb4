//! Regradings that were decided on, and what they are computed from.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use super::ids::{AssignmentId, ExerciseRevisionId, PairId, PersonId, PlateId, PlateRevisionId, RegradeId, ReportId};
use super::packed::Packed;
use super::when::When;
use super::{Store, StoreError, Tx, json_of};

/// A report with the grade that counts now.
#[derive(Debug, Clone)]
pub struct Graded {
    /// Report.
    pub report: ReportId,
    /// Assignment.
    pub assignment: AssignmentId,
    /// Its title.
    pub title: String,
    /// Name of the class.
    pub class_name: String,
    /// Pair.
    pub pair: PairId,
    /// Its name.
    pub pair_name: String,
    /// Plate.
    pub plate: PlateId,
    /// Its serial.
    pub serial: String,
    /// Attempt.
    pub attempt: i64,
    /// Values and calls.
    pub items: Packed,
    /// The set-up record as JSON, where the pair filled it in.
    pub set_up: Option<String>,
    /// Mark that counts now; none: ungraded, or nothing could be graded.
    pub mark: Option<String>,
    /// Mark that a person set in place of it.
    pub set: Option<String>,
    /// Revision of the exercise that it was computed from.
    pub exercise_revision: Option<ExerciseRevisionId>,
    /// Revision of the plate's truth that it was computed from.
    pub plate_revision: Option<PlateRevisionId>,
}

/// The reports of an assignment, or all on a plate that are of no archived class: nothing changes there any more.
///
/// # Errors
/// When the database does not answer.
pub async fn graded(
    store: &Store,
    assignment: Option<AssignmentId>,
    plate: Option<PlateId>,
) -> Result<Vec<Graded>, StoreError> {
    Ok(sqlx::query_as!(
        Graded,
        r#"select r.id as "report!: ReportId", r.assignment, a.title, c.name as class_name, r.pair, p.name as pair_name,
               r.plate, l.serial, r.attempt, r.items as "items: Packed", n.set_up as "set_up?", g.mark as "mark?", o.mark as "set?",
               g.exercise_revision as "exercise_revision?: ExerciseRevisionId",
               g.plate_revision as "plate_revision?: PlateRevisionId"
           from report r join assignment a on a.id = r.assignment join class c on c.id = a.class
           join pair p on p.id = r.pair join plate l on l.id = r.plate
           left join report_note n on n.report = r.id
           left join grade g on g.report = r.id and g.superseded_at is null
           left join mark_override o on o.report = r.id and o.undone_at is null
           where r.id in (select id from report where assignment = ?1 and (?2 is null or plate = ?2)
                          union all select id from report where ?1 is null and plate = ?2)
               and (?1 is not null or c.archived_at is null)
           order by r.assignment, p.name, r.attempt"#,
        assignment,
        plate,
    )
    .fetch_all(store.read())
    .await?)
}

/// Those of some reports that are of classes to which a person belongs.
///
/// # Errors
/// When the database does not answer.
pub async fn of_classes_of(
    store: &Store,
    reports: &[ReportId],
    person: PersonId,
) -> Result<BTreeSet<ReportId>, StoreError> {
    let reports = json_of("the numbers of reports", reports)?;
    let own = sqlx::query_scalar!(
        r#"select r.id as "id!" from report r join assignment a on a.id = r.assignment
           join class_person m on m.class = a.class and m.person = ?1 and m.left_at is null
           where r.id in (select value from json_each(?2))"#,
        person,
        reports,
    )
    .fetch_all(store.read())
    .await?;
    Ok(own.into_iter().map(ReportId).collect())
}

/// Points of lines marked by hand, of some reports.
///
/// # Errors
/// When the database does not answer or the points are no number.
pub async fn hand_marks(
    store: &Store,
    reports: &[ReportId],
) -> Result<BTreeMap<ReportId, BTreeMap<String, Decimal>>, StoreError> {
    let reports = json_of("the numbers of reports", reports)?;
    let rows = sqlx::query!(
        "select h.report, h.line, h.points from hand_mark h where h.report in (select value from json_each(?))",
        reports,
    )
    .fetch_all(store.read())
    .await?;
    let mut all: BTreeMap<ReportId, BTreeMap<String, Decimal>> = BTreeMap::new();
    for row in rows {
        let unreadable = |_| StoreError::Unreadable {
            what: "points of a line",
            found: row.points.chars().take(40).collect(),
        };
        let points = row.points.parse().map_err(unreadable)?;
        all.entry(ReportId(row.report)).or_default().insert(row.line, points);
    }
    Ok(all)
}

/// Numbers whose weight is left out in an assignment, with the reason.
///
/// # Errors
/// When the database does not answer.
pub async fn dropped(store: &Store, assignment: AssignmentId) -> Result<Vec<(String, String)>, StoreError> {
    let rows = sqlx::query!(
        "select no, why from dropped_line where assignment = ? order by no",
        assignment
    )
    .fetch_all(store.read())
    .await?;
    Ok(rows.into_iter().map(|r| (r.no, r.why)).collect())
}

/// Leaves the weight of a number out for everybody in an assignment.
///
/// # Errors
/// When the database cannot be written.
pub async fn drop_line(
    tx: &mut Tx,
    assignment: AssignmentId,
    no: &str,
    why: &str,
    at: When,
    by: PersonId,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into dropped_line (assignment, no, why, dropped_at, dropped_by) values (?, ?, ?, ?, ?)
         on conflict (assignment, no) do update set why = excluded.why",
        assignment,
        no,
        why,
        at,
        by,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Takes a number in again.
///
/// # Errors
/// When the database cannot be written.
pub async fn take_line_in(tx: &mut Tx, assignment: AssignmentId, no: &str) -> Result<(), StoreError> {
    sqlx::query!(
        "delete from dropped_line where assignment = ? and no = ?",
        assignment,
        no
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Sets an assignment on another revision of its exercise.
///
/// # Errors
/// When the database cannot be written.
pub async fn set_revision(
    tx: &mut Tx,
    assignment: AssignmentId,
    revision: ExerciseRevisionId,
) -> Result<(), StoreError> {
    sqlx::query!(
        "update assignment set exercise_revision = ? where id = ?",
        revision,
        assignment
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// A regrading that is about to begin.
#[derive(Debug, Clone)]
pub struct NewRegrade<'a> {
    /// reference, revision, dropped or again.
    pub cause: &'a str,
    /// Table and row that it is about.
    pub about: (&'a str, i64),
    /// Details as JSON.
    pub detail: &'a str,
    /// When.
    pub at: When,
    /// By whom.
    pub by: PersonId,
}

/// Writes down a regrading with its reports, those of an assignment (where given) and on a plate (where given), and the marks that they
/// have now. Returns how many that are, too.
///
/// # Errors
/// When the database cannot be written.
pub async fn begin(
    tx: &mut Tx,
    new: &NewRegrade<'_>,
    assignment: Option<AssignmentId>,
    plate: Option<PlateId>,
) -> Result<(RegradeId, u64), StoreError> {
    let (about, about_id) = new.about;
    let id = sqlx::query_scalar!(
        r#"insert into regrade (cause, about, about_id, detail, begun_at, begun_by) values (?, ?, ?, ?, ?, ?)
           returning id as "id!""#,
        new.cause,
        about,
        about_id,
        new.detail,
        new.at,
        new.by,
    )
    .fetch_one(tx.connection())
    .await?;
    // As `graded` has them, and found in the same transaction: a report that is stored after it is graded from what is true then.
    let reports = sqlx::query!(
        "insert into regrade_report (regrade, report, mark_before)
         select ?1, r.id, g.mark from report r join assignment a on a.id = r.assignment join class c on c.id = a.class
         left join grade g on g.report = r.id and g.superseded_at is null
         where r.id in (select id from report where assignment = ?2 and (?3 is null or plate = ?3)
                        union all select id from report where ?2 is null and plate = ?3)
             and (?2 is not null or c.archived_at is null)",
        id,
        assignment,
        plate,
    )
    .execute(tx.connection())
    .await?;
    Ok((RegradeId(id), reports.rows_affected()))
}

/// Regradings that are not finished, oldest first.
///
/// # Errors
/// When the database does not answer.
pub async fn open(store: &Store) -> Result<Vec<RegradeId>, StoreError> {
    let ids = sqlx::query_scalar!(r#"select id as "id!" from regrade where finished_at is null order by id"#)
        .fetch_all(store.read())
        .await?;
    Ok(ids.into_iter().map(RegradeId).collect())
}

/// Some of the reports of a regrading that are still to be graded.
///
/// # Errors
/// When the database does not answer.
pub async fn left(store: &Store, regrade: RegradeId, most: i64) -> Result<Vec<Graded>, StoreError> {
    Ok(sqlx::query_as!(
        Graded,
        r#"select r.id as "report!: ReportId", r.assignment, a.title, c.name as class_name, r.pair, p.name as pair_name,
               r.plate, l.serial, r.attempt, r.items as "items: Packed", n.set_up as "set_up?", g.mark as "mark?", o.mark as "set?",
               g.exercise_revision as "exercise_revision?: ExerciseRevisionId",
               g.plate_revision as "plate_revision?: PlateRevisionId"
           from regrade_report x join report r on r.id = x.report
           join assignment a on a.id = r.assignment join class c on c.id = a.class
           join pair p on p.id = r.pair join plate l on l.id = r.plate
           left join report_note n on n.report = r.id
           left join grade g on g.report = r.id and g.superseded_at is null
           left join mark_override o on o.report = r.id and o.undone_at is null
           where x.regrade = ? and x.done_at is null order by r.plate, r.assignment, r.id limit ?"#,
        regrade,
        most,
    )
    .fetch_all(store.read())
    .await?)
}

/// The assignments whose reports a regrading touches, as the change in progress sees them.
///
/// # Errors
/// When the database does not answer.
pub async fn assignments_of(tx: &mut Tx, regrade: RegradeId) -> Result<Vec<AssignmentId>, StoreError> {
    let ids = sqlx::query_scalar!(
        r#"select distinct r.assignment as "id!" from regrade_report x join report r on r.id = x.report
           where x.regrade = ? order by r.assignment"#,
        regrade
    )
    .fetch_all(tx.connection())
    .await?;
    Ok(ids.into_iter().map(AssignmentId).collect())
}

/// Writes down that reports of a regrading are graded, with their marks, and that they are to be searched again for reasons to
/// look at them.
///
/// # Errors
/// When the database cannot be written.
pub async fn done(
    tx: &mut Tx,
    regrade: RegradeId,
    reports: &[(ReportId, Option<String>)],
    at: When,
) -> Result<(), StoreError> {
    let reports = json_of("the reports of a regrading", reports)?;
    sqlx::query!(
        "update regrade_report set done_at = ?1, mark_after = j.value ->> 1 from json_each(?3) j
         where regrade = ?2 and report = j.value ->> 0",
        at,
        regrade,
        reports,
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!(
        "delete from attention_search where report in (select value ->> 0 from json_each(?))",
        reports
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Writes down that a regrading is finished.
///
/// # Errors
/// When the database cannot be written.
pub async fn finish(tx: &mut Tx, regrade: RegradeId, at: When) -> Result<(), StoreError> {
    sqlx::query!(
        "update regrade set finished_at = ? where id = ? and finished_at is null",
        at,
        regrade
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// A regrading.
#[derive(Debug, Clone)]
pub struct Regrade {
    /// Row.
    pub id: RegradeId,
    /// reference, revision, dropped or again.
    pub cause: String,
    /// Table that it is about.
    pub about: String,
    /// Row that it is about.
    pub about_id: i64,
    /// When it was decided on.
    pub begun_at: When,
    /// By whom.
    pub begun_by: Option<String>,
    /// When it was finished.
    pub finished_at: Option<When>,
}

/// One regrading.
///
/// # Errors
/// When the database does not answer.
pub async fn one(store: &Store, regrade: RegradeId) -> Result<Option<Regrade>, StoreError> {
    Ok(sqlx::query_as!(
        Regrade,
        r#"select r.id as "id!: RegradeId", r.cause, r.about, r.about_id, r.begun_at, p.name as "begun_by?",
               r.finished_at as "finished_at?: When"
           from regrade r left join person p on p.id = r.begun_by where r.id = ?"#,
        regrade,
    )
    .fetch_optional(store.read())
    .await?)
}

/// One report of a regrading.
#[derive(Debug, Clone)]
pub struct Line {
    /// Report.
    pub report: ReportId,
    /// Class and assignment.
    pub title: String,
    /// Name of the pair.
    pub pair_name: String,
    /// Attempt.
    pub attempt: i64,
    /// Mark before.
    pub before: Option<String>,
    /// Mark after.
    pub after: Option<String>,
    /// Whether it is graded again.
    pub done: bool,
}

/// The reports of a regrading.
///
/// # Errors
/// When the database does not answer.
pub async fn lines(store: &Store, regrade: RegradeId) -> Result<Vec<Line>, StoreError> {
    Ok(sqlx::query_as!(
        Line,
        r#"select g.report as "report!: ReportId", c.name || ', ' || a.title as "title!", p.name as pair_name, r.attempt,
               g.mark_before as before, g.mark_after as after, g.done_at is not null as "done!: bool"
           from regrade_report g join report r on r.id = g.report join assignment a on a.id = r.assignment
           join class c on c.id = a.class join pair p on p.id = r.pair
           where g.regrade = ? order by r.assignment, p.name, r.attempt"#,
        regrade,
    )
    .fetch_all(store.read())
    .await?)
}

/// Whether a regrading touches only classes of this person.
///
/// # Errors
/// When the database does not answer.
pub async fn is_of(store: &Store, regrade: RegradeId, person: PersonId) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select 1 from regrade g where g.id = ?1 and (g.begun_by = ?2 or exists (
               select 1 from regrade_report x join report r on r.id = x.report join assignment a on a.id = r.assignment
               join class_person m on m.class = a.class and m.person = ?2 and m.left_at is null
               where x.regrade = g.id))) as "is!: bool""#,
        regrade,
        person,
    )
    .fetch_one(store.read())
    .await?)
}
