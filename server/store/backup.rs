//! A copy of the whole school, made while the server runs, and checked before anybody relies on it.

use std::collections::BTreeSet;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{ConnectOptions, Connection};
use thiserror::Error;

use super::end_of_term::{Gone, TakenOut};
use super::files::{self, Passing};
use super::ids::{ClassId, PersonId};
use super::when::When;
use super::{FILE_NAME, StoreError};

/// The first schema with a list of whose names were taken out.
const FORGETS: i64 = 41;

/// Why there is no copy.
#[derive(Debug, Error)]
pub enum BackupError {
    /// No database.
    #[error("there is no school in {}; check the folder", folder.display())]
    NoSchool {
        /// The folder.
        folder: PathBuf,
    },
    /// Never over a file.
    #[error("{} is there already; a backup never takes the place of a file. Give another name", file.display())]
    Exists {
        /// The file.
        file: PathBuf,
    },
    /// The file is no backup, or damaged.
    #[error("{} is not a whole backup: {why}. Nothing was changed", file.display())]
    Damaged {
        /// The file.
        file: PathBuf,
        /// What is wrong.
        why: String,
    },
    /// The file is something else.
    #[error("{} is not a backup of this program. Nothing was changed", file.display())]
    NotASchool {
        /// The file.
        file: PathBuf,
    },
    /// The file was made by a newer version.
    #[error(
        "{} was made by a newer version of this program (schema {theirs}; this one knows {ours}). Restore it with that \
         version. Nothing was changed",
        file.display()
    )]
    TooNew {
        /// The file.
        file: PathBuf,
        /// Its schema.
        theirs: i64,
        /// The newest that this program knows.
        ours: i64,
    },
    /// A file could not be read or written.
    #[error("{}: {source}", file.display())]
    File {
        /// The file.
        file: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl BackupError {
    /// Whether a copy failed because of where it was to be written, or of somebody who holds the school: not because the school
    /// cannot be read.
    #[must_use]
    pub const fn is_of_the_copy(&self) -> bool {
        matches!(
            self,
            Self::Exists { .. } | Self::File { .. } | Self::Store(StoreError::CannotWrite(_) | StoreError::Busy(_))
        )
    }

    fn from_sqlx(error: sqlx::Error) -> Self {
        Self::Store(error.into())
    }
}

fn at(file: &Path) -> impl FnOnce(std::io::Error) -> BackupError {
    let file = file.to_owned();
    move |source| BackupError::File { file, source }
}

/// What is in a copy that was checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Checked {
    /// People.
    pub people: i64,
    /// Reports.
    pub reports: i64,
}

async fn open(file: &Path) -> Result<SqliteConnection, BackupError> {
    let options = SqliteConnectOptions::new().filename(file).read_only(true);
    Ok(options.connect().await.map_err(StoreError::from)?)
}

/// Copies the school in `folder` to a new file, checks the copy and sees that it is on the disk. A server may run on the folder
/// meanwhile.
///
/// # Errors
/// When there is no school, the file is there already, or the copy is not whole; then there is no copy.
pub async fn copy(folder: &Path, to: &Path) -> Result<Checked, BackupError> {
    let (checked, made) = passing_copy(folder, to).await?;
    files::sync(to).await.map_err(at(to))?;
    files::sync_folder(files::folder_of(to)).map_err(at(to))?;
    made.keep();
    Ok(checked)
}

/// The same for a copy that is only read: it goes with what is returned, and need not outlive a power cut.
///
/// # Errors
/// As [`copy`].
pub async fn passing_copy(folder: &Path, to: &Path) -> Result<(Checked, Passing), BackupError> {
    let from = folder.join(FILE_NAME);
    if !from.exists() {
        return Err(BackupError::NoSchool {
            folder: folder.to_owned(),
        });
    }
    // Made here, so that it is ours: SQLite takes an empty file.
    if let Err(source) = std::fs::File::create_new(to) {
        return Err(match source.kind() {
            std::io::ErrorKind::AlreadyExists => BackupError::Exists { file: to.to_owned() },
            _ => at(to)(source),
        });
    }
    let made = Passing::new(to);
    copy_with_log(&from, to).await?;
    Ok((check(to).await?, made))
}

