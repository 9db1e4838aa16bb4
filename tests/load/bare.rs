//! The peer: the same bytes, through the same driver, by the least program that commits in batches.

use std::path::Path;
use std::time::{Duration, Instant};

use sqlx::SqlitePool;
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use tokio::sync::{mpsc, oneshot};
use tokio::task::JoinSet;

use crate::processor::Spent;
use crate::{CLIENTS, SPELL};

/// As many in one transaction as the server takes.
const BATCH: usize = 256;

struct Row {
    items: Vec<u8>,
    source: Vec<u8>,
    done: oneshot::Sender<()>,
}

async fn write(pool: SqlitePool, mut waiting: mpsc::Receiver<Row>) {
    let mut batch = Vec::new();
    while waiting.recv_many(&mut batch, BATCH).await > 0 {
        let mut tx = pool.begin_with("begin immediate").await.unwrap();
        for row in &batch {
            sqlx::query("insert into bare (items, source) values (?, ?)")
                .bind(&row.items)
                .bind(&row.source)
                .execute(&mut *tx)
                .await
                .unwrap();
        }
        tx.commit().await.unwrap();
        for row in batch.drain(..) {
            row.done.send(()).ok();
        }
    }
}

/// Rows a second of [`CLIENTS`] clients, the time of each, and the processors' time.
pub(crate) async fn rate(folder: &Path, items: &[u8], source: &[u8]) -> (f64, Vec<Duration>, String) {
    let options = SqliteConnectOptions::new()
        .filename(folder.join("bare.db"))
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full);
    let pool = SqlitePoolOptions::new()
        .max_connections(1)
        .connect_with(options)
        .await
        .unwrap();
    sqlx::query("create table bare (id integer primary key, items blob not null, source blob not null) strict")
        .execute(&pool)
        .await
        .unwrap();
    let (rows, waiting) = mpsc::channel(1024);
    let writer = tokio::spawn(write(pool, waiting));
    let (begun, spent) = (Instant::now(), Spent::now());
    let mut clients = JoinSet::new();
    for _ in 0..CLIENTS {
        let (rows, items, source) = (rows.clone(), items.to_vec(), source.to_vec());
        clients.spawn(async move {
            let mut times = Vec::new();
            while begun.elapsed() < SPELL {
                let (done, told) = oneshot::channel();
                let start = Instant::now();
                let row = Row {
                    items: items.clone(),
                    source: source.clone(),
                    done,
                };
                rows.send(row).await.unwrap();
                told.await.unwrap();
                times.push(start.elapsed());
            }
            times
        });
    }
    let times = clients.join_all().await.concat();
    let rate = times.len() as f64 / begun.elapsed().as_secs_f64();
    let spent = Spent::now().since(spent).each(times.len());
    drop(rows);
    writer.await.unwrap();
    (rate, times, spent)
}
