//! A backup from a page in the place of the school: checked and laid beside what is there, put in place while no page is
//! open.
//!
//! A running server never changes the file under its own feet: connections, caches and reports that are being accepted all
//! hang on it. So a checked file is laid ready in the data folder, the server finishes what was accepted and closes the
//! school, and before it is opened again the file takes its place. When the process ends in between, the next start undoes what
//! was half done and does it again. The command line goes the same way.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::Service;
use super::end_of_term::take_out_again;
use super::hand_in_report::new_key;
use super::sign_in::{self, SignInError};
use crate::store::backup::{self, BackupError, Contents};
use crate::store::end_of_term::TakenOut;
use crate::store::files::{self, Passing};
use crate::store::people::Person;
use crate::store::when::When;
use crate::store::{FILE_NAME, StoreError, audit, end_of_term};

/// A checked file that is ready to take the place of the school.
const READY: &str = "restore.db";
/// Who asked for it, and what came of it.
const NOTE: &str = "restore.json";
/// Begin of the names of files that were sent and checked, and wait for the word.
const OFFERED: &str = "restore-offered-";
/// Begin and end of the names of copies that are being sent.
const SENT: (&str, &str) = ("backup-", ".tmp");
/// Begin and end of the names of copies of the school as it was before a restore.
const BEFORE: (&str, &str) = ("before-restore-", ".db");

/// What is known of a restore beside the file itself.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Note {
    /// Sign-in name of whoever asked, or the command.
    by: String,
    /// Copy of the school as it was; none where it could not be read whole.
    before: Option<String>,
    /// Name under which the school is set aside, once that is begun.
    aside: Option<String>,
    /// Whether there was a school to be set aside.
    had: bool,
    /// What was taken out until then.
    gone: TakenOut,
    /// Whether some of that could not be read.
    unread: bool,
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
    #[error(
        "the note of a restore that is not finished, {}, cannot be read ({why}). Without it nobody knows whose names are to be taken \
         out again. Move it and {READY} out of the data folder, look whether the school as it was lies there as {FILE_NAME} or as \
         {FILE_NAME}.before-..., and restore once more",
        file.display()
    )]
    Note {
        /// The note.
        file: PathBuf,
        /// Why.
        why: String,
    },
    /// It was taken back.
    #[error("{0}. The backup was not put in place, and the school is as it was")]
    NotDone(Box<RestoreError>),
    /// What was begun could not be taken back.
    #[error("{why}; and the school as it was could not be put back ({back}). The next start tries again")]
    NotTakenBack {
        /// Why it was to be taken back.
        why: String,
        /// Why it was not.
        back: BackupError,
    },
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
    /// What is there now; none where it is damaged and cannot be read.
    pub ours: Option<Contents>,
}

/// What is in place after a restore.
#[derive(Debug, Clone)]
pub struct Restored {
    /// People.
    pub people: i64,
    /// Reports.
    pub reports: i64,
    /// How many people's names were taken out again.
    pub again: usize,
    /// Name under which the school is that was there.
    pub aside: String,
    /// Whether the list of whose names were taken out could not be read whole.
    pub unread: bool,
    /// Name of the log of the school that was there, where it could not be written into the file: the two belong together.
    pub log: Option<String>,
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
        ours: match backup::contents(&folder.join(FILE_NAME)).await {
            Ok(ours) => Some(ours),
            Err(error) if error.is_of_the_copy() => return Err(error.into()),
            // It is damaged: that is why a backup is put back.
            Err(error) => {
                tracing::warn!(%error, "the school that is there cannot be read");
                None
            }
        },
    })
}

/// A name in the folder for a copy that is being sent.
#[must_use]
pub fn sent(folder: &Path, now: When) -> PathBuf {
    folder.join(format!("{}{}{}", SENT.0, now.millisecond(), SENT.1))
}

/// Whether a name is made of these and a number between them.
fn numbered(name: &str, (begin, end): (&str, &str)) -> Option<i64> {
    let number = name.strip_prefix(begin)?.strip_suffix(end)?;
    let digits = !number.is_empty() && number.bytes().all(|b| b.is_ascii_digit());
    if digits { number.parse().ok() } else { None }
}

