//! Grades: the one that counts of each report, and those before it.

use sqlx::{QueryBuilder, Sqlite};

use super::before::Before;
use super::ids::{AssignmentId, ExerciseRevisionId, GradeId, PairId, PlateId, PlateRevisionId, ReportId};
use super::packed::Packed;
use super::when::When;
use super::{Store, StoreError, Tx, filled, json_of, of_json};

/// What cannot be read, should it be so.
const BASIS: &str = "what a report is graded from";

/// A grade that is about to be stored.
#[derive(Debug, Clone)]
pub struct NewGrade {
    /// Report.
    pub report: ReportId,
    /// 0.0 to 100.0 before the late rule; none where no line could be graded.
    pub mark: Option<String>,
    /// Why a person should look at it first.
    pub review: Option<String>,
    /// When it was computed.
    pub computed_at: When,
    /// Version of the software.
    pub software: String,
    /// Revision of the exercise that it was computed from.
    pub exercise_revision: ExerciseRevisionId,
    /// Revision of the plate's truth that it was computed from.
    pub plate_revision: PlateRevisionId,
    /// Override of the marks rules.
    pub marks_override: Option<String>,
    /// The whole grade.
    pub result: Packed,
    /// Whether it is kept only where the report has no grade yet: one that was computed later knows more.
    pub is_first: bool,
}

impl NewGrade {
    /// Whether it is a first one that comes after another.
    pub(super) fn comes_too_late(&self, before: &Before) -> bool {
        self.is_first && before.graded.contains(&self.report)
    }
}

/// A stored grade.
#[derive(Debug, Clone)]
pub struct Grade {
    /// Row.
    pub id: GradeId,
    /// Mark before the late rule.
    pub mark: Option<String>,
    /// Why a person should look at it first.
    pub review: Option<String>,
    /// When it was computed.
    pub computed_at: When,
    /// Version of the software.
    pub software: String,
    /// Number of the revision of the exercise.
    pub exercise_number: i64,
    /// Number of the revision of the plate's truth.
    pub plate_number: i64,
    /// The whole grade.
    pub result: Packed,
}

/// Stores a grade, which takes the place of the one before it.
///
/// # Errors
/// When the database cannot be written.
pub(super) async fn store(tx: &mut Tx, new: &NewGrade) -> Result<(), StoreError> {
    if new.comes_too_late(&Before::of(tx, &[], &[new]).await?) {
        return Ok(());
    }
    make_room(tx, &[new]).await?;
    store_together(tx, &[new]).await
}

/// Stores grades that were made room for, in one statement. With an error it is as if it had not been asked for them all: they are
/// to be stored one by one.
///
/// # Errors
/// When the database cannot be written, or one of them breaks a constraint.
pub(super) async fn store_together(tx: &mut Tx, new: &[&NewGrade]) -> Result<(), StoreError> {
    // As many rows as there are cannot stand in a statement that is checked beforehand.
    let mut query = QueryBuilder::<Sqlite>::new(
        "insert into grade (report, mark, review, computed_at, software, exercise_revision, plate_revision, \
         marks_override, result) select * from (",
    );
    query.push_values(filled(new), |mut row, g| {
        row.push_bind(g.map(|g| g.report));
        row.push_bind(g.and_then(|g| g.mark.as_deref()));
        row.push_bind(g.and_then(|g| g.review.as_deref()));
        row.push_bind(g.map(|g| g.computed_at));
        row.push_bind(g.map(|g| g.software.as_str()));
        row.push_bind(g.map(|g| g.exercise_revision));
        row.push_bind(g.map(|g| g.plate_revision));
        row.push_bind(g.and_then(|g| g.marks_override.as_deref()));
        row.push_bind(g.map(|g| &g.result));
    });
    query.push(") where column1 is not null");
    query.build().execute(tx.connection()).await?;
    Ok(())
}

