//! Reports as they came. A report never changes; what is thought of it is in its grades.

use std::collections::{BTreeMap, BTreeSet};

use sqlx::{QueryBuilder, Sqlite};

use super::ids::{AssignmentId, PairId, PersonId, PlateId, ReportId};
use super::other_plates::{self, Said};
use super::packed::Packed;
use super::when::When;
use super::{Store, StoreError, Tx, filled, json_of};

/// How a report came in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "snake_case")]
pub enum SourceKind {
    /// Typed into the form.
    Form,
    /// Pasted from a spreadsheet.
    Paste,
    /// An uploaded file.
    Csv,
}

/// A report that is about to be stored.
#[derive(Debug, Clone)]
pub struct NewReport {
    /// Assignment.
    pub assignment: AssignmentId,
    /// Pair.
    pub pair: PairId,
    /// Plate that was measured.
    pub plate: PlateId,
    /// The attempt that the person saw on the page; nothing is stored under another number.
    pub attempt: i64,
    /// Attempts that the pair has.
    pub attempts_allowed: i64,
    /// Who handed it in.
    pub person: PersonId,
    /// When.
    pub handed_in_at: When,
    /// SHA-256 of the key of the submission, bound to the pair.
    pub idempotency_key: [u8; 32],
    /// SHA-256 of the values and calls as JSON.
    pub items_sha256: [u8; 32],
    /// Values and calls.
    pub items: Packed,
    /// How it came in.
    pub source_kind: SourceKind,
    /// File name, where it was a file.
    pub source_name: Option<String>,
    /// SHA-256 of the bytes.
    pub source_sha256: [u8; 32],
    /// The bytes as they came.
    pub source_bytes: Vec<u8>,
    /// What the pair says beside its numbers.
    pub note: Note,
    /// Where it is on another plate than the pair was given.
    pub other_plate: Option<Said>,
}

impl NewReport {
    /// Whether it is the one that comes after so many attempts.
    pub(super) fn comes_after(&self, used: i64) -> bool {
        self.attempt == used + 1 && self.attempt <= self.attempts_allowed
    }
}

/// What a pair says beside its numbers.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Note {
    /// Remarks.
    pub remarks: Option<String>,
    /// The set-up record as JSON.
    pub set_up: Option<String>,
}

/// What became of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stored {
    /// It is a new report.
    New(ReportId),
    /// The same numbers were stored before, by the same submission or for the same attempt.
    Same(ReportId),
    /// Other numbers were handed in for this attempt before, or with this key (the back button, then a change).
    AttemptTaken(ReportId),
    /// There is no such attempt: all are used, or those before it are not.
    NoSuchAttempt,
}

/// Stores a report unless the rules forbid it.
///
/// # Errors
/// When the database cannot be written.
pub(super) async fn store(tx: &mut Tx, new: &NewReport) -> Result<Stored, StoreError> {
    let (key, items_sha, source_sha) = (
        new.idempotency_key.as_slice(),
        new.items_sha256.as_slice(),
        new.source_sha256.as_slice(),
    );
    let inserted = sqlx::query_scalar!(
        r#"insert into report (id, assignment, pair, plate, attempt, person, handed_in_at, idempotency_key, items_sha256,
               items, source_kind, source_name, source_sha256, source_bytes)
           select (select max(coalesce((select max(id) from report), 0), l.id) + 1 from report_last l), ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13
           where ?4 <= ?14
               and ?4 = (select coalesce(max(attempt), 0) + 1 from report where assignment = ?1 and pair = ?2)
           on conflict (idempotency_key) do nothing returning id as "id!""#,
        new.assignment,
        new.pair,
        new.plate,
        new.attempt,
        new.person,
        new.handed_in_at,
        key,
        items_sha,
        new.items,
        new.source_kind,
        new.source_name,
        source_sha,
        new.source_bytes,
        new.attempts_allowed,
    )
    .fetch_optional(tx.connection())
    .await?;
    if let Some(id) = inserted {
        end_drafts(tx, &[new]).await?;
        return stored(tx, ReportId(id), new).await;
    }
    let before = sqlx::query!(
        r#"select id as "id!", items_sha256 = ?2 as "same!: bool" from report
           where idempotency_key = ?1 or (assignment = ?3 and pair = ?4 and attempt = ?5)
           order by idempotency_key = ?1 desc limit 1"#,
        key,
        items_sha,
        new.assignment,
        new.pair,
        new.attempt,
    )
    .fetch_optional(tx.connection())
    .await?;
    Ok(match before {
        Some(row) if row.same => Stored::Same(ReportId(row.id)),
        Some(row) => Stored::AttemptTaken(ReportId(row.id)),
        None => Stored::NoSuchAttempt,
    })
}