/// Removes what a process that was killed may have left half-made in a folder, which the caller holds: copies of the school hold
/// every name.
pub fn sweep(folder: &Path) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    let half = [FILE_NAME, READY, NOTE].map(|name| format!("{name}.new"));
    // With what SQLite keeps beside a file that it writes or reads.
    let ends = ["-journal", "-wal", "-shm"];
    for entry in entries.flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        let copied = ends.iter().find_map(|end| name.strip_suffix(end)).unwrap_or(&name);
        if numbered(copied, SENT).is_some() || name.starts_with(OFFERED) || half.iter().any(|half| half == copied) {
            match std::fs::remove_file(entry.path()) {
                Ok(()) => tracing::info!(name, "removed what was left half-made"),
                Err(error) => tracing::warn!(name, %error, "what was left half-made could not be removed"),
            }
        }
    }
}

/// How long copies of the school from before a restore are kept: they hold every name of then.
pub const KEPT_DAYS: i64 = 30;
const DAY_MS: i64 = 24 * 3_600_000;

/// A copy of the school from before a restore.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct OldCopy {
    /// Name of its file in the data folder.
    pub name: String,
    /// When it is removed.
    pub until: When,
}

/// Copies of the school from before restores that lie in a folder, by name.
///
/// # Errors
/// When the folder cannot be read.
pub fn old_copies(folder: &Path) -> std::io::Result<Vec<OldCopy>> {
    let set_aside = format!("{FILE_NAME}{SET_ASIDE}");
    let mut copies = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let name = entry?.file_name().to_string_lossy().into_owned();
        let ends = ["", "-wal", "-shm"].map(|end| (set_aside.as_str(), end));
        let made = ends.into_iter().chain([BEFORE]).find_map(|ends| numbered(&name, ends));
        copies.extend(made.map(|made| OldCopy {
            name,
            until: When::from(made.saturating_add(KEPT_DAYS * DAY_MS)),
        }));
    }
    copies.sort();
    Ok(copies)
}

/// Removes those that were kept long enough. Returns how many files.
///
/// # Errors
/// When the folder cannot be read or a file not be removed.
pub fn remove_old_copies(folder: &Path, now: When) -> std::io::Result<usize> {
    let mut removed = 0;
    for copy in old_copies(folder)?.into_iter().filter(|copy| copy.until <= now) {
        std::fs::remove_file(folder.join(&copy.name))?;
        tracing::info!(
            name = copy.name,
            "a copy of the school from before a restore was kept long enough"
        );
        removed += 1;
    }
    Ok(removed)
}

/// Takes a backup of the school as it is and lays the offered file ready. The caller asks for the restart. Returns the name of
/// the backup; none where the school is damaged and cannot be copied, for it is set aside as it is in any case.
///
/// # Errors
/// When the passphrase does not fit, the file is gone or not whole, or the backup cannot be made; the school is as it was.
pub async fn make_ready(
    service: &Service,
    folder: &Path,
    token: &str,
    person: &Person,
    passphrase: &str,
) -> Result<Option<String>, RestoreError> {
    let _proof = sign_in::prove(service, person, passphrase).await?;
    let file = offered(folder, token).ok_or(RestoreError::Gone)?;
    backup::check(&file).await?;
    let before = format!("{}{}{}", BEFORE.0, service.clock.now().millisecond(), BEFORE.1);
    let before = match backup::copy(folder, &folder.join(&before)).await {
        Ok(_) => Some(before),
        Err(error) if error.is_of_the_copy() => return Err(error.into()),
        Err(error) => {
            tracing::warn!(%error, "there is no copy of the school as it is");
            None
        }
    };
    let note = Note {
        by: person.sign_in.clone(),
        before: before.clone(),
        ..Note::default()
    };
    write_note(folder, &note)?;
    std::fs::rename(&file, folder.join(READY))?;
    files::sync_folder(folder)?;
    Ok(before)
}