/// Copies a database with what is in its log into one file, which is empty or not there yet.
async fn copy_with_log(from: &Path, to: &Path) -> Result<(), BackupError> {
    let mut school = open(from).await?;
    let name = to.to_string_lossy().into_owned();
    // Reads in one transaction, so the copy is of one moment; no statement of a table, so nothing to check beforehand.
    sqlx::query("vacuum into ?")
        .bind(name)
        .execute(&mut school)
        .await
        .map_err(StoreError::from)?;
    school.close().await.map_err(StoreError::from)?;
    Ok(())
}

/// The log that SQLite keeps beside a file.
#[must_use]
pub fn log_of(file: &Path) -> PathBuf {
    let mut log = file.as_os_str().to_owned();
    log.push("-wal");
    PathBuf::from(log)
}

/// Whether something lies in the log beside a file; then the file alone is not the whole school.
///
/// # Errors
/// When the file is not there or the log cannot be looked at.
pub fn has_log(file: &Path) -> std::io::Result<bool> {
    // SQLite looks beside the file to which a link leads.
    match std::fs::metadata(log_of(&std::fs::canonicalize(file)?)) {
        Ok(log) => Ok(log.len() > 0),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(false),
        Err(error) => Err(error),
    }
}

/// Brings a checked backup to another place whole: with what is in a log beside it, for it was checked with that.
///
/// # Errors
/// When it cannot be read or the other place not be written.
pub async fn bring(file: &Path, to: &Path) -> Result<(), BackupError> {
    if has_log(file).map_err(at(file))? {
        match std::fs::remove_file(to) {
            Err(source) if source.kind() != std::io::ErrorKind::NotFound => return Err(at(to)(source)),
            _ => copy_with_log(file, to).await?,
        }
    } else {
        tokio::fs::copy(file, to).await.map_err(at(to))?;
    }
    files::sync(to).await.map_err(at(to))
}

/// Writes what is in the log of a school into its file, so that the file alone is the whole school. Whether nothing is left in the
/// log; where something is, the two belong together.
pub async fn empty_log(file: &Path) -> bool {
    let done = async {
        if has_log(file).map_err(at(file))? {
            let options = SqliteConnectOptions::new().filename(file);
            let mut school = options.connect().await.map_err(StoreError::from)?;
            let copied = sqlx::query("pragma wal_checkpoint(truncate)")
                .execute(&mut school)
                .await
                .map_err(BackupError::from_sqlx);
            school.close().await.map_err(StoreError::from)?;
            copied?;
        }
        has_log(file).map_err(at(file))
    };
    match done.await {
        Ok(left) => !left,
        Err(error) => {
            tracing::warn!(%error, "the log of the school that is there stays beside it");
            false
        }
    }
}

/// Checks a file: a school of a schema that this program knows, whole, every row where it belongs.
///
/// # Errors
/// When it is not.
pub async fn check(file: &Path) -> Result<Checked, BackupError> {
    let damaged = |why: String| BackupError::Damaged {
        file: file.to_owned(),
        why,
    };
    if !begins_as_database(file)? {
        return Err(BackupError::NotASchool { file: file.to_owned() });
    }
    let mut copy = open(file).await?;
    let found = look(&mut copy).await.map_err(|error| {
        let said = error.to_string();
        if said.contains("no such table") || said.contains("no such column") {
            BackupError::NotASchool { file: file.to_owned() }
        } else {
            damaged(said)
        }
    })?;
    copy.close().await.map_err(StoreError::from)?;
    let (whole, strays, newest, checked) = found;
    if whole != "ok" {
        return Err(damaged(whole.chars().take(200).collect()));
    }
    if strays {
        return Err(damaged("some rows belong to rows that are not there".to_owned()));
    }
    let ours = sqlx::migrate!().iter().map(|m| m.version).max().unwrap_or(0);
    if newest > ours {
        return Err(BackupError::TooNew {
            file: file.to_owned(),
            theirs: newest,
            ours,
        });
    }
    Ok(checked)
}