/// Stores reports that come next in one statement: their rows in the order of `new`, none where a key was used
/// before. They get the numbers after `last`. No two may be of one pair for one assignment. With an error nothing of it is kept. Drafts stay until [`end_drafts`].
///
/// # Errors
/// When the database cannot be written, or one of them breaks a constraint.
pub(super) async fn store_together(
    tx: &mut Tx,
    new: &[&NewReport],
    last: ReportId,
) -> Result<Vec<Option<ReportId>>, StoreError> {
    let ids = || (last.0 + 1..).map(ReportId);
    // As many rows as there are cannot stand in a statement that is checked beforehand.
    let mut query = QueryBuilder::<Sqlite>::new(
        "insert into report (id, assignment, pair, plate, attempt, person, handed_in_at, idempotency_key, items_sha256, items, \
         source_kind, source_name, source_sha256, source_bytes) select * from (",
    );
    query.push_values(filled(new).zip(ids()), |mut row, (r, id)| {
        row.push_bind(r.map(|_| id));
        row.push_bind(r.map(|r| r.assignment));
        row.push_bind(r.map(|r| r.pair)).push_bind(r.map(|r| r.plate));
        row.push_bind(r.map(|r| r.attempt)).push_bind(r.map(|r| r.person));
        row.push_bind(r.map(|r| r.handed_in_at));
        row.push_bind(r.map(|r| r.idempotency_key.as_slice()));
        row.push_bind(r.map(|r| r.items_sha256.as_slice()));
        row.push_bind(r.map(|r| &r.items));
        row.push_bind(r.map(|r| r.source_kind));
        row.push_bind(r.and_then(|r| r.source_name.as_deref()));
        row.push_bind(r.map(|r| r.source_sha256.as_slice()));
        row.push_bind(r.map(|r| r.source_bytes.as_slice()));
    });
    query.push(") where column1 is not null on conflict (idempotency_key) do nothing");
    let stored = query.build().execute(tx.connection()).await?.rows_affected();
    if usize::try_from(stored) == Ok(new.len()) {
        return Ok(new.iter().zip(ids()).map(|(_, id)| Some(id)).collect());
    }
    let found: BTreeSet<i64> = sqlx::query_scalar!(r#"select id as "id!" from report where id > ?"#, last)
        .fetch_all(tx.connection())
        .await?
        .into_iter()
        .collect();
    Ok(new
        .iter()
        .zip(ids())
        .map(|(_, id)| found.contains(&id.0).then_some(id))
        .collect())
}

/// Drafts end with the report that is made of them.
///
/// # Errors
/// When the database cannot be written.
pub(super) async fn end_drafts(tx: &mut Tx, new: &[&NewReport]) -> Result<(), StoreError> {
    let pairs: Vec<_> = new.iter().map(|r| (r.assignment, r.pair)).collect();
    let pairs = json_of("pairs", &pairs)?;
    sqlx::query!(
        "delete from draft where (assignment, pair) in (select value ->> 0, value ->> 1 from json_each(?))",
        pairs
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Keeps what comes with a report whose row was just inserted.
///
/// # Errors
/// When the database cannot be written.
pub(super) async fn stored(tx: &mut Tx, report: ReportId, new: &NewReport) -> Result<Stored, StoreError> {
    add_note(tx, report, &new.note).await?;
    if let Some(said) = &new.other_plate {
        other_plates::add(tx, report, said, new.person, new.handed_in_at).await?;
    }
    Ok(Stored::New(report))
}

async fn add_note(tx: &mut Tx, report: ReportId, note: &Note) -> Result<(), StoreError> {
    if *note == Note::default() {
        return Ok(());
    }
    sqlx::query!(
        "insert into report_note (report, remarks, set_up) values (?, ?, ?)",
        report,
        note.remarks,
        note.set_up,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// What the pair said beside the numbers of a report.
///
/// # Errors
/// When the database does not answer.
pub async fn note(store: &Store, report: ReportId) -> Result<Note, StoreError> {
    let note = sqlx::query_as!(Note, "select remarks, set_up from report_note where report = ?", report)
        .fetch_optional(store.read())
        .await?;
    Ok(note.unwrap_or_default())
}

/// A report with what pages need beside it, without its source.
#[derive(Debug, Clone)]
pub struct Report {
    /// Row.
    pub id: ReportId,
    /// Assignment.
    pub assignment: AssignmentId,
    /// Pair.
    pub pair: PairId,
    /// Name of the pair.
    pub pair_name: String,
    /// Plate.
    pub plate: PlateId,
    /// Its serial number.
    pub serial: String,
    /// Attempt.
    pub attempt: i64,
    /// Who handed it in; none where the person's data are deleted.
    pub person: Option<String>,
    /// When.
    pub handed_in_at: When,
    /// Values and calls.
    pub items: Packed,
    /// How it came in.
    pub source_kind: SourceKind,
    /// File name, where it was a file.
    pub source_name: Option<String>,
}

/// One line of the reports of an assignment.
#[derive(Debug, Clone)]
pub struct ReportLine {
    /// Row.
    pub id: ReportId,
    /// Name of the pair.
    pub pair_name: String,
    /// Serial number of the plate.
    pub serial: String,
    /// Attempt.
    pub attempt: i64,
    /// When.
    pub handed_in_at: When,
    /// Whether a grade has been computed.
    pub graded: bool,
    /// Mark before the late rule.
    pub mark: Option<String>,
    /// Why a person should look at it.
    pub review: Option<String>,
}

/// A report, without asking whose it is: for actions that have asked already.
///
/// # Errors
/// When the database does not answer.
pub async fn one(store: &Store, report: ReportId) -> Result<Option<Report>, StoreError> {
    Ok(sqlx::query_as!(
        Report,
        r#"select r.id as "id!", r.assignment, r.pair, p.name as pair_name, r.plate, l.serial, r.attempt,
               w.name as "person?", r.handed_in_at, r.items as "items: Packed", r.source_kind as "source_kind: SourceKind", r.source_name
           from report r join pair p on p.id = r.pair join plate l on l.id = r.plate
           left join person w on w.id = r.person where r.id = ?"#,
        report,
    )
    .fetch_optional(store.read())
    .await?)
}

/// Whether a report belongs to a class of this person (staff).
///
/// # Errors
/// When the database does not answer.
pub async fn is_of_class_of(store: &Store, report: ReportId, person: PersonId) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select 1 from report r join assignment a on a.id = r.assignment
           join class_person m on m.class = a.class
           where r.id = ? and m.person = ? and m.left_at is null) as "is!: bool""#,
        report,
        person,
    )
    .fetch_one(store.read())
    .await?)
}

/// Whether this person was in the report's pair when it was handed in, and still is in the class.
///
/// # Errors
/// When the database does not answer.
pub async fn is_by(store: &Store, report: ReportId, person: PersonId) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select 1 from report r join assignment a on a.id = r.assignment
           join class_person m on m.class = a.class and m.person = ?2 and m.left_at is null
           join pair_person pp on pp.pair = r.pair and pp.person = ?2
               and pp.from_at <= r.handed_in_at and (pp.to_at is null or pp.to_at > r.handed_in_at)
           where r.id = ?1) as "is!: bool""#,
        report,
        person,
    )
    .fetch_one(store.read())
    .await?)
}