fn write_note(folder: &Path, note: &Note) -> Result<(), RestoreError> {
    let file = folder.join(NOTE);
    let text = serde_json::to_vec(note).map_err(|error| RestoreError::Note {
        file: file.clone(),
        why: error.to_string(),
    })?;
    Ok(files::write_whole(&file, &text)?)
}

fn read_note(folder: &Path) -> Result<Note, RestoreError> {
    let file = folder.join(NOTE);
    let note = match std::fs::read(&file) {
        Ok(text) => serde_json::from_slice(&text).map_err(|error| error.to_string()),
        Err(error) => Err(error.to_string()),
    };
    note.map_err(|why| RestoreError::Note { file, why })
}

/// What came of the last restore, in words.
#[must_use]
pub fn last(folder: &Path) -> Option<String> {
    if !folder.join(NOTE).exists() {
        return None;
    }
    let unread = |error| format!("What came of the last restore is not known: {error}.");
    read_note(folder).map_or_else(|error| Some(unread(error)), |note| note.said)
}

/// Puts a file that lies ready in the place of the school of a folder, which the caller holds and in which nothing is open.
/// Names that were taken out are taken out again, everybody is signed out, and it stands in the trail. Where it cannot be
/// done the school stays as it was, and the page of restores says why. Whether there was anything to do.
///
/// # Errors
/// When the note cannot be read, the folder cannot be written at all, or what was begun cannot be taken back; the next start
/// tries again.
pub async fn put_ready_in_place(
    folder: &Path,
    now: When,
    open: impl AsyncFn() -> Result<Service, StoreError>,
) -> Result<bool, RestoreError> {
    if !folder.join(READY).exists() {
        return Ok(false);
    }
    let note = read_note(folder)?;
    if note.said.is_some() {
        // It was done with; only the file was not removed any more.
        if let Err(error) = std::fs::remove_file(folder.join(READY)) {
            tracing::warn!(%error, "a backup that was put in place lies in the folder still");
        }
        return Ok(false);
    }
    // Why it was not done is in the log and on the page.
    finish(folder, note, now, open).await?.ok();
    Ok(true)
}

/// Puts a backup in the place of the school of a folder, which the caller holds and in which nothing is open, in the way of
/// [`put_ready_in_place`].
///
/// # Errors
/// When the file is no whole backup or it cannot be put in place; the school is as it was then, but for
/// [`RestoreError::NotTakenBack`].
pub async fn from_file(
    folder: &Path,
    file: &Path,
    by: &str,
    now: When,
    open: impl AsyncFn() -> Result<Service, StoreError>,
) -> Result<Restored, RestoreError> {
    backup::check(file).await?;
    let ready = folder.join(READY);
    let beside = files::beside(&ready);
    let passing = Passing::new(&beside);
    backup::bring(file, &beside).await?;
    let mut note = Note {
        by: by.to_owned(),
        ..Note::default()
    };
    if ready.exists() {
        // Another one was laid ready, or was cut off: what is half done is undone, and what it knew is not lost.
        let cut = read_note(folder)?;
        if cut.said.is_none() {
            undo(folder, &cut, "a restore was cut off")?;
            note.gone = cut.gone;
        }
        std::fs::remove_file(&ready)?;
    }
    write_note(folder, &note)?;
    std::fs::rename(&beside, &ready)?;
    passing.keep();
    files::sync_folder(folder)?;
    let done = finish(folder, note, now, open).await?;
    done.map_err(|error| RestoreError::NotDone(Box::new(error)))
}

