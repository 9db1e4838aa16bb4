//! The benchmark of the server: accepting, grading, pages, regrading, memory, start. Prints one table; every line is a
//! ratio to something measured in the same run, or to a limit. Bounded, on the loopback only, and it stops by itself.
//!
//! `cargo build --release && cargo run --release --example load -- [ITEMS]`: ITEMS are the stored items of the first
//! filling (10^6 unless told); the second has ten times as many, and `--once` leaves it out. Data lie in `target/load`.
//! `--accepting`, `--graded`, `--regrade`, `--pages` measure that part alone; `--keep` leaves the data where they are.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a benchmark ends at the first thing that is not as it should be, and prints"
)]

mod accepting;
mod bare;
mod fill;
mod pages;
mod processor;
mod regrade;
mod school;
mod serving;

use std::path::PathBuf;
use std::time::Duration;

/// Clients that hand in at once.
pub(crate) const CLIENTS: usize = 64;

/// How long each rate is measured.
pub(crate) const SPELL: Duration = Duration::from_secs(6);

/// One line of the table.
pub(crate) struct Line {
    what: String,
    measured: String,
    against: String,
    goal: &'static str,
    met: bool,
}

impl Line {
    pub(crate) fn new(
        what: impl Into<String>,
        measured: String,
        against: String,
        goal: &'static str,
        met: bool,
    ) -> Self {
        let what = what.into();
        Self {
            what,
            measured,
            against,
            goal,
            met,
        }
    }

    fn print(&self) {
        let met = if self.met { "met" } else { "NOT MET" };
        println!(
            "| {} | {} | {} | {} | {met} |",
            self.what, self.measured, self.against, self.goal
        );
    }
}

/// The value below which this share of them lies.
pub(crate) fn quantile(times: &mut [Duration], share: f64) -> Duration {
    times.sort_unstable();
    let last = times.len().saturating_sub(1);
    times
        .get((share * last as f64).round() as usize)
        .copied()
        .unwrap_or_default()
}

pub(crate) fn ms(time: Duration) -> String {
    format!("{:.1} ms", time.as_secs_f64() * 1e3)
}

/// A folder on the disk that the program is built on; anew for each part.
pub(crate) fn folder(name: &str) -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/load").join(name);
    if folder.exists() {
        std::fs::remove_dir_all(&folder).unwrap();
    }
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let items = arguments.iter().find_map(|a| a.parse().ok()).unwrap_or(1_000_000);
    let said = |word: &str| arguments.iter().any(|a| a == word);
    let (once, keep) = (said("--once"), said("--keep"));
    let parts = ["--accepting", "--graded", "--regrade", "--pages"];
    let part = |word: &str| said(word) || !parts.iter().any(|p| said(p));
    println!("| what | measured | against | goal | |\n|---|---|---|---|---|");
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .unwrap();
    let binary = serving::binary();
    let size = binary.metadata().unwrap().len() as f64 / f64::from(1 << 20);
    Line::new(
        "size of the program",
        format!("{size:.1} MiB"),
        String::new(),
        "<= 30 MiB",
        size <= 30.0,
    )
    .print();
    runtime.block_on(async {
        if part("--accepting") {
            accepting::measure().await.iter().for_each(Line::print);
        }
        if said("--graded") {
            accepting::graded().await.iter().for_each(Line::print);
        }
        if part("--regrade") {
            regrade::measure().await.iter().for_each(Line::print);
        }
        if !part("--pages") {
            return;
        }
        let mut before = None;
        for (n, factor) in [1, 10].into_iter().enumerate() {
            if n > 0 && once {
                break;
            }
            let (lines, times) = pages::measure(items * factor, before.as_ref()).await;
            lines.iter().for_each(Line::print);
            before = Some(times);
        }
    });
    if !keep {
        std::fs::remove_dir_all(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/load")).unwrap();
    }
}