/// The reports of an assignment, by pair and attempt.
///
/// # Errors
/// When the database does not answer.
pub async fn of_assignment(store: &Store, assignment: AssignmentId) -> Result<Vec<ReportLine>, StoreError> {
    Ok(sqlx::query_as!(
        ReportLine,
        r#"select r.id as "id!", p.name as pair_name, l.serial, r.attempt, r.handed_in_at,
               g.id is not null as "graded!: bool", g.mark as "mark?", g.review as "review?"
           from report r join pair p on p.id = r.pair join plate l on l.id = r.plate
           left join grade g on g.report = r.id and g.superseded_at is null
           where r.assignment = ? order by p.id, r.attempt"#,
        assignment,
    )
    .fetch_all(store.read())
    .await?)
}

/// The reports of one pair for one assignment, first attempt first.
///
/// # Errors
/// When the database does not answer.
pub async fn of_pair(store: &Store, assignment: AssignmentId, pair: PairId) -> Result<Vec<ReportLine>, StoreError> {
    Ok(sqlx::query_as!(
        ReportLine,
        r#"select r.id as "id!", p.name as pair_name, l.serial, r.attempt, r.handed_in_at,
               g.id is not null as "graded!: bool", g.mark as "mark?", g.review as "review?"
           from report r join pair p on p.id = r.pair join plate l on l.id = r.plate
           left join grade g on g.report = r.id and g.superseded_at is null
           where r.assignment = ? and r.pair = ? order by r.attempt"#,
        assignment,
        pair,
    )
    .fetch_all(store.read())
    .await?)
}