async fn look(copy: &mut SqliteConnection) -> Result<(String, bool, i64, Checked), sqlx::Error> {
    let whole: String = sqlx::query_scalar("pragma integrity_check")
        .fetch_one(&mut *copy)
        .await?;
    let strays = sqlx::query("pragma foreign_key_check")
        .fetch_optional(&mut *copy)
        .await?
        .is_some();
    let newest: i64 = sqlx::query_scalar("select max(version) from _sqlx_migrations")
        .fetch_one(&mut *copy)
        .await?;
    let people: i64 = sqlx::query_scalar("select count(*) from person")
        .fetch_one(&mut *copy)
        .await?;
    let reports: i64 = sqlx::query_scalar("select count(*) from report")
        .fetch_one(&mut *copy)
        .await?;
    Ok((whole, strays, newest, Checked { people, reports }))
}

/// Whether a file begins as SQLite's do (<https://www.sqlite.org/fileformat2.html>, 1.3.1).
fn begins_as_database(file: &Path) -> Result<bool, BackupError> {
    let unread = |source| BackupError::File {
        file: file.to_owned(),
        source,
    };
    let mut head = Vec::new();
    let opened = std::fs::File::open(file).map_err(unread)?;
    opened.take(16).read_to_end(&mut head).map_err(unread)?;
    Ok(head == b"SQLite format 3\0")
}

/// What a school holds, to be laid beside another one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contents {
    /// The account that was made first: sign-in name, and when.
    pub first: Option<(String, When)>,
    /// Names and terms of its classes.
    pub classes: Vec<(String, String)>,
    /// Accounts of instructors and assistants.
    pub staff: i64,
    /// Accounts of students.
    pub students: i64,
    /// Reports.
    pub reports: i64,
    /// When the last one was handed in.
    pub last_report: Option<When>,
    /// The last migration of its schema.
    pub schema: i64,
}

/// What a school holds; of a backup, once it is checked.
///
/// # Errors
/// When the file cannot be read.
pub async fn contents(file: &Path) -> Result<Contents, BackupError> {
    let mut school = open(file).await?;
    let found = hold(&mut school).await.map_err(StoreError::from)?;
    school.close().await.map_err(StoreError::from)?;
    Ok(found)
}

async fn hold(school: &mut SqliteConnection) -> Result<Contents, sqlx::Error> {
    let first: Option<(String, i64)> = sqlx::query_as("select sign_in, created_at from person order by id limit 1")
        .fetch_optional(&mut *school)
        .await?;
    let classes = sqlx::query_as("select name, term from class order by id desc limit 50")
        .fetch_all(&mut *school)
        .await?;
    let (staff, students) = sqlx::query_as(
        "select count(*) filter (where role <> 'student'), count(*) filter (where role = 'student') from person",
    )
    .fetch_one(&mut *school)
    .await?;
    let (reports, last): (i64, Option<i64>) = sqlx::query_as("select count(*), max(handed_in_at) from report")
        .fetch_one(&mut *school)
        .await?;
    let schema = sqlx::query_scalar("select max(version) from _sqlx_migrations")
        .fetch_one(&mut *school)
        .await?;
    Ok(Contents {
        first: first.map(|(name, at)| (name, When::from(at))),
        classes,
        staff,
        students,
        reports,
        last_report: last.map(When::from),
        schema,
    })
}

/// What was taken out of a school that may be damaged or of an older schema, as far as it can be read, and whether that is all of
/// it. Nothing of the file is changed.
///
/// # Errors
/// When another process holds the file.
pub async fn taken_out(file: &Path) -> Result<(TakenOut, bool), BackupError> {
    let mut gone = TakenOut::default();
    let found = match open(file).await {
        Ok(mut school) => {
            let found = remember(&mut school, &mut gone).await.map_err(BackupError::from_sqlx);
            school.close().await.ok();
            found
        }
        Err(error) => Err(error),
    };
    match found {
        Ok(()) => Ok((gone, true)),
        Err(error @ BackupError::Store(StoreError::Busy(_))) => Err(error),
        Err(error) => {
            tracing::warn!(%error, "whose names were taken out of the school that is there cannot be read whole");
            Ok((gone, false))
        }
    }
}

