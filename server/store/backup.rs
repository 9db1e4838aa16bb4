//! A copy of the whole school, made while the server runs, and checked before anybody relies on it.

use std::io::Read as _;
use std::path::{Path, PathBuf};

use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{ConnectOptions, Connection};
use thiserror::Error;

use super::when::When;
use super::{FILE_NAME, StoreError};

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

/// Copies the school in `folder` to a new file and checks the copy. A server may run on the folder meanwhile.
///
/// # Errors
/// When there is no school, the file is there already, or the copy is not whole.
pub async fn copy(folder: &Path, to: &Path) -> Result<Checked, BackupError> {
    let from = folder.join(FILE_NAME);
    if !from.exists() {
        return Err(BackupError::NoSchool {
            folder: folder.to_owned(),
        });
    }
    if to.exists() {
        return Err(BackupError::Exists { file: to.to_owned() });
    }
    let mut school = open(&from).await?;
    let name = to.to_string_lossy().into_owned();
    // Reads in one transaction, so the copy is of one moment; no statement of a table, so nothing to check beforehand.
    sqlx::query("vacuum into ?")
        .bind(name)
        .execute(&mut school)
        .await
        .map_err(StoreError::from)?;
    school.close().await.map_err(StoreError::from)?;
    check(to).await
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

/// Puts a checked backup in the place of the school of a folder, which the caller holds. What was there stays beside it
/// under `aside`. Returns what is in the restored school.
///
/// # Errors
/// When the backup is not whole or a file cannot be moved; the school that was there is in its place then.
pub async fn put_in_place(file: &Path, folder: &Path, aside: &str) -> Result<Checked, BackupError> {
    check(file).await?;
    let place = folder.join(FILE_NAME);
    let beside = folder.join(format!("{FILE_NAME}.new"));
    let io = |at: &Path| {
        let file = at.to_owned();
        move |source| BackupError::File { file, source }
    };
    std::fs::copy(file, &beside).map_err(io(&beside))?;
    std::fs::File::open(&beside)
        .and_then(|f| f.sync_all())
        .map_err(io(&beside))?;
    let checked = check(&beside).await?;
    for end in ["", "-wal", "-shm"] {
        let old = folder.join(format!("{FILE_NAME}{end}"));
        if old.exists() {
            std::fs::rename(&old, folder.join(format!("{aside}{end}"))).map_err(io(&old))?;
        }
    }
    std::fs::rename(&beside, &place).map_err(io(&place))?;
    Ok(checked)
}

/// Takes back what [`put_in_place`] did: the school that was set aside is in its place again.
///
/// # Errors
/// When a file cannot be moved.
pub fn take_back(folder: &Path, aside: &str) -> Result<(), BackupError> {
    for end in ["", "-wal", "-shm"] {
        let place = folder.join(format!("{FILE_NAME}{end}"));
        let kept = folder.join(format!("{aside}{end}"));
        let io = |source| BackupError::File {
            file: place.clone(),
            source,
        };
        if place.exists() {
            std::fs::remove_file(&place).map_err(io)?;
        }
        if kept.exists() {
            std::fs::rename(&kept, &place).map_err(io)?;
        }
    }
    Ok(())
}