/// Does it, and writes down what came of it. The outer error is one after which the next start has to try again.
async fn finish(
    folder: &Path,
    mut note: Note,
    now: When,
    open: impl AsyncFn() -> Result<Service, StoreError>,
) -> Result<Result<Restored, RestoreError>, RestoreError> {
    let done = match swap(folder, &mut note, now, open).await {
        Err(error @ RestoreError::NotTakenBack { .. }) => return Err(error),
        done => done,
    };
    note.said = Some(match &done {
        Ok(restored) => told(restored, &note),
        Err(error) => {
            tracing::error!(%error, "a backup was not put in place");
            format!("The backup was not put in place, and the school is as it was: {error}.")
        }
    });
    // The note first, so that nothing is done twice; on a full disk there is room for it once the file is gone.
    let mut written = write_note(folder, &note);
    let removed = std::fs::remove_file(folder.join(READY)).and_then(|()| files::sync_folder(folder));
    if written.is_err() {
        written = write_note(folder, &note);
    }
    match (written, removed) {
        // Nothing on the disk says that it is done: the next start would begin again, over what is handed in until then.
        (Err(error), Err(_)) => return Err(error),
        // What is in place stays; only the page does not tell of it.
        (Err(error), Ok(())) => tracing::error!(%error, "what came of a restore could not be written down"),
        (Ok(()), Err(error)) => tracing::warn!(%error, "a backup that was put in place lies in the folder still"),
        (Ok(()), Ok(())) => {}
    }
    Ok(done)
}

fn told(restored: &Restored, note: &Note) -> String {
    let Restored {
        people,
        reports,
        again,
        aside,
        unread,
        log,
    } = restored;
    let kept = match (&note.before, note.had) {
        (Some(before), _) => format!(
            "The school as it was is kept in the data folder as {before} and, with its last seconds, as {aside}."
        ),
        (None, true) => format!("The school as it was is kept in the data folder as {aside}, as damaged as it was."),
        (None, false) => "There was no school here before.".to_owned(),
    };
    let both = log.as_ref().map(|log| format!(" {}", belong_together(aside, log)));
    let both = both.unwrap_or_default();
    let unread = if *unread { UNREAD } else { "" };
    format!(
        "A backup was put in place: {people} people, {reports} reports; names taken out again: {again}. {kept}{both}{unread}"
    )
}

/// Where the log of the school that was there could not be written into its file.
#[must_use]
pub fn belong_together(aside: &str, log: &str) -> String {
    format!("Its last changes are in {log}: the two belong together, so keep {aside} and {log} in one folder.")
}

/// Where the school that was there could not tell whose names were out.
const UNREAD: &str = " Whose names were taken out since the backup could not be read whole from the damaged school: look at the \
    classes whose term is over, and take out again what the backup brought back.";

fn undo(folder: &Path, note: &Note, why: &str) -> Result<(), RestoreError> {
    let Some(aside) = &note.aside else { return Ok(()) };
    backup::take_back(folder, aside, note.had).map_err(|back| RestoreError::NotTakenBack {
        why: why.to_owned(),
        back,
    })
}

/// All of it, or nothing.
async fn swap(
    folder: &Path,
    note: &mut Note,
    now: When,
    open: impl AsyncFn() -> Result<Service, StoreError>,
) -> Result<Restored, RestoreError> {
    // Where the process ended half-way: the list of names is in the school that was set aside.
    undo(folder, note, "a restore was cut off")?;
    let school = folder.join(FILE_NAME);
    note.aside = None;
    note.had = school.exists();
    if note.had {
        let (gone, whole) = backup::taken_out(&school).await?;
        note.unread = !whole;
        // What is damaged is set aside as it is, with its log.
        if whole {
            backup::empty_log(&school).await;
        }
        note.gone.people.extend(gone.people);
        note.gone.people.sort_unstable();
        note.gone.people.dedup();
        note.gone.classes.extend(gone.classes);
        note.gone.classes.sort_unstable();
        note.gone.classes.dedup();
    }
    note.aside = Some(format!("{FILE_NAME}{SET_ASIDE}{}", now.millisecond()));
    write_note(folder, note)?;
    match put(folder, note, now, open).await {
        Ok(restored) => Ok(restored),
        Err(error) => {
            undo(folder, note, &error.to_string())?;
            Err(error)
        }
    }
}

/// In the name of a school that was set aside, before the time.
const SET_ASIDE: &str = ".before-";

