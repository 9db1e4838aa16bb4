//! The one task that stores reports and grades.
//!
//! It takes everything that waits, up to a limit, into one transaction and answers only after the commit: many reports
//! at once cost one write to the disk, and no answer is given for what could still be lost.

use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::time::Duration;

use sqlx::SqlitePool;
use tokio::runtime::Handle;
use tokio::sync::{Mutex, Notify, mpsc, oneshot};
use tokio::task::{JoinHandle, JoinSet};
use tokio::time::Instant;

use super::before::Before;
use super::grades::{self, NewGrade};
use super::ids::{AssignmentId, PairId, ReportId};
use super::log::Log;
use super::reports::{self, NewReport, Stored};
use super::{StoreError, Tx};

/// How many may wait before a sender has to.
const QUEUE: usize = 1024;

/// How many go into one transaction.
const BATCH: usize = 256;

/// How many go into one statement, and bytes of them: a statement costs a hop between threads, so few fat ones.
const STATEMENT: (usize, usize) = (64, 1 << 20);

/// While so many reports for each processor wait to be graded, all processors have enough to do, and do it faster without the
/// writer: so long after a transaction it lets what comes gather for the next one.
const GATHER: (usize, Duration) = (6, Duration::from_millis(20));

type Answer<T> = oneshot::Sender<Result<T, StoreError>>;

/// What is done, within the runtime, with an answer for each grade.
type Then = Box<dyn FnOnce(Vec<Result<(), StoreError>>) + Send + Sync>;

enum Job {
    Report(Box<NewReport>, Answer<Kept>),
    /// Grades that are told of together.
    Grades(Vec<NewGrade>, Then),
    Stop,
}

impl Job {
    /// How many reports or grades it is.
    const fn size(&self) -> usize {
        match self {
            Self::Report(..) => 1,
            Self::Grades(grades, _) => grades.len(),
            Self::Stop => 0,
        }
    }
}

/// What one job came to, to be told after the commit.
enum Outcome {
    Report(Result<Kept, StoreError>),
    Grades(Vec<Result<(), StoreError>>),
    Nothing,
}

/// What the task has done since the start.
#[derive(Debug, Default)]
pub struct Counts {
    /// Reports and grades in transactions that were kept.
    pub kept: AtomicU64,
    /// Transactions that were kept.
    pub commits: AtomicU64,
    /// Reports and grades in transactions that the disk did not take.
    pub failed: AtomicU64,
}

/// What became of a report.
#[derive(Debug)]
pub struct Kept {
    /// Whether it was stored.
    pub stored: Stored,
    /// It waits to be graded; none: it is not new.
    pub waits: Option<Waits>,
}

/// How many reports wait to be graded.
#[derive(Debug)]
struct Ungraded {
    count: AtomicUsize,
    /// Fewer than so many are few.
    enough: usize,
    are_few: Notify,
}

/// A report that is new and waits to be graded, until this is gone. It does from before the end of the transaction that stores it, so
/// that the next one does not take it that there is nothing to grade.
#[derive(Debug)]
pub struct Waits(Arc<Ungraded>);

impl Drop for Waits {
    fn drop(&mut self) {
        // The writer is woken once, not for each of them: that takes a processor from who grades.
        if self.0.count.fetch_sub(1, Ordering::Relaxed) == self.0.enough {
            self.0.are_few.notify_one();
        }
    }
}

impl Ungraded {
    fn of(processors: usize) -> Self {
        Self {
            count: AtomicUsize::new(0),
            enough: GATHER.0 * processors,
            are_few: Notify::new(),
        }
    }

    fn one_more(self: &Arc<Self>) -> Waits {
        self.count.fetch_add(1, Ordering::Relaxed);
        Waits(Arc::clone(self))
    }

    /// Done when processors may soon have nothing to do, at the latest at this time.
    async fn are_few(&self, at: Instant) {
        let few = async {
            while self.count.load(Ordering::Relaxed) >= self.enough {
                self.are_few.notified().await;
            }
        };
        tokio::time::timeout_at(at, few).await.ok();
    }
}