/// Each list as far as it is there, whatever became of the others.
async fn remember(school: &mut SqliteConnection, gone: &mut TakenOut) -> Result<(), sqlx::Error> {
    let schema: i64 = sqlx::query_scalar("select max(version) from _sqlx_migrations")
        .fetch_one(&mut *school)
        .await?;
    if schema < FORGETS {
        return Ok(());
    }
    let people: Result<Vec<(i64, i64)>, _> =
        sqlx::query_as("select person, created_at from forgotten order by person, created_at")
            .fetch_all(&mut *school)
            .await;
    let there: Result<Vec<(i64, i64)>, _> = sqlx::query_as("select id, created_at from person")
        .fetch_all(&mut *school)
        .await;
    let classes: Result<Vec<(i64, i64)>, _> =
        sqlx::query_as("select id, created_at from class where forgotten_at is not null order by id")
            .fetch_all(&mut *school)
            .await;
    // Of whom it is not known whether they were deleted, the name goes in any case.
    let still = there.as_ref().ok().map(|rows| rows.iter().collect::<BTreeSet<_>>());
    for person in people.iter().flatten() {
        gone.people.push(Gone {
            person: PersonId(person.0),
            created_at: When::from(person.1),
            deleted: still.as_ref().is_some_and(|still| !still.contains(person)),
        });
    }
    let class = |(id, made): &(i64, i64)| (ClassId(*id), When::from(*made));
    gone.classes.extend(classes.iter().flatten().map(class));
    people.and(there).and(classes).map(drop)
}

/// Puts a checked backup in the place of the school of a folder, which the caller holds. What was there stays beside it
/// under `aside`. Returns what is in the restored school.
///
/// # Errors
/// When the backup is not whole or a file cannot be moved; then [`take_back`] is for the caller.
pub async fn put_in_place(file: &Path, folder: &Path, aside: &str) -> Result<Checked, BackupError> {
    let place = folder.join(FILE_NAME);
    let beside = files::beside(&place);
    let passing = Passing::new(&beside);
    tokio::fs::copy(file, &beside).await.map_err(at(&beside))?;
    files::sync(&beside).await.map_err(at(&beside))?;
    let checked = check(&beside).await?;
    // The file itself last: while it is in its place nothing was exchanged. Its log goes with it; the index of that is made anew
    // by whoever opens it.
    for end in ["-shm", "-wal", ""] {
        let old = folder.join(format!("{FILE_NAME}{end}"));
        let Ok(known) = old.metadata() else { continue };
        let done = if end == "-shm" || end == "-wal" && known.len() == 0 {
            std::fs::remove_file(&old)
        } else {
            std::fs::rename(&old, folder.join(format!("{aside}{end}")))
        };
        done.map_err(at(&old))?;
    }
    std::fs::rename(&beside, &place).map_err(at(&place))?;
    passing.keep();
    files::sync_folder(folder).map_err(at(folder))?;
    Ok(checked)
}

