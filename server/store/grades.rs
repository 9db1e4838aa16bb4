//! Grades: the one that counts of each report, and those before it.

use super::ids::{AssignmentId, ExerciseRevisionId, GradeId, PlateRevisionId, ReportId};
use super::when::When;
use super::{Store, StoreError, Tx};

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
    /// The whole grade as JSON.
    pub result: String,
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
    /// The whole grade as JSON.
    pub result: String,
}

/// Stores a grade, which takes the place of the one before it.
///
/// # Errors
/// When the database cannot be written.
pub(super) async fn store(tx: &mut Tx, new: &NewGrade) -> Result<GradeId, StoreError> {
    let id = sqlx::query_scalar!(
        r#"insert into grade (report, mark, review, computed_at, software, exercise_revision, plate_revision,
               marks_override, result) values (?, ?, ?, ?, ?, ?, ?, ?, ?) returning id as "id!""#,
        new.report,
        new.mark,
        new.review,
        new.computed_at,
        new.software,
        new.exercise_revision,
        new.plate_revision,
        new.marks_override,
        new.result,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(GradeId(id))
}

/// The grade of a report that counts.
///
/// # Errors
/// When the database does not answer.
pub async fn of(store: &Store, report: ReportId) -> Result<Option<Grade>, StoreError> {
    Ok(sqlx::query_as!(
        Grade,
        r#"select g.id as "id!", g.mark, g.review, g.computed_at, g.software, e.number as exercise_number,
               p.number as plate_number, g.result
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

/// The revision of the plate's truth that the grade of a report that counts was computed from.
///
/// # Errors
/// When the database does not answer.
pub async fn plate_revision_of(store: &Store, report: ReportId) -> Result<Option<PlateRevisionId>, StoreError> {
    let id = sqlx::query_scalar!(
        "select plate_revision from grade where report = ? and superseded_at is null",
        report
    )
    .fetch_optional(store.read())
    .await?;
    Ok(id.map(PlateRevisionId))
}
