//! Photos and PDFs beside reports. They belong to an attempt of a pair, so that they can come before its report and after.

use super::ids::{AssignmentId, EvidenceId, PairId, PersonId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// What a file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "snake_case")]
pub enum Kind {
    /// A photo.
    Jpeg,
    /// A document.
    Pdf,
}

impl Kind {
    /// How the names of such files end.
    #[must_use]
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Jpeg => "jpeg",
            Self::Pdf => "pdf",
        }
    }
}

/// Whose it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Of {
    /// Assignment.
    pub assignment: AssignmentId,
    /// Pair.
    pub pair: PairId,
    /// Attempt.
    pub attempt: i64,
}

/// One file, without its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Evidence {
    /// Row.
    pub id: EvidenceId,
    /// What it is.
    pub kind: Kind,
    /// Its name as it came; never used as a path.
    pub name: String,
    /// Bytes.
    pub size: i64,
}

/// The files of an attempt, in the order in which they came.
///
/// # Errors
/// When the database does not answer.
pub async fn of(store: &Store, of: Of) -> Result<Vec<Evidence>, StoreError> {
    Ok(sqlx::query_as!(
        Evidence,
        r#"select id as "id!", kind as "kind: Kind", name, size from evidence
           where assignment = ? and pair = ? and attempt = ? order by id"#,
        of.assignment,
        of.pair,
        of.attempt,
    )
    .fetch_all(store.read())
    .await?)
}

/// One file of an attempt with its bytes.
///
/// # Errors
/// When the database does not answer.
pub async fn bytes(store: &Store, of: Of, evidence: EvidenceId) -> Result<Option<(Kind, Vec<u8>)>, StoreError> {
    let row = sqlx::query!(
        r#"select e.kind as "kind: Kind", b.bytes from evidence e join evidence_bytes b on b.evidence = e.id
           where e.id = ? and e.assignment = ? and e.pair = ? and e.attempt = ?"#,
        evidence,
        of.assignment,
        of.pair,
        of.attempt,
    )
    .fetch_optional(store.read())
    .await?;
    Ok(row.map(|r| (r.kind, r.bytes)))
}

/// The files that a person added or that lie beside reports the person had a part in, oldest first, without their bytes.
///
/// # Errors
/// When the database does not answer.
pub async fn of_person(store: &Store, person: PersonId) -> Result<Vec<(EvidenceId, Kind)>, StoreError> {
    let rows = sqlx::query!(
        r#"select distinct e.id as "id!: EvidenceId", e.kind as "kind: Kind" from pair_person pp
           join pair p on p.id = pp.pair join assignment a on a.class = p.class
           join evidence e on e.assignment = a.id and e.pair = pp.pair
           where pp.person = ?1 and (e.added_by = ?1 or exists (select 1 from report r where r.assignment = e.assignment
               and r.pair = e.pair and r.attempt = e.attempt and pp.from_at <= r.handed_in_at
               and (pp.to_at is null or pp.to_at > r.handed_in_at))) order by e.id"#,
        person,
    )
    .fetch_all(store.read())
    .await?;
    Ok(rows.into_iter().map(|r| (r.id, r.kind)).collect())
}

/// The bytes of one file.
///
/// # Errors
/// When the database does not answer.
pub async fn bytes_of(store: &Store, evidence: EvidenceId) -> Result<Vec<u8>, StoreError> {
    Ok(
        sqlx::query_scalar!("select bytes from evidence_bytes where evidence = ?", evidence)
            .fetch_one(store.read())
            .await?,
    )
}

/// A file that is about to be kept.
#[derive(Debug, Clone)]
pub struct New<'a> {
    /// What it is.
    pub kind: Kind,
    /// Its name.
    pub name: &'a str,
    /// SHA-256 of the bytes.
    pub sha256: &'a [u8],
    /// The bytes.
    pub bytes: &'a [u8],
}

/// Beside what a file is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Beside {
    /// An attempt that is not handed in yet.
    Draft,
    /// The report of an attempt.
    Report,
}

/// What became of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Added {
    /// It is kept.
    New,
    /// The same file was kept there before.
    Same,
    /// As many as are kept are there already.
    TooMany,
    /// The attempt that was to be a draft is handed in.
    HandedIn,
}

/// Adds a file, if the attempt has fewer than `most` and is still a draft where it is to be one; the same file twice is one.
///
/// # Errors
/// When the database cannot be written.
pub async fn add(
    tx: &mut Tx,
    (of, beside): (Of, Beside),
    new: &New<'_>,
    most: i64,
    now: When,
    by: PersonId,
) -> Result<Added, StoreError> {
    let size = i64::try_from(new.bytes.len()).unwrap_or(i64::MAX);
    let id = sqlx::query_scalar!(
        r#"insert into evidence (assignment, pair, attempt, kind, name, sha256, size, added_at, added_by)
           select ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9
           where (select count(*) from evidence where assignment = ?1 and pair = ?2 and attempt = ?3) < ?10
               and (?11 or not exists (select 1 from report where assignment = ?1 and pair = ?2 and attempt = ?3))
           on conflict (assignment, pair, attempt, sha256) do nothing returning id as "id!""#,
        of.assignment,
        of.pair,
        of.attempt,
        new.kind,
        new.name,
        new.sha256,
        size,
        now,
        by,
        most,
        beside == Beside::Report,
    )
    .fetch_optional(tx.connection())
    .await?;
    if let Some(id) = id {
        sqlx::query!(
            "insert into evidence_bytes (evidence, bytes) values (?, ?)",
            id,
            new.bytes
        )
        .execute(tx.connection())
        .await?;
        return Ok(Added::New);
    }
    let there = sqlx::query!(
        r#"select exists (select 1 from evidence where assignment = ?1 and pair = ?2 and attempt = ?3 and sha256 = ?4) as "same!: bool",
               exists (select 1 from report where assignment = ?1 and pair = ?2 and attempt = ?3) as "handed_in!: bool""#,
        of.assignment,
        of.pair,
        of.attempt,
        new.sha256,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(match beside {
        Beside::Draft if there.handed_in => Added::HandedIn,
        _ if there.same => Added::Same,
        _ => Added::TooMany,
    })
}

/// Takes a file of an attempt away, as long as the attempt is not handed in; whether it was there.
///
/// # Errors
/// When the database cannot be written.
pub async fn remove(tx: &mut Tx, of: Of, evidence: EvidenceId) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "delete from evidence where id = ?1 and assignment = ?2 and pair = ?3 and attempt = ?4
         and not exists (select 1 from report where assignment = ?2 and pair = ?3 and attempt = ?4)",
        evidence,
        of.assignment,
        of.pair,
        of.attempt,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() > 0)
}