/// The way to the task.
#[derive(Debug, Clone)]
pub struct Writer {
    jobs: mpsc::Sender<Job>,
    counts: Arc<Counts>,
    task: Arc<Mutex<Option<JoinHandle<()>>>>,
}

impl std::fmt::Debug for Job {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Report(..) => "Report",
            Self::Grades(..) => "Grades",
            Self::Stop => "Stop",
        })
    }
}

impl Writer {
    pub(super) fn start(pool: SqlitePool, log: Log) -> Self {
        let (jobs, waiting) = mpsc::channel(QUEUE);
        let counts = Arc::new(Counts::default());
        let processors = std::thread::available_parallelism().map_or(1, usize::from);
        let (runtime, run) = (
            Handle::current(),
            run(
                (pool, log),
                waiting,
                Arc::clone(&counts),
                Arc::new(Ungraded::of(processors)),
            ),
        );
        // On a thread of its own: each statement is answered from another thread, and to wake this one alone costs less than half
        // of having a worker of the runtime woken, which wakes another one to look for more.
        let task = tokio::task::spawn_blocking(move || runtime.block_on(run));
        Self {
            jobs,
            counts,
            task: Arc::new(Mutex::new(Some(task))),
        }
    }

    /// Stores a report. The answer comes after the commit.
    ///
    /// # Errors
    /// When nothing could be stored; then nothing of it was.
    pub async fn hand_in(&self, report: NewReport) -> Result<Kept, StoreError> {
        let (answer, told) = oneshot::channel();
        let job = Job::Report(Box::new(report), answer);
        self.jobs.send(job).await.map_err(|_| StoreError::Stopping)?;
        told.await.map_err(|_| StoreError::Stopping)?
    }

    /// Stores a grade, which takes the place of the one before it. The answer comes after the commit.
    ///
    /// # Errors
    /// When nothing could be stored.
    pub async fn grade(&self, grade: NewGrade) -> Result<(), StoreError> {
        self.grades(vec![grade])
            .await
            .pop()
            .unwrap_or(Err(StoreError::Stopping))
    }

    /// Stores grades as [`Self::grade`] does; an answer for each, in their order.
    pub async fn grades(&self, grades: Vec<NewGrade>) -> Vec<Result<(), StoreError>> {
        let ((answer, told), all) = (oneshot::channel(), grades.len());
        let then = move |stored| drop(answer.send(stored));
        // With nobody there to take it, nobody answers.
        self.jobs.send(Job::Grades(grades, Box::new(then))).await.ok();
        told.await.unwrap_or_else(|_| stopping(all))
    }

    /// Stores grades as [`Self::grades`] does, for a thread that computes and does not wait for the answers: what is to be done then is
    /// done within the runtime.
    pub fn grades_of_thread(
        &self,
        grades: Vec<NewGrade>,
        then: impl FnOnce(Vec<Result<(), StoreError>>) + Send + Sync + 'static,
    ) {
        let all = grades.len();
        if let Err(mpsc::error::SendError(Job::Grades(_, then))) =
            self.jobs.blocking_send(Job::Grades(grades, Box::new(then)))
        {
            then(stopping(all));
        }
    }

    /// Whether nobody takes jobs any more: it was stopped, or ended badly.
    #[must_use]
    pub fn is_gone(&self) -> bool {
        self.jobs.is_closed()
    }

    /// How many jobs are in line.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.jobs.max_capacity().saturating_sub(self.jobs.capacity())
    }

    /// What was done since the start.
    #[must_use]
    pub fn counts(&self) -> &Counts {
        &self.counts
    }

    /// Finishes what waits and ends the task.
    pub(super) async fn stop(&self) {
        // Where the task is gone already there is nothing to tell it.
        if self.jobs.send(Job::Stop).await.is_ok()
            && let Some(task) = self.task.lock().await.take()
            && let Err(error) = task.await
        {
            tracing::error!(%error, "the writer ended badly");
        }
    }
}

/// Answers when nobody stores any more.
fn stopping(grades: usize) -> Vec<Result<(), StoreError>> {
    (0..grades).map(|_| Err(StoreError::Stopping)).collect()
}