/// Ends the grades that others are to take the place of.
///
/// # Errors
/// When the database cannot be written.
pub(super) async fn make_room(tx: &mut Tx, new: &[&NewGrade]) -> Result<(), StoreError> {
    let of: Vec<_> = new
        .iter()
        .filter(|g| !g.is_first)
        .map(|g| (g.report, g.computed_at))
        .collect();
    if of.is_empty() {
        return Ok(());
    }
    let of = json_of("grades", &of)?;
    sqlx::query!(
        "update grade set superseded_at = j.value ->> 1 from json_each(?) j
         where grade.report = j.value ->> 0 and grade.superseded_at is null",
        of,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// The grade of a report that counts.
///
/// # Errors
/// When the database does not answer.
pub async fn of(store: &Store, report: ReportId) -> Result<Option<Grade>, StoreError> {
    Ok(sqlx::query_as!(
        Grade,
        r#"select g.id as "id!", g.mark, g.review, g.computed_at, g.software, e.number as exercise_number,
               p.number as plate_number, g.result as "result: Packed"
           from grade g join exercise_revision e on e.id = g.exercise_revision
           join plate_revision p on p.id = g.plate_revision
           where g.report = ? and g.superseded_at is null"#,
        report,
    )
    .fetch_optional(store.read())
    .await?)
}

/// Reports that have no grade yet, oldest first.
///
/// # Errors
/// When the database does not answer.
pub async fn missing(store: &Store, most: i64) -> Result<Vec<ReportId>, StoreError> {
    let ids = sqlx::query_scalar!(
        r#"select r.id as "id!" from report r
           where not exists (select 1 from grade g where g.report = r.id and g.superseded_at is null)
           order by r.id limit ?"#,
        most,
    )
    .fetch_all(store.read())
    .await?;
    Ok(ids.into_iter().map(ReportId).collect())
}

/// Writes down that something is added to a report that its grade does not know.
///
/// # Errors
/// When the database cannot be written.
pub async fn set_due(tx: &mut Tx, report: ReportId) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into grade_due (report, times) values (?, 1) on conflict (report) do update set times = times + 1",
        report
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Writes down that a grade knows all that was added to a report, where that was so often.
///
/// # Errors
/// When the database cannot be written.
pub async fn not_due(tx: &mut Tx, report: ReportId, times: i64) -> Result<(), StoreError> {
    sqlx::query!("delete from grade_due where report = ? and times = ?", report, times)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Reports whose grade does not know all that was added to them.
///
/// # Errors
/// When the database does not answer.
pub async fn due(store: &Store) -> Result<Vec<ReportId>, StoreError> {
    let ids = sqlx::query_scalar!(r#"select report as "report!" from grade_due order by report"#)
        .fetch_all(store.read())
        .await?;
    Ok(ids.into_iter().map(ReportId).collect())
}

/// What all reports of an assignment are graded from.
#[derive(Debug, Clone)]
pub struct OfAssignment {
    /// Assignment.
    pub assignment: AssignmentId,
    /// Revision of the exercise.
    pub exercise_revision: ExerciseRevisionId,
    /// A `[marks]` table in place of the exercise's.
    pub marks_override: Option<String>,
    /// Numbers whose weight is left out.
    pub dropped: Vec<String>,
    /// All plates of the exercise, each with the newest revision of its truth, by serial.
    pub truths: Vec<(PlateId, PlateRevisionId)>,
}

/// What the reports of some assignments are graded from; with another revision of their exercise where one is given.
///
/// # Errors
/// When the database does not answer or a row cannot be read.
pub async fn of_assignments(
    store: &Store,
    assignments: &[AssignmentId],
    instead: Option<ExerciseRevisionId>,
) -> Result<Vec<OfAssignment>, StoreError> {
    let assignments = json_of("assignments", assignments)?;
    let rows = sqlx::query!(
        r#"select a.id as "assignment!: AssignmentId", e.id as "exercise_revision!", a.marks_override,
               (select json_group_array(d.no) from dropped_line d where d.assignment = a.id) as "dropped!: String",
               (select json_group_array(json_array(p.id, v.id) order by p.serial) from plate p
                join plate_revision v on v.plate = p.id
                    and v.number = (select max(n.number) from plate_revision n where n.plate = p.id)
                where p.exercise = e.exercise) as "truths!: String"
           from json_each(?1) j join assignment a on a.id = j.value
           join exercise_revision e on e.id = coalesce(?2, a.exercise_revision)"#,
        assignments,
        instead,
    )
    .fetch_all(store.read())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(OfAssignment {
                assignment: row.assignment,
                exercise_revision: ExerciseRevisionId(row.exercise_revision),
                marks_override: row.marks_override,
                dropped: of_json(BASIS, &row.dropped)?,
                truths: of_json(BASIS, &row.truths)?,
            })
        })
        .collect()
}

/// All that one report is graded from, in one row: a statement costs a hop between threads, so one fat one.
#[derive(Debug, Clone)]
pub struct Basis {
    /// Pair.
    pub pair: PairId,
    /// Plate.
    pub plate: PlateId,
    /// Values and calls.
    pub items: Packed,
    /// What the assignment says.
    pub of_assignment: OfAssignment,
    /// The revision of the plate's truth that it was graded from before; none the first time.
    pub kept: Option<PlateRevisionId>,
    /// The set-up record as JSON, where the pair filled it in.
    pub set_up: Option<String>,
    /// Points of lines marked by hand.
    pub hand_marks: Vec<(String, String)>,
    /// Whether anything is decided or answered about its faults.
    pub spoken_of: bool,
    /// How often something was added that its grade does not know; none: it knows all.
    pub due: Option<i64>,
}

/// All that a report is graded from; none where there is no such report.
///
/// # Errors
/// When the database does not answer or the row cannot be read.
pub async fn basis(store: &Store, report: ReportId) -> Result<Option<Basis>, StoreError> {
    let row = sqlx::query!(
        r#"select r.pair, r.plate, r.items as "items: Packed", r.assignment, a.exercise_revision, a.marks_override,
               (select g.plate_revision from grade g where g.report = r.id and g.superseded_at is null)
                   as "kept: PlateRevisionId",
               (select n.set_up from report_note n where n.report = r.id) as "set_up: String",
               (select json_group_array(d.no) from dropped_line d where d.assignment = r.assignment) as "dropped!: String",
               (select json_group_array(json_array(h.line, h.points)) from hand_mark h where h.report = r.id)
                   as "hand_marks!: String",
               (select json_group_array(json_array(p.id, v.id) order by p.serial) from plate p
                join plate_revision v on v.plate = p.id
                    and v.number = (select max(n.number) from plate_revision n where n.plate = p.id)
                where p.exercise = e.exercise) as "truths!: String",
               exists (select 1 from fault_decision f where f.report = r.id and f.undone_at is null)
                   or exists (select 1 from check_answer c where c.report = r.id and c.undone_at is null)
                   as "spoken_of!: bool",
               (select d.times from grade_due d where d.report = r.id) as "due: i64"
           from report r join assignment a on a.id = r.assignment
           join exercise_revision e on e.id = a.exercise_revision where r.id = ?"#,
        report,
    )
    .fetch_optional(store.read())
    .await?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(Basis {
        pair: PairId(row.pair),
        plate: PlateId(row.plate),
        items: row.items,
        of_assignment: OfAssignment {
            assignment: AssignmentId(row.assignment),
            exercise_revision: ExerciseRevisionId(row.exercise_revision),
            marks_override: row.marks_override,
            dropped: of_json(BASIS, &row.dropped)?,
            truths: of_json(BASIS, &row.truths)?,
        },
        kept: row.kept,
        set_up: row.set_up,
        hand_marks: of_json(BASIS, &row.hand_marks)?,
        spoken_of: row.spoken_of,
        due: row.due,
    }))
}

/// All reports of an assignment, to be graded again.
///
/// # Errors
/// When the database does not answer.
pub async fn reports_of(store: &Store, assignment: AssignmentId) -> Result<Vec<ReportId>, StoreError> {
    let ids = sqlx::query_scalar!(
        r#"select id as "id!" from report where assignment = ? order by id"#,
        assignment
    )
    .fetch_all(store.read())
    .await?;
    Ok(ids.into_iter().map(ReportId).collect())
}
