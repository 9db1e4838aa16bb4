//! Exercises that are being authored, and all steps of it.

use super::ids::{ExerciseDraftId, ExerciseId, ExerciseRevisionId, PersonId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// A draft as it stands.
#[derive(Debug, Clone)]
pub struct Draft {
    /// Row.
    pub id: ExerciseDraftId,
    /// The exercise; none where it was never published.
    pub exercise: Option<ExerciseId>,
    /// The revision that the next one is made from.
    pub base: Option<ExerciseRevisionId>,
    /// Counts every change of what stands.
    pub version: i64,
    /// The step that stands.
    pub step: i64,
    /// The step before it, if any.
    pub before: Option<i64>,
    /// exercise.toml, with errors or without.
    pub toml: String,
    /// When the step was made.
    pub made_at: When,
    /// By whom.
    pub made_by: Option<String>,
}

/// A line of the list of drafts.
#[derive(Debug, Clone)]
pub struct DraftLine {
    /// Row.
    pub id: ExerciseDraftId,
    /// The exercise; none where it was never published.
    pub exercise: Option<ExerciseId>,
    /// Code as typed.
    pub code: String,
    /// Title as typed.
    pub title: String,
    /// When it was last changed.
    pub made_at: When,
    /// By whom.
    pub made_by: Option<String>,
}

/// A step.
#[derive(Debug, Clone)]
pub struct Step {
    /// 1, 2, 3...
    pub number: i64,
    /// The step that it was made from.
    pub before: Option<i64>,
    /// exercise.toml of it.
    pub toml: String,
    /// What was done.
    pub what: String,
    /// When.
    pub made_at: When,
    /// By whom.
    pub made_by: Option<String>,
}

/// A draft that begins.
#[derive(Debug, Clone, Copy)]
pub struct NewDraft<'a> {
    /// The exercise and its revision; none for a new one.
    pub of: Option<(ExerciseId, ExerciseRevisionId)>,
    /// Code as typed.
    pub code: &'a str,
    /// Title as typed.
    pub title: &'a str,
    /// When.
    pub at: When,
    /// By whom.
    pub by: PersonId,
}

/// A step that is made.
#[derive(Debug, Clone, Copy)]
pub struct NewStep<'a> {
    /// The step that it is made from.
    pub before: Option<i64>,
    /// exercise.toml.
    pub toml: &'a str,
    /// What was done.
    pub what: &'a str,
    /// When.
    pub at: When,
    /// By whom.
    pub by: PersonId,
}

/// All drafts, the last changed first.
///
/// # Errors
/// When the database does not answer.
pub async fn list(store: &Store) -> Result<Vec<DraftLine>, StoreError> {
    Ok(sqlx::query_as!(
        DraftLine,
        r#"select d.id as "id!: ExerciseDraftId", d.exercise as "exercise?: ExerciseId", d.code, d.title, s.made_at, p.name as "made_by?"
           from exercise_draft d
           join exercise_draft_step s on s.draft = d.id and s.number = d.step
           left join person p on p.id = s.made_by
           order by s.made_at desc"#,
    )
    .fetch_all(store.read())
    .await?)
}

/// A draft as it stands.
///
/// # Errors
/// When the database does not answer.
pub async fn one(store: &Store, draft: ExerciseDraftId) -> Result<Option<Draft>, StoreError> {
    Ok(sqlx::query_as!(
        Draft,
        r#"select d.id as "id!: ExerciseDraftId", d.exercise as "exercise?: ExerciseId",
               d.base_revision as "base?: ExerciseRevisionId", d.version, d.step, s.before, s.toml, s.made_at, p.name as "made_by?"
           from exercise_draft d
           join exercise_draft_step s on s.draft = d.id and s.number = d.step
           left join person p on p.id = s.made_by
           where d.id = ?"#,
        draft,
    )
    .fetch_optional(store.read())
    .await?)
}

/// The draft as the change in progress sees it.
///
/// # Errors
/// When the database does not answer.
pub async fn within(tx: &mut Tx, draft: ExerciseDraftId) -> Result<Option<Draft>, StoreError> {
    Ok(sqlx::query_as!(
        Draft,
        r#"select d.id as "id!: ExerciseDraftId", d.exercise as "exercise?: ExerciseId",
               d.base_revision as "base?: ExerciseRevisionId", d.version, d.step, s.before, s.toml, s.made_at, p.name as "made_by?"
           from exercise_draft d
           join exercise_draft_step s on s.draft = d.id and s.number = d.step
           left join person p on p.id = s.made_by
           where d.id = ?"#,
        draft,
    )
    .fetch_optional(tx.connection())
    .await?)
}