/// The reports for one assignment that a person had a part in, in whichever pair, in the order in which they were handed in.
///
/// # Errors
/// When the database does not answer.
pub async fn of_student(
    store: &Store,
    assignment: AssignmentId,
    student: PersonId,
) -> Result<Vec<ReportLine>, StoreError> {
    Ok(sqlx::query_as!(
        ReportLine,
        r#"select r.id as "id!", p.name as "pair_name!", l.serial as "serial!", r.attempt as "attempt!",
               r.handed_in_at as "handed_in_at!", g.id is not null as "graded!: bool", g.mark as "mark?", g.review as "review?"
           from pair_person pp join report r on r.pair = pp.pair and r.assignment = ?1
               and pp.from_at <= r.handed_in_at and (pp.to_at is null or pp.to_at > r.handed_in_at)
           join pair p on p.id = r.pair join plate l on l.id = r.plate
           left join grade g on g.report = r.id and g.superseded_at is null
           where pp.person = ?2 order by r.handed_in_at, r.id"#,
        assignment,
        student,
    )
    .fetch_all(store.read())
    .await?)
}

/// How many reports a student handed in with pairs that the student is in no more, by assignment.
///
/// # Errors
/// When the database does not answer.
pub async fn with_others(store: &Store, student: PersonId) -> Result<BTreeMap<AssignmentId, i64>, StoreError> {
    let rows = sqlx::query!(
        r#"select a.id as "assignment!: AssignmentId", count(*) as "n!: i64"
           from pair_person pp cross join pair p on p.id = pp.pair cross join assignment a on a.class = p.class
           cross join report r on r.assignment = a.id and r.pair = pp.pair
               and pp.from_at <= r.handed_in_at and pp.to_at > r.handed_in_at
           where pp.person = ?1 and pp.to_at is not null group by a.id"#,
        student,
    )
    .fetch_all(store.read())
    .await?;
    Ok(rows.into_iter().map(|r| (r.assignment, r.n)).collect())
}

/// Source of a report: kind, file name and bytes as they came.
///
/// # Errors
/// When the database does not answer.
pub async fn source(
    store: &Store,
    report: ReportId,
) -> Result<Option<(SourceKind, Option<String>, Vec<u8>)>, StoreError> {
    let row = sqlx::query!(
        r#"select source_kind as "kind: SourceKind", source_name, source_bytes from report where id = ?"#,
        report,
    )
    .fetch_optional(store.read())
    .await?;
    Ok(row.map(|r| (r.kind, r.source_name, r.source_bytes)))
}
