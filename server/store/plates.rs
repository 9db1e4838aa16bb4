//! Plates and what they really are. What is read here must never reach a student's page.

use super::ids::{ExerciseId, ExerciseRevisionId, PersonId, PlateId, PlateRevisionId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// Metal or numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "snake_case")]
pub enum Kind {
    /// A real part.
    Physical,
    /// Numbers only.
    Virtual,
}

/// Whether a plate is used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "snake_case")]
pub enum State {
    /// Pairs measure it.
    InService,
    /// Nobody gets it any more.
    Withdrawn,
}

/// A plate with its newest truth.
#[derive(Debug, Clone)]
pub struct PlateLine {
    /// Row.
    pub id: PlateId,
    /// Serial number.
    pub serial: String,
    /// Metal or numbers.
    pub kind: Kind,
    /// Whether it is used.
    pub state: State,
    /// Whether the instructor says that pairs may know what it is.
    pub is_open: bool,
    /// Newest revision of its truth.
    pub revision: PlateRevisionId,
    /// Number of that revision.
    pub number: i64,
    /// A plates file with this one plate in it.
    pub truth: String,
}

/// The plates of an exercise by serial.
///
/// # Errors
/// When the database does not answer.
pub async fn of_exercise(store: &Store, exercise: ExerciseId) -> Result<Vec<PlateLine>, StoreError> {
    Ok(sqlx::query_as!(
        PlateLine,
        r#"select p.id as "id!", p.serial, p.kind as "kind: Kind", p.state as "state: State",
               p.is_open as "is_open: bool", r.id as "revision!", r.number, r.truth
           from plate p join plate_revision r on r.plate = p.id
               and r.number = (select max(n.number) from plate_revision n where n.plate = p.id)
           where p.exercise = ? order by p.serial"#,
        exercise,
    )
    .fetch_all(store.read())
    .await?)
}

/// The newest revisions of the truths of all plates of an exercise, given by one of its revisions; by serial.
///
/// # Errors
/// When the database does not answer.
pub async fn newest_truths(store: &Store, exercise: ExerciseRevisionId) -> Result<Vec<PlateRevisionId>, StoreError> {
    let ids = sqlx::query_scalar!(
        r#"select r.id as "id!" from exercise_revision e join plate p on p.exercise = e.exercise
           join plate_revision r on r.plate = p.id
               and r.number = (select max(n.number) from plate_revision n where n.plate = p.id)
           where e.id = ? order by p.serial"#,
        exercise,
    )
    .fetch_all(store.read())
    .await?;
    Ok(ids.into_iter().map(PlateRevisionId).collect())
}

/// Row and serial of the plates of one kind that are in service, by serial; nothing of their truth.
///
/// # Errors
/// When the database does not answer.
pub async fn in_service(store: &Store, exercise: ExerciseId, kind: Kind) -> Result<Vec<(PlateId, String)>, StoreError> {
    let rows = sqlx::query!(
        r#"select id as "id!", serial from plate
           where exercise = ? and kind = ? and state = 'in_service' order by serial"#,
        exercise,
        kind,
    )
    .fetch_all(store.read())
    .await?;
    Ok(rows.into_iter().map(|r| (PlateId(r.id), r.serial)).collect())
}

/// What decides whether the truth of a plate may go out.
#[derive(Debug, Clone, Copy)]
pub struct Openness {
    /// Metal or numbers.
    pub kind: Kind,
    /// Whether it is used.
    pub state: State,
    /// Whether the instructor says that pairs may know what it is.
    pub is_open: bool,
    /// Whether it was given out, and the due times of everybody who was given it are past.
    pub all_due_past: bool,
}

/// What decides whether the truth of a plate may go out at `now`. Looks at the assignments whose time is not past, never at
/// all that the plate was given out for.
///
/// # Errors
/// When the database does not answer.
pub async fn openness(store: &Store, plate: PlateId, now: When) -> Result<Option<Openness>, StoreError> {
    Ok(sqlx::query_as!(
        Openness,
        r#"select p.kind as "kind: Kind", p.state as "state: State", p.is_open as "is_open: bool",
               exists (select 1 from assignment_plate ap where ap.plate = p.id)
               and not exists (select 1 from assignment a cross join assignment_plate ap on ap.assignment = a.id
                   where a.due_at >= ?2 and ap.plate = p.id and not exists (
                       select 1 from extension x where x.assignment = ap.assignment and x.pair = ap.pair))
               and not exists (select 1 from extension x where x.due_at >= ?2 and exists (
                   select 1 from assignment_plate ap
                   where ap.assignment = x.assignment and ap.pair = x.pair and ap.plate = p.id)) as "all_due_past!: bool"
           from plate p where p.id = ?1"#,
        plate,
        now,
    )
    .fetch_optional(store.read())
    .await?)
}

/// Whether a plate is one of an exercise.
///
/// # Errors
/// When the database does not answer.
pub async fn is_of(store: &Store, plate: PlateId, exercise: ExerciseId) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select 1 from plate where id = ? and exercise = ?) as "is!: bool""#,
        plate,
        exercise,
    )
    .fetch_one(store.read())
    .await?)
}