async fn run(
    (pool, mut log): (SqlitePool, Log),
    mut waiting: mpsc::Receiver<Job>,
    counts: Arc<Counts>,
    ungraded: Arc<Ungraded>,
) {
    let mut batch = Vec::with_capacity(BATCH);
    let mut told = JoinSet::new();
    let mut last = Instant::now();
    loop {
        if waiting.recv_many(&mut batch, BATCH).await == 0 {
            // A runtime that ends without a stop cuts them off, and there is nobody left to be told.
            while told.join_next().await.is_some() {}
            log.end().await;
            return;
        }
        ungraded.are_few(last + GATHER.1).await;
        while batch.len() < BATCH
            && let Ok(job) = waiting.try_recv()
        {
            batch.push(job);
        }
        if batch.iter().any(|job| matches!(job, Job::Stop)) {
            // No new ones; those in the channel are still handed out, and then it ends.
            waiting.close();
        }
        let jobs = batch.iter().map(Job::size).sum();
        while told.try_join_next().is_some() {}
        write((&pool, &counts, &ungraded), std::mem::take(&mut batch), &mut told).await;
        last = Instant::now();
        log.grew(jobs, &pool).await;
    }
}

async fn write(
    (pool, counts, ungraded): (&SqlitePool, &Counts, &Arc<Ungraded>),
    batch: Vec<Job>,
    told: &mut JoinSet<()>,
) {
    let jobs = u64::try_from(batch.iter().map(Job::size).sum::<usize>()).unwrap_or(u64::MAX);
    let mut outcomes = Vec::with_capacity(batch.len());
    match attempt((pool, ungraded), &batch, &mut outcomes).await {
        Ok(()) => {
            counts.kept.fetch_add(jobs, Ordering::Relaxed);
            counts.commits.fetch_add(1, Ordering::Relaxed);
            told.spawn(async move {
                for (job, outcome) in batch.into_iter().zip(outcomes) {
                    tell(job, outcome);
                }
            });
        }
        Err(error) => {
            counts.failed.fetch_add(jobs, Ordering::Relaxed);
            tracing::error!(%error, waiting = jobs, "a batch was not stored");
            let error = Arc::new(error);
            for job in batch {
                let outcome = match &job {
                    Job::Report(..) => Outcome::Report(Err(StoreError::Batch(Arc::clone(&error)))),
                    Job::Grades(grades, _) => Outcome::Grades(
                        grades
                            .iter()
                            .map(|_| Err(StoreError::Batch(Arc::clone(&error))))
                            .collect(),
                    ),
                    Job::Stop => Outcome::Nothing,
                };
                tell(job, outcome);
            }
        }
    }
}

/// Runs the jobs in one transaction. A job that breaks a rule fails alone; a disk that does not take writes fails the
/// whole batch, since SQLite may have taken the transaction back by itself.
async fn attempt(
    (pool, ungraded): (&SqlitePool, &Arc<Ungraded>),
    batch: &[Job],
    outcomes: &mut Vec<Outcome>,
) -> Result<(), StoreError> {
    let (mut reports, mut grades) = (Vec::new(), Vec::new());
    for job in batch {
        match job {
            Job::Report(report, _) => reports.push(report.as_ref()),
            Job::Grades(all, _) => grades.extend(all),
            Job::Stop => {}
        }
    }
    let mut tx = Tx {
        inner: pool.begin_with("begin immediate").await?,
        changes: None,
    };
    let before = Before::of(&mut tx, &reports, &grades).await?;
    let mut reports = store_reports(&mut tx, &reports, &before).await?.into_iter();
    let mut grades = store_grades(&mut tx, &grades, &before).await?.into_iter();
    let kept = |stored| Kept {
        waits: matches!(stored, Stored::New(_)).then(|| ungraded.one_more()),
        stored,
    };
    outcomes.extend(batch.iter().map(|job| {
        match job {
            Job::Report(..) => reports.next().map(|one| Outcome::Report(one.map(kept))),
            Job::Grades(all, _) => Some(Outcome::Grades(grades.by_ref().take(all.len()).collect())),
            Job::Stop => None,
        }
        .unwrap_or(Outcome::Nothing)
    }));
    tx.commit().await
}

