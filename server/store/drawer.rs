//! The plate drawer: where plates are, who has them, what became of them. Nothing of what they really are.

use super::ids::{ExerciseId, PlateId, PlateRevisionId};
use super::plates::{Kind, State};
use super::when::When;
use super::{Store, StoreError, Tx};

/// A plate of the register.
#[derive(Debug, Clone)]
pub struct Registered {
    /// Row.
    pub id: PlateId,
    /// Exercise that it is a copy of.
    pub exercise: ExerciseId,
    /// Code of the exercise.
    pub code: String,
    /// Serial number.
    pub serial: String,
    /// Metal or numbers.
    pub kind: Kind,
    /// Whether it is used.
    pub state: State,
    /// What is written on it beside the serial.
    pub label: String,
    /// Where it lies when nobody has it.
    pub place: String,
    /// Why it was withdrawn.
    pub withdrawn_why: String,
    /// Who has it; none: it is in.
    pub holder: Option<String>,
    /// Since when.
    pub out_at: Option<When>,
    /// Reports on it.
    pub reports: i64,
    /// Number of its newest truth.
    pub number: i64,
}

/// All plates of all exercises, by code and serial.
///
/// # Errors
/// When the database does not answer.
pub async fn all(store: &Store) -> Result<Vec<Registered>, StoreError> {
    Ok(sqlx::query_as!(
        Registered,
        r#"select p.id as "id!: PlateId", p.exercise, e.code, p.serial, p.kind as "kind: Kind", p.state as "state: State",
               p.label, p.place, p.withdrawn_why, l.holder as "holder?", l.out_at as "out_at?: When",
               (select count(*) from report r where r.plate = p.id) as "reports!: i64",
               (select coalesce(max(n.number), 0) from plate_revision n where n.plate = p.id) as "number!: i64"
           from plate p join exercise e on e.id = p.exercise
           left join plate_loan l on l.plate = p.id and l.in_at is null
           order by e.code, p.kind, p.serial"#,
    )
    .fetch_all(store.read())
    .await?)
}

/// One plate of the register.
///
/// # Errors
/// When the database does not answer.
pub async fn one(store: &Store, plate: PlateId) -> Result<Option<Registered>, StoreError> {
    Ok(sqlx::query_as!(
        Registered,
        r#"select p.id as "id!: PlateId", p.exercise, e.code, p.serial, p.kind as "kind: Kind", p.state as "state: State",
               p.label, p.place, p.withdrawn_why, l.holder as "holder?", l.out_at as "out_at?: When",
               (select count(*) from report r where r.plate = p.id) as "reports!: i64",
               (select coalesce(max(n.number), 0) from plate_revision n where n.plate = p.id) as "number!: i64"
           from plate p join exercise e on e.id = p.exercise
           left join plate_loan l on l.plate = p.id and l.in_at is null
           where p.id = ?"#,
        plate,
    )
    .fetch_optional(store.read())
    .await?)
}

/// Serials that are taken by any exercise.
///
/// # Errors
/// When the database does not answer.
pub async fn serials(store: &Store) -> Result<Vec<String>, StoreError> {
    Ok(sqlx::query_scalar!("select serial from plate order by serial")
        .fetch_all(store.read())
        .await?)
}

/// Somebody who had a plate.
#[derive(Debug, Clone)]
pub struct Loan {
    /// Who.
    pub holder: String,
    /// From when.
    pub out_at: When,
    /// Until when; none: still.
    pub in_at: Option<When>,
    /// What was noted when it came back.
    pub remark: String,
}

/// Who had a plate, newest first.
///
/// # Errors
/// When the database does not answer.
pub async fn loans(store: &Store, plate: PlateId) -> Result<Vec<Loan>, StoreError> {
    Ok(sqlx::query_as!(
        Loan,
        r#"select holder, out_at, in_at as "in_at?: When", remark from plate_loan where plate = ?
           order by out_at desc, id desc"#,
        plate,
    )
    .fetch_all(store.read())
    .await?)
}

/// Gives a plate out; false where somebody has it already.
///
/// # Errors
/// When the database cannot be written.
pub async fn give(tx: &mut Tx, plate: PlateId, holder: &str, at: When) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "insert into plate_loan (plate, holder, out_at)
         select ?1, ?2, ?3 where not exists (select 1 from plate_loan l where l.plate = ?1 and l.in_at is null)",
        plate,
        holder,
        at,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() > 0)
}

/// Takes a plate back; false where nobody has it.
///
/// # Errors
/// When the database cannot be written.
pub async fn take_back(tx: &mut Tx, plate: PlateId, at: When, remark: &str) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update plate_loan set in_at = max(?2, out_at), remark = ?3 where plate = ?1 and in_at is null",
        plate,
        at,
        remark,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() > 0)
}

/// Writes down label and place.
///
/// # Errors
/// When the database cannot be written.
pub async fn set_place(tx: &mut Tx, plate: PlateId, label: &str, place: &str) -> Result<(), StoreError> {
    sqlx::query!(
        "update plate set label = ?, place = ? where id = ?",
        label,
        place,
        plate
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Writes down why a plate is withdrawn; empty when it is put back.
///
/// # Errors
/// When the database cannot be written.
pub async fn set_why(tx: &mut Tx, plate: PlateId, why: &str) -> Result<(), StoreError> {
    sqlx::query!("update plate set withdrawn_why = ? where id = ?", why, plate)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// One revision of what a plate is, without it.
#[derive(Debug, Clone)]
pub struct RevisionLine {
    /// Row.
    pub id: PlateRevisionId,
    /// 1, 2, 3...
    pub number: i64,
    /// When it was made.
    pub created_at: When,
    /// By whom.
    pub created_by: Option<String>,
    /// How it came about; none: imported.
    pub kind: Option<String>,
    /// What it was made of, as JSON.
    pub detail: Option<String>,
    /// Grades that count and were computed with it.
    pub grades: i64,
}

/// The revisions of a plate's truth, newest first.
///
/// # Errors
/// When the database does not answer.
pub async fn revisions(store: &Store, plate: PlateId) -> Result<Vec<RevisionLine>, StoreError> {
    Ok(sqlx::query_as!(
        RevisionLine,
        r#"select r.id as "id!: PlateRevisionId", r.number, r.created_at, p.name as "created_by?", n.kind as "kind?",
               n.detail as "detail?",
               (select count(*) from grade g join report t on t.id = g.report
                where t.plate = r.plate and g.plate_revision = r.id and g.superseded_at is null) as "grades!: i64"
           from plate_revision r left join person p on p.id = r.created_by
           left join plate_revision_note n on n.plate_revision = r.id
           where r.plate = ? order by r.number desc"#,
        plate,
    )
    .fetch_all(store.read())
    .await?)
}

/// Notes how a revision came about.
///
/// # Errors
/// When the database cannot be written.
pub async fn note(tx: &mut Tx, revision: PlateRevisionId, kind: &str, detail: &str) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into plate_revision_note (plate_revision, kind, detail) values (?, ?, ?)",
        revision,
        kind,
        detail,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}