/// Takes a plate out of service, or puts it back.
///
/// # Errors
/// When the database cannot be written.
pub async fn set_state(tx: &mut Tx, plate: PlateId, state: State) -> Result<(), StoreError> {
    sqlx::query!("update plate set state = ? where id = ?", state, plate)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Says whether pairs may know what a plate is.
///
/// # Errors
/// When the database cannot be written.
pub async fn set_open(tx: &mut Tx, plate: PlateId, is_open: bool) -> Result<(), StoreError> {
    sqlx::query!("update plate set is_open = ? where id = ?", is_open, plate)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// The newest truth of a plate.
///
/// # Errors
/// When the database does not answer.
pub async fn newest_truth(store: &Store, plate: PlateId) -> Result<Option<(PlateRevisionId, String)>, StoreError> {
    let row = sqlx::query!(
        r#"select id as "id!", truth from plate_revision where plate = ? order by number desc limit 1"#,
        plate,
    )
    .fetch_optional(store.read())
    .await?;
    Ok(row.map(|r| (PlateRevisionId(r.id), r.truth)))
}

/// One revision of a truth.
///
/// # Errors
/// When the database does not answer.
pub async fn truth(store: &Store, revision: PlateRevisionId) -> Result<Option<String>, StoreError> {
    Ok(
        sqlx::query_scalar!("select truth from plate_revision where id = ?", revision)
            .fetch_optional(store.read())
            .await?,
    )
}

/// The plate with this serial: row, exercise and newest truth, as the change in progress sees it.
///
/// # Errors
/// When the database does not answer.
pub async fn by_serial(tx: &mut Tx, serial: &str) -> Result<Option<(PlateId, ExerciseId, String)>, StoreError> {
    let row = sqlx::query!(
        r#"select p.id as "id!", p.exercise, r.truth from plate p join plate_revision r on r.plate = p.id
           where p.serial = ? order by r.number desc limit 1"#,
        serial,
    )
    .fetch_optional(tx.connection())
    .await?;
    Ok(row.map(|r| (PlateId(r.id), ExerciseId(r.exercise), r.truth)))
}

/// Registers a plate, still without a truth, in service.
///
/// # Errors
/// When the serial is taken or the database cannot be written.
pub async fn add(tx: &mut Tx, exercise: ExerciseId, serial: &str, kind: Kind, at: When) -> Result<PlateId, StoreError> {
    let id = sqlx::query_scalar!(
        r#"insert into plate (exercise, serial, kind, state, created_at) values (?, ?, ?, 'in_service', ?)
           returning id as "id!""#,
        exercise,
        serial,
        kind,
        at,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(PlateId(id))
}

/// Adds the next revision of what a plate is.
///
/// # Errors
/// When the database cannot be written.
pub async fn add_truth(
    tx: &mut Tx,
    plate: PlateId,
    truth: &str,
    at: When,
    by: Option<PersonId>,
) -> Result<PlateRevisionId, StoreError> {
    let id = sqlx::query_scalar!(
        r#"insert into plate_revision (plate, number, truth, created_at, created_by)
           select ?1, coalesce(max(number), 0) + 1, ?2, ?3, ?4 from plate_revision where plate = ?1
           returning id as "id!""#,
        plate,
        truth,
        at,
        by,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(PlateRevisionId(id))
}

/// The newest truth of a plate, as the change in progress sees it.
///
/// # Errors
/// When the database does not answer.
pub async fn newest_in(tx: &mut Tx, plate: PlateId) -> Result<Option<(PlateRevisionId, String)>, StoreError> {
    let row = sqlx::query!(
        r#"select id as "id!", truth from plate_revision where plate = ? order by number desc limit 1"#,
        plate,
    )
    .fetch_optional(tx.connection())
    .await?;
    Ok(row.map(|r| (PlateRevisionId(r.id), r.truth)))
}
