//! SQL and nothing but: one file per aggregate, explicit columns, checked at compile time. Never computes a mark.
//!
//! One SQLite file in WAL mode: a writer pool of one connection and a pool of read-only ones. Reports and their grades
//! go through `writer`, which commits all that wait in one transaction; everything else that changes opens a `Tx`.

/// Points of one student.
pub mod adjustments;
/// Assignments and the plates of their pairs.
pub mod assignments;
/// Why reports wait for a person, and which are done with.
pub mod attention;
/// Who did what and when.
pub mod audit;
/// A checked copy of the whole school.
pub mod backup;
/// What is there before what is about to be stored.
mod before;
/// What is changed at an assignment after it was made.
pub mod care;
/// What decides who is in charge of an account.
pub mod charge;
/// Classes and who belongs to them.
pub mod classes;
/// Decisions on faults, and readings beside the sheet.
pub mod decided_faults;
/// Half-typed reports.
pub mod drafts;
/// The plate drawer: where plates are and who has them.
pub mod drawer;
/// What happens to a class when its term is over.
pub mod end_of_term;
/// Photos and PDFs beside reports.
pub mod evidence;
/// Exercises that are being authored.
pub mod exercise_drafts;
/// Exercises and their immutable revisions.
pub mod exercises;
/// Files beside the database, whole or not there.
pub mod files;
/// All marks of a class in one row.
pub mod gradebook;
/// Grades, the one that counts and those before it.
pub mod grades;
/// Points of lines marked by hand.
pub mod hand_marks;
/// The data folder as one server's own.
pub mod held;
/// Row numbers that cannot be mixed up.
pub mod ids;
/// The key with which secrets are sealed.
pub mod key_file;
/// The write-ahead log.
mod log;
/// Reports on another plate than the pair was given.
pub mod other_plates;
/// Marks that a person set in place of computed ones.
pub mod overrides;
/// Long texts that are kept packed.
pub mod packed;
/// Pairs and who is in them.
pub mod pairs;
/// Persons and their secrets' hashes.
pub mod people;
/// Plates and what they really are.
pub mod plates;
/// What pairs ask about their marks.
pub mod queries;
/// Regradings that were decided on.
pub mod regrades;
/// Words to a pair.
pub mod remarks;
/// Reports as they came.
pub mod reports;
/// Rounds of careful measurement.
pub mod rounds;
/// The second step at sign-in.
pub mod second_steps;
/// Sessions by the hash of their token.
pub mod sessions;
/// Printed slips with which a person takes a seat.
pub mod slips;
/// Failed tries to sign in.
pub mod tries;
/// Machines and the turns of pairs at them.
pub mod turns;
/// Whether somebody changed the same thing meanwhile.
pub mod versions;
/// Points of time in columns.
pub mod when;
/// The one task that stores reports and grades.
pub mod writer;

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use sqlx::Connection;
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteConnection, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteSynchronous,
};
use thiserror::Error;

use log::Log;
use writer::Writer;

/// Name of the database file in the data folder.
pub const FILE_NAME: &str = "platemark.db";

/// Read-only connections: enough for a class at once, few enough to keep memory small.
const READERS: u32 = 8;

/// Page cache of each of them, as SQLite writes it: KiB below zero. What is beyond it the system has in its own cache.
const READER_CACHE: &str = "-1024";

/// Page cache of the writer: the indexes of reports are written all over.
const WRITER_CACHE: &str = "-4096";

/// Pages of the log after which a transaction copies it into the file, should [`log::Log`] not have done it before; 32 MiB.
const CHECKPOINT: &str = "8000";

/// The check of the file works so long and rests so long, looked at after so many steps of SQLite.
const CHECK_WORKS: Duration = Duration::from_millis(1);
const CHECK_RESTS: Duration = Duration::from_millis(12);
const CHECK_STEP: i32 = 200;

/// How long a statement waits for another process's lock before it gives up.
const LOCK_WAIT: Duration = Duration::from_secs(5);

/// How often it is tried at once to empty the log, and the pause between two tries.
const EMPTYING: (u32, Duration) = (20, Duration::from_millis(50));