/// Takes back what [`put_in_place`] did, also where it came half-way, or this did: the school that was set aside is in its place
/// again, or none where there was none (`had`).
///
/// # Errors
/// When a file cannot be moved; it can be tried again.
pub fn take_back(folder: &Path, aside: &str, had: bool) -> Result<(), BackupError> {
    let place = |end: &str| folder.join(format!("{FILE_NAME}{end}"));
    let kept = |end: &str| folder.join(format!("{aside}{end}"));
    let is_other = !had || kept("").exists();
    for end in ["-shm", "-wal", ""] {
        // Where the file was not set aside yet, what is in place is the school.
        if is_other && place(end).exists() {
            std::fs::remove_file(place(end)).map_err(at(&place(end)))?;
        }
    }
    for end in ["", "-wal", "-shm"] {
        if kept(end).exists() {
            std::fs::rename(kept(end), place(end)).map_err(at(&place(end)))?;
        }
    }
    files::sync_folder(folder).map_err(at(folder))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn put(folder: &Path, files: &[(&str, &str)]) {
        for (name, text) in files {
            std::fs::write(folder.join(name), text).unwrap();
        }
    }

    #[test]
    fn an_exchange_that_ended_anywhere_is_taken_back() {
        let (file, log, aside, aside_log) = ("platemark.db", "platemark.db-wal", "aside", "aside-wal");
        for (what, there) in [
            ("nothing was moved", vec![(file, "school"), (log, "log")]),
            ("the log was", vec![(file, "school"), (aside_log, "log")]),
            ("all was", vec![(aside, "school"), (aside_log, "log")]),
            (
                "and the backup was put there",
                vec![(file, "backup"), (aside, "school"), (aside_log, "log")],
            ),
            (
                "and opened",
                vec![
                    (file, "backup"),
                    (log, "other log"),
                    (aside, "school"),
                    (aside_log, "log"),
                ],
            ),
        ] {
            let folder = tempfile::tempdir().unwrap();
            put(folder.path(), &there);
            // Twice: this too may be cut off.
            for _ in 0..2 {
                take_back(folder.path(), "aside", true).unwrap();
                let read = |name| std::fs::read_to_string(folder.path().join(name)).unwrap();
                assert_eq!(
                    (read(file), read(log)),
                    ("school".to_owned(), "log".to_owned()),
                    "{what}"
                );
                assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 2, "{what}");
            }
        }
        let folder = tempfile::tempdir().unwrap();
        put(folder.path(), &[(file, "backup"), (log, "log")]);
        take_back(folder.path(), "aside", false).unwrap();
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    #[tokio::test]
    async fn a_copy_that_fails_leaves_no_file_and_takes_no_place() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(
            folder.path().join(FILE_NAME),
            "no database at all, but long enough to be looked at",
        )
        .unwrap();
        let to = folder.path().join("copy.db");
        assert!(matches!(
            copy(folder.path(), &to).await,
            Err(BackupError::Store(StoreError::Damaged(_)))
        ));
        assert!(!to.exists());
        std::fs::write(&to, "").unwrap();
        assert!(matches!(
            copy(folder.path(), &to).await,
            Err(BackupError::Exists { .. })
        ));
        assert!(to.exists());
    }

    #[tokio::test]
    async fn a_file_that_is_no_school_has_no_list_and_that_is_said() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("some.db");
        for text in ["", "no database at all, but long enough to be looked at"] {
            std::fs::write(&file, text).unwrap();
            assert_eq!(taken_out(&file).await.unwrap(), (TakenOut::default(), false));
        }
    }

    /// Schools of every schema that was released, as they are: nothing is brought up to date in a file that is set aside.
    #[tokio::test]
    async fn the_list_is_read_in_any_schema() {
        for (schema, people) in [("0001", 0), ("0060", 0), ("0100", 1), ("0170", 1), ("0190", 1)] {
            let folder = tempfile::tempdir().unwrap();
            let file = folder.path().join(FILE_NAME);
            let dump = format!("{}/tests/data/schemas/{schema}.sql", env!("CARGO_MANIFEST_DIR"));
            let dump = std::fs::read_to_string(dump).unwrap();
            let options = SqliteConnectOptions::new().filename(&file).create_if_missing(true);
            let mut school = options.connect().await.unwrap();
            sqlx::raw_sql(sqlx::AssertSqlSafe(dump))
                .execute(&mut school)
                .await
                .unwrap();
            school.close().await.unwrap();
            let (gone, whole) = taken_out(&file).await.unwrap();
            assert!(whole, "{schema}");
            assert_eq!(gone.people.len(), people, "{schema}: {gone:?}");
            assert_eq!(gone.classes.is_empty(), people == 0, "{schema}: {gone:?}");
        }
    }
}
