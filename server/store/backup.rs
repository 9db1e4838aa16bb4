//! A copy of the whole school, made while the server runs, and checked before anybody relies on it.

use std::path::{Path, PathBuf};

use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{ConnectOptions, Connection};
use thiserror::Error;

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
    let mut copy = open(file).await?;
    let found = look(&mut copy).await.map_err(|error| damaged(error.to_string()))?;
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
        return Err(damaged(
            "it was made by a newer version of this program; restore it with that one".to_owned(),
        ));
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