/// What can go wrong with the database, by what can be done about it.
#[derive(Debug, Error)]
pub enum StoreError {
    /// The disk is full or the file may not be written.
    #[error("the data folder cannot be written: {0}")]
    CannotWrite(#[source] sqlx::Error),
    /// Another process holds the file.
    #[error("the database is locked by another process: {0}")]
    Busy(#[source] sqlx::Error),
    /// The file is damaged.
    #[error("the database file is damaged ({0}). Stop the server and restore the last backup into this folder")]
    Damaged(#[source] sqlx::Error),
    /// A migration did not apply.
    #[error("the database could not be brought up to date: {0}")]
    Migration(#[from] sqlx::migrate::MigrateError),
    /// The writer task has ended, because the server is stopping.
    #[error("the server is stopping")]
    Stopping,
    /// The transaction that this was one of many in was not kept.
    #[error("not stored: {0}")]
    Batch(#[source] Arc<StoreError>),
    /// What was stored does not have the form that it was stored in.
    #[error("{what} in the database cannot be read: {found}")]
    Unreadable {
        /// Column or file in it.
        what: &'static str,
        /// What stands there, shortened by the caller.
        found: String,
    },
    /// Anything else.
    #[error(transparent)]
    Other(sqlx::Error),
}

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        // Primary result codes of SQLite (https://www.sqlite.org/rescode.html) are the low byte of the extended ones.
        let code = error.as_database_error().and_then(|e| e.code()?.parse::<u32>().ok());
        // A part of the file that the disk does not give any more is damage, though its primary code is that of writing.
        if let Some(266 | 522 | 8202 | 8458) = code {
            return Self::Damaged(error);
        }
        match code.map(|c| c & 0xff) {
            Some(8 | 10 | 13 | 14) => Self::CannotWrite(error),
            Some(5 | 6) => Self::Busy(error),
            Some(11 | 26) => Self::Damaged(error),
            _ => Self::Other(error),
        }
    }
}

impl StoreError {
    /// Whether the same may be taken a while later: the disk was full, or another program had the file.
    #[must_use]
    pub fn passes(&self) -> bool {
        match self {
            Self::CannotWrite(_) | Self::Busy(_) => true,
            Self::Batch(error) => error.passes(),
            _ => false,
        }
    }

    /// Whether a unique constraint on these columns (`table.column, table.column`) stopped a statement.
    #[must_use]
    pub fn breaks_unique(&self, columns: &str) -> bool {
        let Self::Other(error) = self else { return false };
        error.as_database_error().is_some_and(|e| {
            e.is_unique_violation() && e.message().strip_prefix("UNIQUE constraint failed: ") == Some(columns)
        })
    }
}

/// The open database of one school.
#[derive(Debug, Clone)]
pub struct Store {
    readers: SqlitePool,
    writers: SqlitePool,
    writer: Writer,
    file: Arc<Path>,
    damaged: Arc<AtomicBool>,
    /// Whether remains of what was taken out may be left in the file.
    traces: Arc<AtomicBool>,
    changes: Arc<Changes>,
}

/// What was changed of that which grades are made from.
#[derive(Debug, Default)]
struct Changes {
    kept: AtomicU64,
    /// That the disk is taking, or has just taken.
    under_way: AtomicUsize,
}

/// A change on its way to the disk; it is counted when this is gone.
#[derive(Debug)]
struct UnderWay(Arc<Changes>);

impl UnderWay {
    fn of(changes: Arc<Changes>) -> Self {
        changes.under_way.fetch_add(1, Ordering::AcqRel);
        Self(changes)
    }
}

impl Drop for UnderWay {
    fn drop(&mut self) {
        self.0.kept.fetch_add(1, Ordering::AcqRel);
        self.0.under_way.fetch_sub(1, Ordering::AcqRel);
    }
}

#[expect(
    clippy::disallowed_methods,
    reason = "runs on the thread that SQLite has for one connection, never on a worker"
)]
fn rest() {
    std::thread::sleep(CHECK_RESTS);
}

/// Values as JSON, for one statement about all of them (never fails for ours).
fn json_of<T: serde::Serialize + ?Sized>(what: &'static str, values: &T) -> Result<String, StoreError> {
    serde_json::to_string(values).map_err(|_| StoreError::Unreadable {
        what,
        found: String::new(),
    })
}

/// What a statement put together as JSON.
fn of_json<T: serde::de::DeserializeOwned>(what: &'static str, text: &str) -> Result<T, StoreError> {
    serde_json::from_str(text).map_err(|_| StoreError::Unreadable {
        what,
        found: text.chars().take(120).collect(),
    })
}

/// How many places the statement for so many rows has, some of which stay empty: few numbers, so that there are few different
/// statements to keep ready.
fn places(rows: usize) -> usize {
    let whole = rows.next_power_of_two();
    let less = whole / 4 * 3;
    if less >= rows { less } else { whole }
}

/// Rows for all places of a statement, the last ones empty.
fn filled<'a, T>(rows: &'a [&'a T]) -> impl Iterator<Item = Option<&'a T>> {
    let filled = rows.iter().copied().map(Some).chain(std::iter::repeat(None));
    filled.take(places(rows.len()))
}

/// A change in progress: everything in it is kept by [`Tx::commit`], or nothing.
#[derive(Debug)]
pub struct Tx {
    inner: sqlx::Transaction<'static, sqlx::Sqlite>,
    /// To be counted up when it is kept.
    changes: Option<Arc<Changes>>,
}

impl Tx {
    /// Keeps the change, durably.
    ///
    /// # Errors
    /// When the disk does not take it; then nothing of it is kept.
    pub async fn commit(self) -> Result<(), StoreError> {
        let Self { inner, changes } = self;
        let Some(changes) = changes else {
            return Ok(inner.commit().await?);
        };
        // In a task of its own: whoever waits may be cut off after the disk has begun to take it, and it is counted all the same.
        let kept = tokio::spawn(async move {
            let under_way = UnderWay::of(changes);
            let kept = inner.commit().await;
            drop(under_way);
            kept
        });
        Ok(kept.await.map_err(|_| StoreError::Stopping)??)
    }

    pub(crate) fn connection(&mut self) -> &mut SqliteConnection {
        &mut self.inner
    }
}

impl Store {
    /// Opens the database in `folder`, making it when it is not there, and brings it up to date.
    ///
    /// # Errors
    /// When the file cannot be opened, is damaged, or a migration does not apply.
    pub async fn open(folder: &Path) -> Result<Self, StoreError> {
        let options = SqliteConnectOptions::new()
            .filename(folder.join(FILE_NAME))
            .foreign_keys(true)
            .busy_timeout(LOCK_WAIT)
            .synchronous(SqliteSynchronous::Full)
            .pragma("trusted_schema", "off");
        let write = options
            .clone()
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .pragma("cache_size", WRITER_CACHE)
            .pragma("wal_autocheckpoint", CHECKPOINT)
            // What is deleted or overwritten is not to be found in the file any more; it costs nothing that can be measured.
            .pragma("secure_delete", "on")
            // With what is needed to take a statement of many rows back: in a file it is a fifth of the time of storing reports.
            .pragma("temp_store", "memory")
            .optimize_on_close(true, None);
        let pool = SqlitePoolOptions::new()
            .min_connections(1)
            // A connection to a file does not go away, and to ask it first costs a hop between threads.
            .test_before_acquire(false)
            // Where the disk did not take a transaction, SQLite has ended it and the driver does not know: nothing more would be
            // stored on this connection. Without one it is closed, and there is another.
            .before_acquire(|connection, _| {
                let is_clean = !connection.is_in_transaction();
                Box::pin(async move { Ok(is_clean) })
            });
        let one = pool.clone().max_connections(1);
        let writers = one.clone().connect_with(write).await?;
        sqlx::migrate!().run(&writers).await?;
        let copies = one
            .connect_with(options.clone().pragma("cache_size", READER_CACHE))
            .await?;
        let readers = pool
            .max_connections(READERS)
            .connect_with(options.read_only(true).pragma("cache_size", READER_CACHE))
            .await?;
        let writer = Writer::start(writers.clone(), Log::new(copies));
        Ok(Self {
            readers,
            writers,
            writer,
            file: folder.join(FILE_NAME).into(),
            damaged: Arc::default(),
            traces: Arc::new(AtomicBool::new(true)),
            changes: Arc::default(),
        })
    }

    pub(crate) const fn read(&self) -> &SqlitePool {
        &self.readers
    }

    /// Begins a change. It waits for the one before it.
    ///
    /// # Errors
    /// When the database cannot be written.
    pub async fn change(&self) -> Result<Tx, StoreError> {
        Ok(Tx {
            inner: self.writers.begin_with("begin immediate").await?,
            changes: Some(Arc::clone(&self.changes)),
        })
    }

    /// Begins a change of something that no grade is made from, as of drafts and sessions: [`Store::changes`] does not count it.
    ///
    /// # Errors
    /// When the database cannot be written.
    pub async fn change_beside(&self) -> Result<Tx, StoreError> {
        Ok(Tx {
            inner: self.writers.begin_with("begin immediate").await?,
            changes: None,
        })
    }

    /// Sees that what was taken out stands nowhere else in the file: not among the samples that SQLite takes of indexes, nor in the
    /// log, which is copied into the file and emptied. Somebody who reads from the log meanwhile, a backup say, stands against that:
    /// what is left then is left for [`Self::take_out_left_traces`].
    pub async fn take_out_traces(&self) -> bool {
        self.traces.store(true, Ordering::Release);
        self.take_out_left_traces().await
    }

    /// Tries for a second to do what [`Self::take_out_traces`] could not, and what a stop may have cut off before the start. Returns
    /// whether none is left.
    pub async fn take_out_left_traces(&self) -> bool {
        if !self.traces.swap(false, Ordering::AcqRel) {
            return true;
        }
        let emptied = self.without_traces().await.unwrap_or_else(|error| {
            tracing::warn!(%error, "remains of what was taken out are left in the file and are tried again");
            false
        });
        if !emptied {
            self.traces.store(true, Ordering::Release);
        }
        emptied
    }

    async fn without_traces(&self) -> Result<bool, StoreError> {
        let mut writer = self.writers.acquire().await?;
        // Of a schema of SQLite's own, which is there once it took samples (https://www.sqlite.org/fileformat2.html, 2.6.4).
        let sampled = sqlx::query("select 1 from sqlite_schema where name = 'sqlite_stat4'")
            .fetch_optional(&mut *writer)
            .await?
            .is_some();
        if sampled {
            // Anew from what is there now.
            for table in ["analyze person", "analyze pair"] {
                sqlx::query(table).execute(&mut *writer).await?;
            }
        }
        drop(writer);
        for _ in 0..EMPTYING.0 {
            if self.log_is_emptied().await? {
                return Ok(true);
            }
            tokio::time::sleep(EMPTYING.1).await;
        }
        Ok(false)
    }

    /// Whether the log could be emptied. Waits for nobody: whoever hands in would wait too.
    async fn log_is_emptied(&self) -> Result<bool, StoreError> {
        let mut writer = self.writers.acquire().await?;
        let waits = async |writer: &mut SqliteConnection, wait: Duration| {
            let pragma = format!("pragma busy_timeout = {}", wait.as_millis());
            sqlx::raw_sql(sqlx::AssertSqlSafe(pragma)).execute(writer).await
        };
        waits(&mut writer, Duration::ZERO).await?;
        // Its first column says whether somebody stood against it (https://www.sqlite.org/pragma.html#pragma_wal_checkpoint).
        let emptied = sqlx::query_scalar::<_, i64>("pragma wal_checkpoint(truncate)")
            .fetch_one(&mut *writer)
            .await;
        waits(&mut writer, LOCK_WAIT).await?;
        Ok(emptied? == 0)
    }

    /// How many changes were kept since the start; none while one is being kept, since it cannot be told whether others see it
    /// already. What a report is graded from, besides the report, is as it was while this is: only this process writes the file, and
    /// the writer takes nothing but reports and grades.
    #[must_use]
    pub fn changes(&self) -> Option<u64> {
        // In this order: a change is counted before it is no longer under way.
        let settled = self.changes.under_way.load(Ordering::Acquire) == 0;
        settled.then(|| self.changes.kept.load(Ordering::Acquire))
    }

    /// The task that takes reports and grades.
    #[must_use]
    pub const fn writer(&self) -> &Writer {
        &self.writer
    }

    /// The database file.
    #[must_use]
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// Reads the whole file once to see whether it is sound, beside everything else. What is found is remembered for
    /// [`Store::is_damaged`].
    ///
    /// # Errors
    /// When it could not be read to its end; [`StoreError::Damaged`] when it is not sound.
    pub async fn check(&self) -> Result<(), StoreError> {
        let found = self.looked_through().await;
        let checked = match found {
            Ok(said) if said == "ok" => Ok(()),
            Ok(said) => Err(StoreError::Damaged(sqlx::Error::Protocol(said))),
            Err(error) => Err(error),
        };
        if matches!(checked, Err(StoreError::Damaged(_))) {
            self.damaged.store(true, Ordering::Relaxed);
        }
        checked
    }

    /// What SQLite says of the whole file. It rests most of the time, so that pages have the processor, and ends when
    /// nobody waits for it any more; the connection is not used for anything else.
    async fn looked_through(&self) -> Result<String, StoreError> {
        let mut connection = self.readers.acquire().await?;
        connection.close_on_drop();
        let waits = Arc::new(());
        let somebody = Arc::downgrade(&waits);
        let mut since = Instant::now();
        connection
            .lock_handle()
            .await?
            .set_progress_handler(CHECK_STEP, move || {
                if since.elapsed() >= CHECK_WORKS {
                    rest();
                    since = Instant::now();
                }
                somebody.strong_count() > 0
            });
        let said = sqlx::query_scalar!(r#"select quick_check || '' as "said!: String" from pragma_quick_check"#)
            .fetch_one(&mut *connection)
            .await?;
        drop(waits);
        Ok(said)
    }

    /// Whether the last [`Store::check`] found damage.
    #[must_use]
    pub fn is_damaged(&self) -> bool {
        self.damaged.load(Ordering::Relaxed)
    }

    /// Whether the database answers, and somebody stores what is handed in.
    ///
    /// # Errors
    /// When it does not, or nobody does.
    pub async fn answers(&self) -> Result<(), StoreError> {
        if self.writer.is_gone() {
            return Err(StoreError::Stopping);
        }
        sqlx::query_scalar!(r#"select 1 as "one!: i64""#)
            .fetch_one(&self.readers)
            .await?;
        Ok(())
    }

    /// Finishes what was accepted and closes the file.
    pub async fn close(self) {
        self.writer.stop().await;
        self.readers.close().await;
        self.writers.close().await;
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::task::Poll;

    use super::*;

    async fn pragma<T>(connection: &mut SqliteConnection, name: &'static str) -> Result<T, sqlx::Error>
    where
        T: Send + Unpin + for<'r> sqlx::Decode<'r, sqlx::Sqlite> + sqlx::Type<sqlx::Sqlite>,
    {
        let pragma = sqlx::AssertSqlSafe(format!("pragma {name}"));
        sqlx::query_scalar(pragma).fetch_one(connection).await
    }

    #[test]
    fn statements_are_few_and_have_a_place_for_each_row() {
        let places: Vec<usize> = (1..=64).map(places).collect();
        assert!(
            (1..)
                .zip(&places)
                .all(|(rows, places)| (rows..=rows * 3 / 2).contains(places)),
            "{places:?}"
        );
        let different: BTreeSet<_> = places.into_iter().collect();
        assert_eq!(different.len(), 12);
        assert_eq!(different.last(), Some(&64));
    }

    /// Set in `.cargo/config.toml`.
    #[tokio::test]
    async fn each_connection_keeps_pages_and_plans_of_its_own() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).await.unwrap();
        let options: Vec<String> = sqlx::query_scalar("select compile_options from pragma_compile_options")
            .fetch_all(&store.readers)
            .await
            .unwrap();
        assert!(options.iter().any(|o| o == "ENABLE_STAT4"), "{options:?}");
        assert!(!options.iter().any(|o| o == "ENABLE_MEMORY_MANAGEMENT"), "{options:?}");
        assert!(options.iter().any(|o| o == "DEFAULT_MEMSTATUS=0"), "{options:?}");
        assert!(options.iter().any(|o| o == "ENABLE_QPSG"), "{options:?}");
    }

    #[tokio::test]
    async fn a_database_that_can_only_be_read_does_not_count_as_one_that_answers() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).await.unwrap();
        store.answers().await.unwrap();
        store.writer.stop().await;
        assert!(matches!(store.answers().await, Err(StoreError::Stopping)));
    }

    #[tokio::test]
    async fn a_change_is_counted_also_when_nobody_waits_for_it_any_more() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).await.unwrap();
        let before = store.changes().unwrap();
        let mut tx = store.change().await.unwrap();
        sqlx::query("create table more (id integer) strict")
            .execute(tx.connection())
            .await
            .unwrap();
        // Polled once, then dropped.
        let mut commit = Box::pin(tx.commit());
        let is_kept = std::future::poll_fn(|cx| Poll::Ready(commit.as_mut().poll(cx).is_ready())).await;
        drop(commit);
        assert!(!is_kept);
        let there = async || {
            let tables = "select count(*) from sqlite_schema where name = 'more'";
            let there: i64 = sqlx::query_scalar(tables).fetch_one(&store.readers).await.unwrap();
            there == 1
        };
        let until = Instant::now() + Duration::from_secs(5);
        while !there().await && Instant::now() < until {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        assert!(there().await, "it was not kept");
        while store.changes().is_none() && Instant::now() < until {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        assert_eq!(store.changes(), Some(before + 1));
    }

    #[tokio::test]
    async fn while_a_change_is_being_kept_nobody_can_say_how_many_were() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).await.unwrap();
        let before = store.changes().unwrap();
        let under_way = UnderWay::of(Arc::clone(&store.changes));
        assert_eq!(store.changes(), None);
        drop(under_way);
        assert_eq!(store.changes(), Some(before + 1));
        store.change_beside().await.unwrap().commit().await.unwrap();
        assert_eq!(store.changes(), Some(before + 1));
    }