/// One for each report. What can go together goes into few statements; what stands against one is found out by itself.
async fn store_reports(
    tx: &mut Tx,
    new: &[&NewReport],
    before: &Before,
) -> Result<Vec<Result<Stored, StoreError>>, StoreError> {
    let mut rows: Vec<Option<ReportId>> = vec![None; new.len()];
    if new.len() > 1 {
        // Of two for one attempt of a pair the first one counts, and the second is told so.
        let mut seen: BTreeSet<(AssignmentId, PairId)> = BTreeSet::new();
        let together: Vec<(usize, &NewReport)> = (0..)
            .zip(new.iter().copied())
            .zip(&before.attempts)
            .filter(|((_, r), used)| r.comes_after(**used) && seen.insert((r.assignment, r.pair)))
            .map(|(one, _)| one)
            .collect();
        let mut stored = Vec::with_capacity(together.len());
        let mut last = before.last;
        for part in parts(&together, |(_, r)| r.items.bytes().len() + r.source_bytes.len()) {
            let reports: Vec<&NewReport> = part.iter().map(|(_, r)| *r).collect();
            let found = reports::store_together(tx, &reports, ReportId(last)).await;
            let found = alone(found)?.unwrap_or_default();
            last += i64::try_from(part.len()).unwrap_or(0);
            for ((i, report), row) in part.iter().zip(found) {
                stored.extend(row.is_some().then_some(*report));
                if let Some(place) = rows.get_mut(*i) {
                    *place = row;
                }
            }
        }
        if before.drafts {
            reports::end_drafts(tx, &stored).await?;
        }
    }
    let mut all = Vec::with_capacity(new.len());
    for (report, row) in new.iter().zip(rows) {
        all.push(match row {
            Some(row) => alone(reports::stored(tx, row, report).await)?,
            None => alone(reports::store(tx, report).await)?,
        });
    }
    Ok(all)
}

/// One for each grade, in their order.
async fn store_grades(
    tx: &mut Tx,
    new: &[&NewGrade],
    before: &Before,
) -> Result<Vec<Result<(), StoreError>>, StoreError> {
    let mut all: Vec<_> = new.iter().map(|_| Ok(())).collect();
    grades::make_room(tx, new).await?;
    let kept: Vec<(usize, &NewGrade)> = (0..)
        .zip(new.iter().copied())
        .filter(|(_, grade)| !grade.comes_too_late(before))
        .collect();
    for part in parts(&kept, |(_, grade)| grade.result.bytes().len()) {
        let grades: Vec<&NewGrade> = part.iter().map(|(_, grade)| *grade).collect();
        if alone(grades::store_together(tx, &grades).await)?.is_ok() {
            continue;
        }
        for (i, one) in part {
            if let Some(told) = all.get_mut(*i) {
                *told = alone(grades::store(tx, one).await)?;
            }
        }
    }
    Ok(all)
}

/// Stores grades within a change that is more than them.
///
/// # Errors
/// When the database cannot be written, or one of them breaks a constraint; then the change is to be dropped.
pub async fn grades_within(tx: &mut Tx, new: &[NewGrade]) -> Result<(), StoreError> {
    let new: Vec<&NewGrade> = new.iter().collect();
    let before = Before::of(tx, &[], &new).await?;
    store_grades(tx, &new, &before).await?.into_iter().collect()
}

/// Neighbours that go into one statement.
fn parts<T>(all: &[T], size: impl Fn(&T) -> usize) -> impl Iterator<Item = &[T]> {
    let mut rest = all;
    std::iter::from_fn(move || {
        let mut bytes = 0;
        let fit = rest.iter().take(STATEMENT.0).take_while(|one| {
            bytes += size(one);
            bytes <= STATEMENT.1
        });
        let most = fit.count().max(1).min(rest.len());
        let (part, after) = rest.split_at(most);
        rest = after;
        (!part.is_empty()).then_some(part)
    })
}

