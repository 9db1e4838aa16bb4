//! A backup from a page in the place of the school: checked and laid beside what is there, put in place while no page is
//! open.
//!
//! A running server never changes the file under its own feet: connections, caches and reports that are being accepted all
//! hang on it. So a checked file is laid ready in the data folder, the server finishes what was accepted and closes the
//! school, and before it is opened again the file takes its place. When the process ends in between, the next start does the
//! rest.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::Service;
use super::end_of_term::take_out_again;
use super::hand_in_report::new_key;
use super::sign_in::{self, SignInError};
use crate::store::backup::{self, BackupError, Contents};
use crate::store::end_of_term::TakenOut;
use crate::store::people::Person;
use crate::store::when::When;
use crate::store::{FILE_NAME, Store, StoreError, audit, end_of_term};

/// A checked file that is ready to take the place of the school.
const READY: &str = "restore.db";
/// Who asked for it, and what came of it.
const NOTE: &str = "restore.json";
/// Begin of the names of files that were sent and checked, and wait for the word.
const OFFERED: &str = "restore-offered-";

/// What is known of a restore beside the file itself.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
struct Note {
    /// Sign-in name of whoever asked.
    by: String,
    /// Copy of the school as it was.
    before: String,
    /// What was taken out until then.
    #[serde(default)]
    gone: TakenOut,
    /// What came of it, in words; none while it is to be done.
    said: Option<String>,
}