    #[tokio::test]
    async fn the_log_is_emptied_as_soon_as_nobody_reads_from_it_and_nobody_waits_for_that() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).await.unwrap();
        let log = || std::fs::metadata(folder.path().join(format!("{FILE_NAME}-wal"))).map_or(0, |log| log.len());
        let write = async || {
            let mut tx = store.change().await.unwrap();
            let kept = sqlx::query("create table if not exists more (id integer) strict").execute(tx.connection());
            kept.await.unwrap();
            sqlx::query("insert into more values (1)")
                .execute(tx.connection())
                .await
                .unwrap();
            tx.commit().await.unwrap();
        };
        write().await;
        assert!(log() > 0);
        assert!(store.take_out_left_traces().await);
        assert_eq!(log(), 0);
        // Nothing was taken out since.
        write().await;
        assert!(store.take_out_left_traces().await);
        assert!(log() > 0);

        let mut reader = store.readers.begin().await.unwrap();
        let rows: i64 = sqlx::query_scalar("select count(*) from more")
            .fetch_one(&mut *reader)
            .await
            .unwrap();
        assert_eq!(rows, 2);
        write().await;
        let begun = Instant::now();
        let emptied = tokio::spawn({
            let store = store.clone();
            async move { store.take_out_traces().await }
        });
        write().await;
        assert!(!emptied.await.unwrap());
        assert!(begun.elapsed() < LOCK_WAIT, "{:?}", begun.elapsed());
        assert!(log() > 0);
        drop(reader);
        assert!(store.take_out_left_traces().await);
        assert_eq!(log(), 0);
    }

    #[tokio::test]
    async fn what_is_committed_is_on_the_disk_and_every_row_has_its_types_and_its_parent() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).await.unwrap();
        for pool in [&store.writers, &store.readers] {
            let mut connection = pool.acquire().await.unwrap();
            let journal: String = pragma(&mut connection, "journal_mode").await.unwrap();
            let synchronous: i64 = pragma(&mut connection, "synchronous").await.unwrap();
            let foreign_keys: i64 = pragma(&mut connection, "foreign_keys").await.unwrap();
            // 2 is FULL (https://www.sqlite.org/pragma.html#pragma_synchronous).
            assert_eq!((journal.as_str(), synchronous, foreign_keys), ("wal", 2, 1));
        }
        // Readers cannot write.
        let mut reader = store.readers.acquire().await.unwrap();
        let written = sqlx::query("create table more (id integer) strict")
            .execute(&mut *reader)
            .await;
        assert!(written.is_err(), "{written:?}");
        let loose: Vec<String> = sqlx::query_scalar(
            "select name from pragma_table_list where schema = 'main' and type = 'table' and strict = 0
                 and name not like 'sqlite%' and name <> '_sqlx_migrations'",
        )
        .fetch_all(&mut *reader)
        .await
        .unwrap();
        assert!(loose.is_empty(), "{loose:?}");
    }
}
