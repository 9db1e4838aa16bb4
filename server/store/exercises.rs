//! Exercises and their immutable revisions.

use super::ids::{ExerciseId, ExerciseRevisionId, PersonId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// One line of the list of exercises.
#[derive(Debug, Clone)]
pub struct ExerciseLine {
    /// Row.
    pub id: ExerciseId,
    /// Code.
    pub code: String,
    /// Title of the newest revision.
    pub title: String,
    /// Number of the newest revision.
    pub number: i64,
    /// When the newest revision was made.
    pub created_at: When,
    /// Plates in service.
    pub plates: i64,
    /// Assignments of any revision.
    pub assignments: i64,
}

/// One revision.
#[derive(Debug, Clone)]
pub struct Revision {
    /// Row.
    pub id: ExerciseRevisionId,
    /// Exercise that it is of.
    pub exercise: ExerciseId,
    /// Code of the exercise.
    pub code: String,
    /// 1, 2, 3...
    pub number: i64,
    /// Title.
    pub title: String,
    /// exercise.toml.
    pub toml: String,
    /// When it was made.
    pub created_at: When,
}

/// A revision that is about to be added.
#[derive(Debug, Clone)]
pub struct NewRevision<'a> {
    /// Exercise that it is of.
    pub exercise: ExerciseId,
    /// Title.
    pub title: &'a str,
    /// exercise.toml.
    pub toml: &'a str,
    /// SHA-256 of it.
    pub sha256: &'a [u8],
    /// When.
    pub at: When,
    /// By whom.
    pub by: Option<PersonId>,
}

/// All exercises by code.
///
/// # Errors
/// When the database does not answer.
pub async fn list(store: &Store) -> Result<Vec<ExerciseLine>, StoreError> {
    Ok(sqlx::query_as!(
        ExerciseLine,
        r#"select e.id as "id!", e.code, r.title, r.number, r.created_at,
               (select count(*) from plate p where p.exercise = e.id and p.state = 'in_service') as "plates!: i64",
               (select count(*) from assignment a join exercise_revision ar on ar.id = a.exercise_revision
                where ar.exercise = e.id) as "assignments!: i64"
           from exercise e
           join exercise_revision r on r.exercise = e.id
               and r.number = (select max(n.number) from exercise_revision n where n.exercise = e.id)
           order by e.code"#,
    )
    .fetch_all(store.read())
    .await?)
}

/// The newest revision of an exercise.
///
/// # Errors
/// When the database does not answer.
pub async fn newest(store: &Store, exercise: ExerciseId) -> Result<Option<Revision>, StoreError> {
    Ok(sqlx::query_as!(
        Revision,
        r#"select r.id as "id!", r.exercise, e.code, r.number, r.title, r.toml, r.created_at
           from exercise_revision r join exercise e on e.id = r.exercise
           where r.exercise = ? order by r.number desc limit 1"#,
        exercise,
    )
    .fetch_optional(store.read())
    .await?)
}

/// A line of the list of revisions.
#[derive(Debug, Clone)]
pub struct RevisionLine {
    /// Row.
    pub id: ExerciseRevisionId,
    /// 1, 2, 3...
    pub number: i64,
    /// When it was made.
    pub created_at: When,
    /// By whom.
    pub created_by: Option<String>,
    /// Assignments that use it.
    pub assignments: i64,
}

/// All revisions of an exercise, the newest first.
///
/// # Errors
/// When the database does not answer.
pub async fn revisions(store: &Store, exercise: ExerciseId) -> Result<Vec<RevisionLine>, StoreError> {
    Ok(sqlx::query_as!(
        RevisionLine,
        r#"select r.id as "id!: ExerciseRevisionId", r.number, r.created_at, p.name as "created_by?",
               (select count(*) from assignment a where a.exercise_revision = r.id) as "assignments!: i64"
           from exercise_revision r left join person p on p.id = r.created_by
           where r.exercise = ? order by r.number desc"#,
        exercise,
    )
    .fetch_all(store.read())
    .await?)
}

/// The revision of an exercise with a number.
///
/// # Errors
/// When the database does not answer.
pub async fn numbered(store: &Store, exercise: ExerciseId, number: i64) -> Result<Option<Revision>, StoreError> {
    Ok(sqlx::query_as!(
        Revision,
        r#"select r.id as "id!", r.exercise, e.code, r.number, r.title, r.toml, r.created_at
           from exercise_revision r join exercise e on e.id = r.exercise where r.exercise = ? and r.number = ?"#,
        exercise,
        number,
    )
    .fetch_optional(store.read())
    .await?)
}

/// One revision.
///
/// # Errors
/// When the database does not answer.
pub async fn revision(store: &Store, revision: ExerciseRevisionId) -> Result<Option<Revision>, StoreError> {
    Ok(sqlx::query_as!(
        Revision,
        r#"select r.id as "id!", r.exercise, e.code, r.number, r.title, r.toml, r.created_at
           from exercise_revision r join exercise e on e.id = r.exercise where r.id = ?"#,
        revision,
    )
    .fetch_optional(store.read())
    .await?)
}

/// One revision of an exercise by its number.
///
/// # Errors
/// When the database fails.
pub async fn of_number(store: &Store, exercise: ExerciseId, number: i64) -> Result<Option<Revision>, StoreError> {
    Ok(sqlx::query_as!(
        Revision,
        r#"select r.id as "id!", r.exercise, e.code, r.number, r.title, r.toml, r.created_at
           from exercise_revision r join exercise e on e.id = r.exercise where r.exercise = ? and r.number = ?"#,
        exercise,
        number,
    )
    .fetch_optional(store.read())
    .await?)
}

/// The exercise with this code and the newest revision's number and SHA-256, as the change in progress sees it.
///
/// # Errors
/// When the database does not answer.
pub async fn by_code(tx: &mut Tx, code: &str) -> Result<Option<(ExerciseId, ExerciseRevisionId, Vec<u8>)>, StoreError> {
    let row = sqlx::query!(
        r#"select e.id as "id!", r.id as "revision!", r.sha256 from exercise e
           join exercise_revision r on r.exercise = e.id where e.code = ? order by r.number desc limit 1"#,
        code,
    )
    .fetch_optional(tx.connection())
    .await?;
    Ok(row.map(|r| (ExerciseId(r.id), ExerciseRevisionId(r.revision), r.sha256)))
}

/// Adds an exercise, still without a revision.
///
/// # Errors
/// When the code is taken or the database cannot be written.
pub async fn add(tx: &mut Tx, code: &str, at: When) -> Result<ExerciseId, StoreError> {
    let id = sqlx::query_scalar!(
        r#"insert into exercise (code, created_at) values (?, ?) returning id as "id!""#,
        code,
        at
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(ExerciseId(id))
}

/// Adds the next revision.
///
/// # Errors
/// When the database cannot be written.
pub async fn add_revision(tx: &mut Tx, new: &NewRevision<'_>) -> Result<ExerciseRevisionId, StoreError> {
    let id = sqlx::query_scalar!(
        r#"insert into exercise_revision (exercise, number, title, toml, sha256, created_at, created_by)
           select ?1, coalesce(max(number), 0) + 1, ?2, ?3, ?4, ?5, ?6 from exercise_revision where exercise = ?1
           returning id as "id!""#,
        new.exercise,
        new.title,
        new.toml,
        new.sha256,
        new.at,
        new.by,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(ExerciseRevisionId(id))
}