/// The draft of a published exercise.
///
/// # Errors
/// When the database does not answer.
pub async fn of_exercise(store: &Store, exercise: ExerciseId) -> Result<Option<ExerciseDraftId>, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select id as "id!: ExerciseDraftId" from exercise_draft where exercise = ?"#,
        exercise
    )
    .fetch_optional(store.read())
    .await?)
}

/// All steps of a draft, the last first.
///
/// # Errors
/// When the database does not answer.
pub async fn steps(store: &Store, draft: ExerciseDraftId) -> Result<Vec<Step>, StoreError> {
    Ok(sqlx::query_as!(
        Step,
        r#"select s.number, s.before, s.toml, s.what, s.made_at, p.name as "made_by?"
           from exercise_draft_step s left join person p on p.id = s.made_by
           where s.draft = ? order by s.number desc"#,
        draft,
    )
    .fetch_all(store.read())
    .await?)
}

/// One step.
///
/// # Errors
/// When the database does not answer.
pub async fn step(store: &Store, draft: ExerciseDraftId, number: i64) -> Result<Option<Step>, StoreError> {
    Ok(sqlx::query_as!(
        Step,
        r#"select s.number, s.before, s.toml, s.what, s.made_at, p.name as "made_by?"
           from exercise_draft_step s left join person p on p.id = s.made_by
           where s.draft = ? and s.number = ?"#,
        draft,
        number,
    )
    .fetch_optional(store.read())
    .await?)
}

/// The newest step that was made from another.
///
/// # Errors
/// When the database does not answer.
pub async fn after(store: &Store, draft: ExerciseDraftId, number: i64) -> Result<Option<i64>, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select max(number) as "number?: i64" from exercise_draft_step where draft = ? and before = ?"#,
        draft,
        number,
    )
    .fetch_one(store.read())
    .await?)
}

/// Begins a draft; its first step is added by [`add_step`].
///
/// # Errors
/// When the exercise has a draft already, or the database cannot be written.
pub async fn add(tx: &mut Tx, new: &NewDraft<'_>) -> Result<ExerciseDraftId, StoreError> {
    let (exercise, base) = (new.of.map(|o| o.0), new.of.map(|o| o.1));
    let id = sqlx::query_scalar!(
        r#"insert into exercise_draft (exercise, base_revision, version, step, code, title, created_at, created_by)
           values (?, ?, 1, 1, ?, ?, ?, ?) returning id as "id!""#,
        exercise,
        base,
        new.code,
        new.title,
        new.at,
        new.by,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(ExerciseDraftId(id))
}

/// Adds a step and gives its number; what stands is not changed by it.
///
/// # Errors
/// When the database cannot be written.
pub async fn add_step(tx: &mut Tx, draft: ExerciseDraftId, new: &NewStep<'_>) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"insert into exercise_draft_step (draft, number, before, toml, what, made_at, made_by)
           select ?1, coalesce(max(number), 0) + 1, ?2, ?3, ?4, ?5, ?6 from exercise_draft_step where draft = ?1
           returning number as "number!""#,
        draft,
        new.before,
        new.toml,
        new.what,
        new.at,
        new.by,
    )
    .fetch_one(tx.connection())
    .await?)
}

/// Lets a step stand.
///
/// # Errors
/// When the database cannot be written.
pub async fn stand(
    tx: &mut Tx,
    draft: ExerciseDraftId,
    step: i64,
    [code, title]: [&str; 2],
) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"update exercise_draft set step = ?, version = version + 1, code = ?, title = ? where id = ?
           returning version as "version!""#,
        step,
        code,
        title,
        draft,
    )
    .fetch_one(tx.connection())
    .await?)
}

/// Says which revision the next one is made from.
///
/// # Errors
/// When the database cannot be written.
pub async fn rebase(tx: &mut Tx, draft: ExerciseDraftId, base: ExerciseRevisionId) -> Result<(), StoreError> {
    sqlx::query!("update exercise_draft set base_revision = ? where id = ?", base, draft)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Takes a draft away with its steps.
///
/// # Errors
/// When the database cannot be written.
pub async fn remove(tx: &mut Tx, draft: ExerciseDraftId) -> Result<(), StoreError> {
    sqlx::query!("delete from exercise_draft where id = ?", draft)
        .execute(tx.connection())
        .await?;
    Ok(())
}
