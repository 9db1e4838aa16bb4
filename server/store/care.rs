//! What is changed at an assignment after it was made: its times and rules, extensions, excuses, plates.

use super::assignments::{Counting, Feedback};
use super::ids::{AssignmentId, ClassId, ExerciseId, PairId, PersonId, PlateId};
use super::plates::Kind;
use super::when::When;
use super::{Store, StoreError, Tx};

/// What can be changed at an assignment.
#[derive(Debug, Clone)]
pub struct Changed<'a> {
    /// Title.
    pub title: &'a str,
    /// From when pairs see it.
    pub opens_at: When,
    /// Until when a report is in time.
    pub due_at: When,
    /// How many attempts.
    pub attempts: i64,
    /// Which counts.
    pub counting: Counting,
    /// Minutes of grace.
    pub late_grace_minutes: i64,
    /// Per cent lost per day begun, as a decimal.
    pub late_percent_per_day: &'a str,
    /// Per cent that is left at least, as a decimal.
    pub late_floor_percent: &'a str,
    /// A `[marks]` table in place of the exercise's.
    pub marks_override: Option<&'a str>,
    /// What a pair sees.
    pub feedback: Feedback,
}

/// Changes an assignment.
///
/// # Errors
/// When the database cannot be written.
pub async fn change(tx: &mut Tx, assignment: AssignmentId, to: &Changed<'_>) -> Result<(), StoreError> {
    sqlx::query!(
        "update assignment set title = ?, opens_at = ?, due_at = ?, attempts = ?, counting = ?, late_grace_minutes = ?,
             late_percent_per_day = ?, late_floor_percent = ?, marks_override = ?, feedback = ? where id = ?",
        to.title,
        to.opens_at,
        to.due_at,
        to.attempts,
        to.counting,
        to.late_grace_minutes,
        to.late_percent_per_day,
        to.late_floor_percent,
        to.marks_override,
        to.feedback,
        assignment,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Moves the due times of a class that are not over at `now`, those of single pairs too. Returns how many assignments.
///
/// # Errors
/// When the database cannot be written.
pub async fn move_due(tx: &mut Tx, class: ClassId, by_ms: i64, now: When) -> Result<u64, StoreError> {
    sqlx::query!(
        "update extension set due_at = due_at + ?1 where due_at >= ?2
             and assignment in (select id from assignment where class = ?3)",
        by_ms,
        now,
        class,
    )
    .execute(tx.connection())
    .await?;
    let moved = sqlx::query!(
        "update assignment set due_at = due_at + ?1 where class = ?2 and due_at >= ?3",
        by_ms,
        class,
        now,
    )
    .execute(tx.connection())
    .await?;
    Ok(moved.rows_affected())
}

/// Another due time for one pair.
#[derive(Debug, Clone)]
pub struct Extension {
    /// Pair.
    pub pair: PairId,
    /// Until when its report is in time.
    pub due_at: When,
    /// Why.
    pub reason: String,
}

/// The extensions of an assignment.
///
/// # Errors
/// When the database does not answer.
pub async fn extensions(store: &Store, assignment: AssignmentId) -> Result<Vec<Extension>, StoreError> {
    Ok(sqlx::query_as!(
        Extension,
        "select pair, due_at, reason from extension where assignment = ? order by pair",
        assignment,
    )
    .fetch_all(store.read())
    .await?)
}

/// Gives a pair another due time, or takes it back.
///
/// # Errors
/// When the database cannot be written.
pub async fn extend(
    tx: &mut Tx,
    assignment: AssignmentId,
    pair: PairId,
    due: Option<(When, &str)>,
    by: PersonId,
    now: When,
) -> Result<(), StoreError> {
    sqlx::query!(
        "delete from extension where assignment = ? and pair = ?",
        assignment,
        pair
    )
    .execute(tx.connection())
    .await?;
    if let Some((due_at, reason)) = due {
        sqlx::query!(
            "insert into extension (assignment, pair, due_at, reason, given_at, given_by) values (?, ?, ?, ?, ?, ?)",
            assignment,
            pair,
            due_at,
            reason,
            now,
            by,
        )
        .execute(tx.connection())
        .await?;
    }
    Ok(())
}

/// A student who does not have to do an assignment.
#[derive(Debug, Clone)]
pub struct Excuse {
    /// Who.
    pub person: PersonId,
    /// Name.
    pub name: String,
    /// Why.
    pub reason: String,
}

/// The excuses of an assignment.
///
/// # Errors
/// When the database does not answer.
pub async fn excuses(store: &Store, assignment: AssignmentId) -> Result<Vec<Excuse>, StoreError> {
    Ok(sqlx::query_as!(
        Excuse,
        "select x.person, p.name, x.reason from excuse x join person p on p.id = x.person
         where x.assignment = ? order by p.name",
        assignment,
    )
    .fetch_all(store.read())
    .await?)
}

/// Excuses a student, or takes the excuse back.
///
/// # Errors
/// When the database cannot be written.
pub async fn excuse(
    tx: &mut Tx,
    assignment: AssignmentId,
    person: PersonId,
    reason: Option<&str>,
    by: PersonId,
    now: When,
) -> Result<(), StoreError> {
    sqlx::query!(
        "delete from excuse where assignment = ? and person = ?",
        assignment,
        person
    )
    .execute(tx.connection())
    .await?;
    if let Some(reason) = reason {
        sqlx::query!(
            "insert into excuse (assignment, person, reason, given_at, given_by) values (?, ?, ?, ?, ?)",
            assignment,
            person,
            reason,
            now,
            by,
        )
        .execute(tx.connection())
        .await?;
    }
    Ok(())
}

/// What an assignment spreads: its exercise and the kind of its plates.
///
/// # Errors
/// When the database does not answer.
pub async fn spreads(store: &Store, assignment: AssignmentId) -> Result<Option<(ExerciseId, Kind)>, StoreError> {
    let row = sqlx::query!(
        r#"select r.exercise, a.plate_kind as "kind: Kind" from assignment a
           join exercise_revision r on r.id = a.exercise_revision where a.id = ?"#,
        assignment,
    )
    .fetch_optional(store.read())
    .await?;
    Ok(row.map(|r| (ExerciseId(r.exercise), r.kind)))
}

/// Says which kind of plates an assignment spreads.
///
/// # Errors
/// When the database cannot be written.
pub async fn set_kind(tx: &mut Tx, assignment: AssignmentId, kind: Kind) -> Result<(), StoreError> {
    sqlx::query!("update assignment set plate_kind = ? where id = ?", kind, assignment)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Ends what a pair has as its plate; what would have begun at `now` or later never was.
///
/// # Errors
/// When the database cannot be written.
pub async fn take_plate(tx: &mut Tx, assignment: AssignmentId, pair: PairId, now: When) -> Result<(), StoreError> {
    sqlx::query!(
        "delete from assignment_plate where assignment = ? and pair = ? and to_at is null and from_at >= ?",
        assignment,
        pair,
        now,
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!(
        "update assignment_plate set to_at = ? where assignment = ? and pair = ? and to_at is null",
        now,
        assignment,
        pair,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// One plate that a pair has or had.
#[derive(Debug, Clone)]
pub struct PlateStay {
    /// Pair.
    pub pair: PairId,
    /// Plate.
    pub plate: PlateId,
    /// Its serial number.
    pub serial: String,
    /// From when.
    pub from_at: When,
    /// Until when; none while the pair has it.
    pub to_at: Option<When>,
}

/// Assignments of a class that are not due yet and for which pairs have people and no plate: row, title, how many pairs.
///
/// # Errors
/// When the database does not answer.
pub async fn without_plates(
    store: &Store,
    class: ClassId,
    now: When,
) -> Result<Vec<(AssignmentId, String, i64)>, StoreError> {
    let rows = sqlx::query!(
        r#"select * from (select a.id as "id!: AssignmentId", a.title, (select count(*) from pair r where r.class = a.class
               and exists (select 1 from pair_person pp where pp.pair = r.id and pp.to_at is null)
               and not exists (select 1 from assignment_plate ap where ap.assignment = a.id and ap.pair = r.id and ap.to_at is null)
               ) as "pairs!: i64" from assignment a where a.class = ?1 and a.due_at >= ?2) where "pairs!: i64" > 0"#,
        class,
        now,
    )
    .fetch_all(store.read())
    .await?;
    Ok(rows.into_iter().map(|r| (r.id, r.title, r.pairs)).collect())
}

/// All plates that pairs have or had for an assignment, in the order of time.
///
/// # Errors
/// When the database does not answer.
pub async fn plate_stays(store: &Store, assignment: AssignmentId) -> Result<Vec<PlateStay>, StoreError> {
    Ok(sqlx::query_as!(
        PlateStay,
        r#"select ap.pair, ap.plate, p.serial, ap.from_at, ap.to_at as "to_at: When"
           from assignment_plate ap join plate p on p.id = ap.plate where ap.assignment = ? order by ap.from_at, ap.id"#,
        assignment,
    )
    .fetch_all(store.read())
    .await?)
}