/// A broken constraint is the job's own failure; everything else is the batch's.
fn alone<T>(result: Result<T, StoreError>) -> Result<Result<T, StoreError>, StoreError> {
    match result {
        Err(StoreError::Other(sqlx::Error::Database(error))) if error.kind() != sqlx::error::ErrorKind::Other => {
            Ok(Err(StoreError::Other(sqlx::Error::Database(error))))
        }
        Err(error) => Err(error),
        Ok(value) => Ok(Ok(value)),
    }
}

/// Who asked may be gone; what was stored stays stored. What is done with an answer may fail as it likes: those that are told after it
/// hear of their own.
fn tell(job: Job, outcome: Outcome) {
    match (job, outcome) {
        (Job::Report(_, answer), Outcome::Report(result)) => drop(answer.send(result)),
        (Job::Grades(_, then), Outcome::Grades(results)) => {
            let done = catch_unwind(AssertUnwindSafe(|| then(results)));
            if done.is_err() {
                tracing::error!("what was to be done with stored grades was not done");
            }
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::packed::Packed;

    #[test]
    fn neighbours_go_together_as_far_as_they_fit() {
        let sizes = |all: &[usize]| parts(all, |bytes| *bytes).map(<[usize]>::len).collect::<Vec<_>>();
        assert_eq!(sizes(&[1; 70]), [64, 6]);
        let half = STATEMENT.1 / 2;
        assert_eq!(sizes(&[half, half, 1, 2 * half + 1, half]), [2, 1, 1, 1]);
        assert_eq!(sizes(&[]), Vec::<usize>::new());
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_thread_that_computes_is_answered_also_when_nobody_stores_any_more() {
        let folder = tempfile::tempdir().unwrap();
        let store = crate::store::Store::open(folder.path()).await.unwrap();
        let grade = NewGrade {
            report: ReportId(1),
            mark: None,
            review: None,
            computed_at: 0.into(),
            software: String::new(),
            exercise_revision: 1.into(),
            plate_revision: 1.into(),
            marks_override: None,
            result: Packed::of("a grade").unwrap(),
            is_first: true,
        };
        let writer = store.writer().clone();
        let stored = async || {
            let (writer, grade) = (writer.clone(), grade.clone());
            let (tell, told) = oneshot::channel();
            let answered = move |stored| drop(tell.send(stored));
            tokio::task::spawn_blocking(move || writer.grades_of_thread(vec![grade], answered))
                .await
                .unwrap();
            told.await.unwrap()
        };
        // There is no such report.
        assert!(matches!(stored().await[..], [Err(StoreError::Other(_))]));
        store.close().await;
        assert!(matches!(stored().await[..], [Err(StoreError::Stopping)]));
    }

    #[tokio::test]
    async fn who_fails_over_an_answer_keeps_nobody_from_theirs() {
        let (answer, told) = oneshot::channel();
        let fails = Job::Grades(Vec::new(), Box::new(|_| panic!("over the answer")));
        let next = Job::Grades(Vec::new(), Box::new(|stored| drop(answer.send(stored))));
        let all = tokio::spawn(async move {
            for job in [fails, next] {
                tell(job, Outcome::Grades(vec![Ok(())]));
            }
        });
        all.await.unwrap();
        assert!(matches!(told.await.unwrap()[..], [Ok(())]));
    }

    #[tokio::test]
    async fn it_lets_jobs_gather_while_processors_have_enough_to_do_and_no_longer() {
        let ungraded = Arc::new(Ungraded::of(2));
        let an_hour = Duration::from_secs(3600);
        // Without a report that waits there is no reason to.
        ungraded.are_few(Instant::now() + an_hour).await;
        let mut waiting: Vec<Waits> = (0..GATHER.0 * 2 + 1).map(|_| ungraded.one_more()).collect();
        let until = Instant::now() + Duration::from_millis(30);
        ungraded.are_few(until).await;
        assert!(Instant::now() >= until);
        // One fewer is not few yet, and nobody is woken for it.
        drop(waiting.pop());
        let until = Instant::now() + Duration::from_millis(30);
        ungraded.are_few(until).await;
        assert!(Instant::now() >= until);
        tokio::join!(ungraded.are_few(Instant::now() + an_hour), async {
            drop(waiting.pop());
        });
        drop(waiting);
        assert_eq!(ungraded.count.load(Ordering::Relaxed), 0);
    }
}