/// Why nothing is restored.
#[derive(Debug, Error)]
pub enum RestoreError {
    /// The file is not one to restore.
    #[error(transparent)]
    Backup(#[from] BackupError),
    /// Nothing is offered under this name (any more).
    #[error("the file that was looked at is not here any more")]
    Gone,
    /// The passphrase.
    #[error(transparent)]
    SignIn(#[from] SignInError),
    /// A file in the data folder.
    #[error("a file in the data folder cannot be written: {0}")]
    File(#[from] std::io::Error),
    /// The note.
    #[error("the note of the restore cannot be read: {0}")]
    Note(#[from] serde_json::Error),
    /// No random numbers.
    #[error("the system gives no random numbers: {0}")]
    Random(#[from] rand::rngs::SysError),
}

impl From<StoreError> for RestoreError {
    fn from(error: StoreError) -> Self {
        Self::Backup(BackupError::Store(error))
    }
}

/// A checked file that waits for the word.
#[derive(Debug, Clone)]
pub struct Offered {
    /// Its name on the form.
    pub token: String,
    /// What it holds.
    pub theirs: Contents,
    /// What is there now.
    pub ours: Contents,
}

/// A place for a file that is being sent, and its token. What was sent before and never used goes.
///
/// # Errors
/// When the folder cannot be written.
pub fn place(folder: &Path) -> Result<(String, PathBuf), RestoreError> {
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        if entry.file_name().to_string_lossy().starts_with(OFFERED) {
            std::fs::remove_file(entry.path()).ok();
        }
    }
    let token = new_key()?;
    let file = folder.join(format!("{OFFERED}{token}.db"));
    Ok((token, file))
}

fn offered(folder: &Path, token: &str) -> Option<PathBuf> {
    let is_token = token.len() == 32 && token.bytes().all(|b| b.is_ascii_hexdigit());
    let file = folder.join(format!("{OFFERED}{token}.db"));
    (is_token && file.exists()).then_some(file)
}

/// Checks a file that was sent, and says what it holds beside what is there. A file that is refused goes.
///
/// # Errors
/// When it is not a whole backup of a schema that this program knows.
pub async fn look(folder: &Path, token: &str) -> Result<Offered, RestoreError> {
    let file = offered(folder, token).ok_or(RestoreError::Gone)?;
    if let Err(error) = backup::check(&file).await {
        std::fs::remove_file(&file).ok();
        return Err(error.into());
    }
    Ok(Offered {
        token: token.to_owned(),
        theirs: backup::contents(&file).await?,
        ours: backup::contents(&folder.join(FILE_NAME)).await?,
    })
}

/// Takes a backup of the school as it is and lays the offered file ready. The caller asks for the restart. Returns the name of
/// the backup.
///
/// # Errors
/// When the passphrase does not fit, the file is gone or not whole, or the backup cannot be made; the school is as it was.
pub async fn make_ready(
    service: &Service,
    folder: &Path,
    token: &str,
    person: &Person,
    passphrase: &str,
) -> Result<String, RestoreError> {
    let _proof = sign_in::prove(service, person, passphrase).await?;
    let file = offered(folder, token).ok_or(RestoreError::Gone)?;
    backup::check(&file).await?;
    let before = format!("before-restore-{}.db", service.clock.now().millisecond());
    backup::copy(folder, &folder.join(&before)).await?;
    let note = Note {
        by: person.sign_in.clone(),
        before: before.clone(),
        ..Note::default()
    };
    std::fs::write(folder.join(NOTE), serde_json::to_vec(&note)?)?;
    std::fs::rename(&file, folder.join(READY))?;
    Ok(before)
}

/// What came of the last restore, in words.
#[must_use]
pub fn last(folder: &Path) -> Option<String> {
    let text = std::fs::read(folder.join(NOTE)).ok()?;
    serde_json::from_slice::<Note>(&text).ok()?.said
}

/// Puts a file that lies ready in the place of the school of a folder, which the caller holds and in which nothing is open.
/// Names that were taken out are taken out again, everybody is signed out, and it stands in the trail. Where it cannot be
/// done the school stays as it was, and the page of restores says why. Whether there was anything to do.
///
/// # Errors
/// When the folder cannot be written at all.
pub async fn put_ready_in_place(
    folder: &Path,
    now: When,
    open: impl AsyncFn() -> Result<Service, StoreError>,
) -> Result<bool, RestoreError> {
    let ready = folder.join(READY);
    if !ready.exists() {
        return Ok(false);
    }
    let text = std::fs::read(folder.join(NOTE)).unwrap_or_default();
    let mut note: Note = serde_json::from_slice(&text).unwrap_or_default();
    note.said = Some(match swap(folder, &mut note, now, open).await {
        Ok(said) => said,
        Err(error) => {
            tracing::error!(%error, "a backup was not put in place");
            format!("The backup was not put in place, and the school is as it was: {error}.")
        }
    });
    std::fs::remove_file(&ready)?;
    std::fs::write(folder.join(NOTE), serde_json::to_vec(&note)?)?;
    Ok(true)
}

async fn swap(
    folder: &Path,
    note: &mut Note,
    now: When,
    open: impl AsyncFn() -> Result<Service, StoreError>,
) -> Result<String, RestoreError> {
    let ready = folder.join(READY);
    backup::check(&ready).await?;
    // Where the process ended half-way there may be no school here; then the note has the list from the first time.
    if folder.join(FILE_NAME).exists() {
        let school = Store::open(folder).await?;
        let gone = end_of_term::taken_out(&school).await?;
        school.close().await;
        note.gone.people.extend(gone.people);
        note.gone.people.sort_unstable();
        note.gone.people.dedup();
        note.gone.classes.extend(gone.classes);
        note.gone.classes.sort_unstable();
        note.gone.classes.dedup();
        std::fs::write(folder.join(NOTE), serde_json::to_vec(&note)?)?;
    }
    let aside = format!("{FILE_NAME}.before-{}", now.millisecond());
    let restored = backup::put_in_place(&ready, folder, &aside).await?;
    let service = match open().await {
        Ok(service) => service,
        Err(error) => {
            backup::take_back(folder, &aside)?;
            return Err(error.into());
        }
    };
    let again = take_out_again(&service, &note.gone).await?;
    let mut tx = service.store.change().await?;
    end_of_term::end_all_sessions(&mut tx, now).await?;
    let detail = serde_json::json!({ "by": note.by, "before": note.before, "names_taken_out_again": again });
    audit::note(&mut tx, ("school", 0), "restore", None, now, detail).await?;
    tx.commit().await?;
    service.store.close().await;
    Ok(format!(
        "A backup was put in place: {} people, {} reports; names taken out again: {again}. The school as it was is kept in the data folder as {} and, with its last seconds, as {aside}.",
        restored.people, restored.reports, note.before
    ))
}
