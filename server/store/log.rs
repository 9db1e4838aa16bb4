//! The write-ahead log, and when it is copied into the file (<https://www.sqlite.org/wal.html#ckpt>).
//!
//! A page that is written many times meanwhile is copied once, so it is copied seldom; and since that takes as long as many
//! transactions, it is done on a connection of its own, beside them. Only what they wrote in that time is left for the writer: it
//! copies it between two transactions, and then the log begins anew.

use sqlx::SqlitePool;
use tokio::task::JoinHandle;

use super::StoreError;

/// After so many reports and grades it is copied.
const JOBS: usize = 768;

/// What the writer knows of the log.
#[derive(Debug)]
pub(super) struct Log {
    /// The connection beside the writer's.
    pool: SqlitePool,
    /// Reports and grades that were written since it was last begun to be copied.
    jobs: usize,
    copying: Option<JoinHandle<()>>,
}

impl Log {
    pub(super) const fn new(pool: SqlitePool) -> Self {
        Self {
            pool,
            jobs: 0,
            copying: None,
        }
    }

    /// Says that so many more reports and grades were written, and sees to the log.
    pub(super) async fn grew(&mut self, jobs: usize, writer: &SqlitePool) {
        self.jobs += jobs;
        match &self.copying {
            Some(copying) if copying.is_finished() => {
                self.copying = None;
                copy(writer).await;
            }
            None if self.jobs >= JOBS => {
                self.jobs = 0;
                let pool = self.pool.clone();
                self.copying = Some(tokio::spawn(async move { copy(&pool).await }));
            }
            _ => {}
        }
    }

    /// Waits for what is being copied and closes the connection.
    pub(super) async fn end(self) {
        if let Some(copying) = self.copying {
            copying.await.ok();
        }
        self.pool.close().await;
    }
}

/// Copies what nobody reads from the log any more and waits for nobody. Where it fails the log grows, and a later transaction copies it
/// or says what is the matter.
async fn copy(pool: &SqlitePool) {
    let copied = sqlx::query("pragma wal_checkpoint(passive)").execute(pool).await;
    if let Err(error) = copied.map_err(StoreError::from) {
        tracing::warn!(%error, "the log could not be copied into the database file");
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions};

    use super::*;

    async fn connection(file: &Path) -> SqlitePool {
        let options = SqliteConnectOptions::new()
            .filename(file)
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            // Nobody else is to copy.
            .pragma("wal_autocheckpoint", "0");
        let one = SqlitePoolOptions::new().max_connections(1);
        one.connect_with(options).await.unwrap()
    }

    async fn write(pool: &SqlitePool) {
        let written = sqlx::query("insert into bytes values (zeroblob(100000))")
            .execute(pool)
            .await;
        assert_eq!(written.unwrap().rows_affected(), 1);
    }

    #[tokio::test]
    async fn it_is_copied_beside_the_writer_after_enough_jobs_and_begins_anew() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("some.db");
        let size = |name: &str| std::fs::metadata(folder.path().join(name)).unwrap().len();
        let writer = connection(&file).await;
        let created = sqlx::query("create table bytes (bytes blob)").execute(&writer).await;
        created.unwrap();
        let mut log = Log::new(connection(&file).await);
        write(&writer).await;
        log.grew(JOBS - 1, &writer).await;
        assert!(log.copying.is_none());
        assert!(size("some.db") < 100_000);

        log.grew(1, &writer).await;
        while !log.copying.as_ref().unwrap().is_finished() {
            tokio::task::yield_now().await;
        }
        assert!(size("some.db") > 100_000);

        // What was written meanwhile is copied by the writer.
        write(&writer).await;
        let most = size("some.db-wal");
        log.grew(1, &writer).await;
        assert!(log.copying.is_none());
        assert!(size("some.db") > 200_000);
        write(&writer).await;
        assert_eq!(size("some.db-wal"), most);
        log.end().await;
    }
}
