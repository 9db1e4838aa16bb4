//! The line of graded reports that wait to be searched for reasons to look at them, and the one task that searches
//! them. Nobody who hands in waits behind it. What a stop cuts off is searched after the next start.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::watch;

use super::Service;
use super::attention::{self, Known, ToSearch};
use crate::store::ids::ReportId;

/// Reports that are searched together: their findings share one transaction.
const AT_ONCE: usize = 256;

/// How often the task looks whether anything is being graded, how many times in a row nothing is when grades have passed, and how often it
/// looks before it goes on anyway. Under load a processor has nothing to grade for a moment again and again: that is not yet the time to
/// take it.
const LET_GRADES_PASS: (Duration, u32, u32) = (Duration::from_millis(20), 3, 100);

/// Reports whose numbers wait in memory; of the ones behind them they are read again.
const AT_HAND: usize = 2048;

/// A graded report that waits.
#[derive(Debug)]
pub(super) enum Waiting {
    /// With what the search needs of it.
    AtHand(Box<ToSearch>),
    /// That is read again.
    Stored(ReportId),
}

impl From<ToSearch> for Waiting {
    fn from(one: ToSearch) -> Self {
        Self::AtHand(Box::new(one))
    }
}

impl From<ReportId> for Waiting {
    fn from(report: ReportId) -> Self {
        Self::Stored(report)
    }
}

/// The line.
#[derive(Debug, Clone)]
pub struct Searches {
    line: Arc<Mutex<Line>>,
    busy: watch::Sender<bool>,
    pub(super) known: Arc<tokio::sync::Mutex<Known>>,
}

#[derive(Debug, Default)]
struct Line {
    waiting: VecDeque<Waiting>,
    works: bool,
    ended: bool,
}

impl Default for Searches {
    fn default() -> Self {
        Self {
            line: Arc::default(),
            busy: watch::Sender::new(false),
            known: Arc::default(),
        }
    }
}

impl Searches {
    fn line(&self) -> MutexGuard<'_, Line> {
        self.line.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes reports into the line; whether somebody has to begin to work.
    fn take_in(&self, reports: impl IntoIterator<Item = Waiting>) -> bool {
        let mut line = self.line();
        if line.ended {
            return false;
        }
        for report in reports {
            let report = match report {
                Waiting::AtHand(one) if line.waiting.len() >= AT_HAND => Waiting::Stored(one.report),
                report => report,
            };
            line.waiting.push_back(report);
        }
        let begins = !line.works && !line.waiting.is_empty();
        if begins {
            line.works = true;
            self.busy.send_replace(true);
        }
        begins
    }

    /// The next ones; with none the work ends.
    fn next(&self) -> Vec<Waiting> {
        let mut line = self.line();
        let most = line.waiting.len().min(AT_ONCE);
        let next: Vec<Waiting> = line.waiting.drain(..most).collect();
        if next.is_empty() {
            line.works = false;
            self.busy.send_replace(false);
        }
        next
    }

    /// How many wait.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.line().waiting.len()
    }

    /// Done when nothing waits any more.
    pub async fn settled(&self) {
        // The sender lives as long as `self`.
        self.busy.subscribe().wait_for(|busy| !busy).await.ok();
    }

    /// Takes nothing in any more, and waits for what is in work.
    pub async fn end(&self) {
        {
            let mut line = self.line();
            line.ended = true;
            line.waiting.clear();
        }
        self.settled().await;
    }
}

/// Puts graded reports into the line and returns at once.
pub(super) fn soon<W: Into<Waiting>>(service: &Service, reports: impl IntoIterator<Item = W>) {
    if service.searches.take_in(reports.into_iter().map(Into::into)) {
        tokio::spawn(work(service.clone()));
    }
}

async fn let_grades_pass(service: &Service) {
    let (pause, in_a_row, times) = LET_GRADES_PASS;
    let mut free = 0;
    for _ in 0..times {
        let is_free = service.grading.available_permits() >= service.processors && service.fresh.waiting() == 0;
        free = if is_free { free + 1 } else { 0 };
        if free == in_a_row {
            return;
        }
        tokio::time::sleep(pause).await;
    }
}

async fn work(service: Service) {
    loop {
        let_grades_pass(&service).await;
        let next = service.searches.next();
        if next.is_empty() {
            return;
        }
        let reports = next.len();
        if let Err(error) = attention::search(&service, next).await {
            tracing::warn!(%error, reports, "reports were not searched for reasons to look at them");
        }
    }
}