async fn put(
    folder: &Path,
    note: &Note,
    now: When,
    open: impl AsyncFn() -> Result<Service, StoreError>,
) -> Result<Restored, RestoreError> {
    let aside = note.aside.clone().unwrap_or_default();
    let checked = backup::put_in_place(&folder.join(READY), folder, &aside).await?;
    let log = backup::log_of(Path::new(&aside));
    let log = folder.join(&log).exists().then(|| log.to_string_lossy().into_owned());
    let service = open().await?;
    let again = clean(&service, note, now).await;
    service.store.close().await;
    Ok(Restored {
        people: checked.people,
        reports: checked.reports,
        again: again?,
        aside,
        unread: note.unread,
        log,
    })
}

/// Takes out again what is to be out, ends what was ended since, and writes it to the trail.
async fn clean(service: &Service, note: &Note, now: When) -> Result<usize, StoreError> {
    let again = take_out_again(service, &note.gone).await?;
    let mut tx = service.store.change().await?;
    end_of_term::end_all_sessions(&mut tx, now).await?;
    let detail = serde_json::json!({ "by": note.by, "before": note.before, "names_taken_out_again": again });
    audit::note(&mut tx, ("school", 0), "restore", None, now, detail).await?;
    tx.commit().await?;
    Ok(again)
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use sqlx::{AssertSqlSafe, Connection, SqliteConnection};
    use tempfile::TempDir;
    use tokio::sync::Notify;

    use super::*;
    use crate::actions::add_person::{Wanted, add_person};
    use crate::actions::clock::Clock;
    use crate::store::Store;
    use crate::store::ids::PersonId;
    use crate::store::people::{self, Role};

    async fn open(folder: &Path) -> Result<Service, StoreError> {
        let lasting = sign_in::Lasting {
            idle: Duration::from_secs(3600),
            longest: Duration::from_secs(3600),
        };
        Ok(Service::new(Store::open(folder).await?, Clock::default(), lasting))
    }

    async fn run(file: &Path, sql: &str) {
        let mut school = SqliteConnection::connect(&format!("sqlite:{}", file.display()))
            .await
            .unwrap();
        sqlx::raw_sql(AssertSqlSafe(sql.to_owned()))
            .execute(&mut school)
            .await
            .unwrap();
        school.close().await.unwrap();
    }

    async fn number(file: &Path, sql: &str) -> i64 {
        let mut school = SqliteConnection::connect(&format!("sqlite:{}?mode=ro", file.display()))
            .await
            .unwrap();
        let found = sqlx::query_scalar(AssertSqlSafe(sql.to_owned()))
            .fetch_one(&mut school)
            .await
            .unwrap();
        school.close().await.unwrap();
        found
    }

    /// A school of which a student's name is out, and a backup of before.
    async fn school() -> (TempDir, PathBuf, PersonId) {
        let folder = tempfile::tempdir().unwrap();
        let service = open(folder.path()).await.unwrap();
        let wanted = Wanted {
            role: Role::Student,
            name: "Anna Quillfeather",
            sign_in: "anna",
            secret: "271828",
            by: None,
        };
        let student = add_person(&service, &wanted).await.unwrap();
        let copy = folder.path().join("copy.db");
        backup::copy(folder.path(), &copy).await.unwrap();
        let added = number(&copy, "select created_at from person").await;
        let mut tx = service.store.change().await.unwrap();
        end_of_term::forget(&mut tx, student, added.into(), service.clock.now())
            .await
            .unwrap();
        tx.commit().await.unwrap();
        service.store.close().await;
        (folder, copy, student)
    }

    /// As [`make_ready`] does it.
    fn lay_ready(folder: &Path, copy: &Path) {
        std::fs::copy(copy, folder.join(READY)).unwrap();
        let note = Note {
            by: "ferro".to_owned(),
            ..Note::default()
        };
        write_note(folder, &note).unwrap();
    }

    async fn name_of(folder: &Path, person: PersonId) -> String {
        let service = open(folder).await.unwrap();
        let known = people::one(&service.store, person).await.unwrap().unwrap();
        service.store.close().await;
        known.name
    }

    fn begins(folder: &Path, with: &str) -> usize {
        let names = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name());
        names.filter(|n| n.to_string_lossy().starts_with(with)).count()
    }

    #[tokio::test]
    async fn what_fails_after_the_exchange_is_taken_back() {
        let (folder, copy, student) = school().await;
        let folder = folder.path();
        // Whole, and yet the trail takes nothing.
        let stop = "create trigger stops before insert on audit begin select raise(abort, 'not today'); end;";
        run(&copy, stop).await;
        lay_ready(folder, &copy);
        let opened = async || open(folder).await;
        assert!(put_ready_in_place(folder, When::from(1000), opened).await.unwrap());
        let said = last(folder).unwrap();
        assert!(
            said.contains("was not put in place, and the school is as it was") && said.contains("not today"),
            "{said}"
        );
        assert_eq!(name_of(folder, student).await, format!("Former student {student}"));
        assert_eq!(begins(folder, "platemark.db.before-"), 0);
        assert!(!folder.join(READY).exists());
        // From the command line too.
        let done = from_file(folder, &copy, "the test", When::from(2000), opened).await;
        let said = done.unwrap_err().to_string();
        assert!(
            said.contains("not today") && said.contains("the school is as it was"),
            "{said}"
        );
        assert_eq!(name_of(folder, student).await, format!("Former student {student}"));
        assert_eq!(begins(folder, "platemark.db.before-"), 0);
    }

    #[tokio::test]
    async fn what_was_cut_off_after_the_exchange_is_done_again_with_the_list_of_names() {
        for by_command in [false, true] {
            let (folder, copy, student) = school().await;
            let folder = folder.path();
            let exchanged = Notify::new();
            // As if the process were killed in the opening.
            let never = async || {
                exchanged.notify_one();
                std::future::pending().await
            };
            if by_command {
                tokio::select! {
                    _ = from_file(folder, &copy, "the test", When::from(1000), never) => unreachable!(),
                    () = exchanged.notified() => {}
                }
            } else {
                lay_ready(folder, &copy);
                tokio::select! {
                    _ = put_ready_in_place(folder, When::from(1000), never) => unreachable!(),
                    () = exchanged.notified() => {}
                }
            }
            let place = folder.join(FILE_NAME);
            assert_eq!(number(&place, "select count(*) from forgotten").await, 0);
            let opened = async || open(folder).await;
            if by_command {
                let done = from_file(folder, &copy, "the test", When::from(2000), opened)
                    .await
                    .unwrap();
                assert_eq!((done.people, done.again, done.unread), (1, 1, false));
            } else {
                assert!(put_ready_in_place(folder, When::from(2000), opened).await.unwrap());
                let said = last(folder).unwrap();
                assert!(said.contains("names taken out again: 1."), "{said}");
            }
            assert_eq!(name_of(folder, student).await, format!("Former student {student}"));
            // The school as it was is there once, whole.
            assert_eq!(begins(folder, "platemark.db.before-"), 1);
            let aside = folder.join("platemark.db.before-2000");
            assert_eq!(number(&aside, "select count(*) from forgotten").await, 1);
        }
    }

    #[tokio::test]
    async fn a_note_that_cannot_be_read_is_told_and_nothing_changes() {
        for text in [Some(""), Some("{\"by\": \"fer"), None] {
            let (folder, copy, student) = school().await;
            let folder = folder.path();
            lay_ready(folder, &copy);
            match text {
                Some(text) => std::fs::write(folder.join(NOTE), text).unwrap(),
                None => std::fs::remove_file(folder.join(NOTE)).unwrap(),
            }
            let opened = async || open(folder).await;
            let told = put_ready_in_place(folder, When::from(1000), opened).await.unwrap_err();
            assert!(matches!(told, RestoreError::Note { .. }), "{told}");
            let told = from_file(folder, &copy, "the test", When::from(1000), opened).await;
            assert!(matches!(told, Err(RestoreError::Note { .. })));
            assert_eq!(name_of(folder, student).await, format!("Former student {student}"));
            assert!(folder.join(READY).exists());
            if text.is_some() {
                assert!(last(folder).unwrap().contains("cannot be read"));
            }
        }
    }

    #[tokio::test]
    async fn a_school_in_an_empty_folder_goes_where_the_exchange_fails() {
        let (_school, copy, _) = school().await;
        let folder = tempfile::tempdir().unwrap();
        let folder = folder.path();
        let opened = async || open(folder).await;
        let no_more = async || Err(StoreError::Stopping);
        from_file(folder, &copy, "the test", When::from(1000), no_more)
            .await
            .unwrap_err();
        assert!(!folder.join(FILE_NAME).exists());
        let done = from_file(folder, &copy, "the test", When::from(2000), opened)
            .await
            .unwrap();
        assert_eq!((done.people, done.again), (1, 0));
    }

    #[tokio::test]
    async fn what_came_of_it_may_be_lost_and_not_the_start() {
        for by_command in [false, true] {
            let (folder, copy, student) = school().await;
            let folder = folder.path();
            // From the exchange on the note cannot be written any more.
            let opened = async || {
                std::fs::create_dir(folder.join("restore.json.new")).unwrap();
                open(folder).await
            };
            if by_command {
                let done = from_file(folder, &copy, "the test", When::from(1000), opened).await;
                assert_eq!(done.unwrap().again, 1);
            } else {
                lay_ready(folder, &copy);
                assert!(put_ready_in_place(folder, When::from(1000), opened).await.unwrap());
            }
            assert!(write_note(folder, &Note::default()).is_err());
            // Nor is it begun again.
            let never = async || unreachable!("it is done");
            assert!(!put_ready_in_place(folder, When::from(2000), never).await.unwrap());
            assert_eq!(last(folder), None);
            assert_eq!(begins(folder, "platemark.db.before-1000"), 1);
            assert_eq!(name_of(folder, student).await, format!("Former student {student}"));
        }
    }

    #[test]
    fn what_was_left_half_made_goes_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let half = [
            "backup-1790000000000.tmp",
            "backup-1790000000000.tmp-journal",
            "platemark.db.new",
            "platemark.db.new-shm",
            "restore.db.new",
            "restore.db.new-journal",
            "restore.json.new",
            "restore-offered-0123.db",
        ];
        let whole = [
            "backup-notes.tmp",
            "backup-.tmp",
            "platemark.db",
            "restore.json",
            "copy.db",
            "before-restore-5.db",
        ];
        for name in half.iter().chain(&whole) {
            std::fs::write(folder.path().join(name), "x").unwrap();
        }
        sweep(folder.path());
        assert!(half.iter().all(|name| !folder.path().join(name).exists()));
        assert!(whole.iter().all(|name| folder.path().join(name).exists()));
    }

    #[test]
    fn old_copies_are_told_and_go_when_their_days_are_over() {
        let folder = tempfile::tempdir().unwrap();
        let day = |n: i64| When::from(n * DAY_MS);
        let (first, second) = (DAY_MS, 2 * DAY_MS);
        let names = [
            format!("before-restore-{second}.db"),
            format!("platemark.db.before-{first}"),
            format!("platemark.db.before-{first}-wal"),
            "platemark.db.before-term".to_owned(),
            "platemark.db".to_owned(),
        ];
        for name in &names {
            std::fs::write(folder.path().join(name), "names").unwrap();
        }
        let told: Vec<(String, When)> = old_copies(folder.path())
            .unwrap()
            .into_iter()
            .map(|copy| (copy.name, copy.until))
            .collect();
        let wanted = [(0, 32), (1, 31), (2, 31)].map(|(n, until): (usize, i64)| (names[n].clone(), day(until)));
        assert_eq!(told, wanted);
        for (at, removed, left) in [(30, 0, 5), (31, 2, 3), (31, 0, 3), (32, 1, 2), (400, 0, 2)] {
            assert_eq!(remove_old_copies(folder.path(), day(at)).unwrap(), removed, "day {at}");
            assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), left, "day {at}");
        }
    }
}
