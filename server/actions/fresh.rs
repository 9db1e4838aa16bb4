//! The line of reports that were just stored and wait for their first grade. What they are graded from besides their numbers
//! is asked for once for several, and the numbers themselves are still at hand. Under load a processor takes several at once,
//! their grades go to the writer together, and it goes on with the next ones on the same thread, whose memory is warm.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::runtime::Handle;
use tokio::sync::{RwLock, oneshot};

use super::attention::ToSearch;
use super::basis::{Bases, Computed, Of, Work, graded, prepare};
use super::grade_report::{GradeError, grade_first};
use super::{Service, searches};
use crate::grading::decided::Decided;
use crate::report::model::Report;
use crate::report::setup_record::SetUp;
use crate::store::StoreError;
use crate::store::assignments::Mine;
use crate::store::grades::NewGrade;
use crate::store::ids::{AssignmentId, ReportId};
use crate::store::writer::Waits;

/// Most reports that a processor takes at once: few, since the first one's answer waits for the last one's grade; and enough that it has
/// something to do while the writer stores what it graded before.
const AT_ONCE: usize = 16;

/// How long the stop waits for grades that are being made.
const AT_THE_END: Duration = Duration::from_secs(5);

/// How many of those that wait one of so many processors takes.
fn share(waiting: usize, processors: usize) -> usize {
    waiting.div_ceil(processors.max(1)).min(AT_ONCE)
}

/// A report that was just stored.
#[derive(Debug)]
pub(super) struct Fresh {
    pub(super) report: ReportId,
    pub(super) of: Of,
    pub(super) items: Report,
    pub(super) set_up: Option<SetUp>,
    /// Ends when a processor takes it.
    pub(super) waits: Waits,
}

/// Who waits for a grade is told whether it is there.
type Told = oneshot::Sender<bool>;

/// One in the line.
#[derive(Debug)]
struct Waiting {
    fresh: Fresh,
    tell: Told,
}

/// The line.
#[derive(Debug, Clone, Default)]
pub struct FreshLine {
    line: Arc<Mutex<Line>>,
    /// Shared by graders from taking reports until the writer has their grades.
    in_hand: Arc<RwLock<()>>,
}

#[derive(Debug, Default)]
struct Line {
    waiting: VecDeque<Waiting>,
    /// Tasks that take from it.
    graders: usize,
    /// Nobody takes a place in it any more.
    is_over: bool,
}

impl FreshLine {
    fn line(&self) -> MutexGuard<'_, Line> {
        self.line.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How many reports wait.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.line().waiting.len()
    }

    /// Ends the line: reports that wait are left to the next start, which grades what has no grade; the grades of those that are in hand
    /// are given to the writer first, if they do not take too long.
    pub async fn end(&self) {
        let left = {
            let mut line = self.line();
            line.is_over = true;
            std::mem::take(&mut line.waiting)
        };
        if !left.is_empty() {
            tracing::info!(reports = left.len(), "left to be graded at the next start");
        }
        drop(left);
        if tokio::time::timeout(AT_THE_END, self.in_hand.write()).await.is_err() {
            tracing::warn!("a grade takes too long to be waited for at the stop");
        }
    }

    /// A fair share of those that wait for one of so many processors; with none the grader ends.
    fn next(&self, processors: usize) -> Vec<Waiting> {
        let mut line = self.line();
        if line.waiting.is_empty() {
            line.graders = line.graders.saturating_sub(1);
        }
        let share = share(line.waiting.len(), processors);
        line.waiting.drain(..share).collect()
    }
}

/// Has a report graded, whether or not somebody waits for the answer: is the grade stored? With the line at its end nobody answers.
pub(super) fn soon(service: &Service, fresh: Fresh) -> oneshot::Receiver<bool> {
    let (tell, told) = oneshot::channel();
    let begins = {
        let mut line = service.fresh.line();
        if line.is_over {
            return told;
        }
        line.waiting.push_back(Waiting { fresh, tell });
        let begins = line.graders < service.processors;
        line.graders += usize::from(begins);
        begins
    };
    if begins {
        tokio::spawn(grader(service.clone()));
    }
    told
}

/// Gets ready what a report on the pair's plate will be graded from, while its numbers are still being typed. Returns at once.
pub fn get_ready(service: &Service, mine: &Mine) {
    let (assignment, Some(plate)) = (mine.assignment.id, mine.plate) else {
        return;
    };
    let service = service.clone();
    tokio::spawn(async move {
        let ready = async {
            let bases = Bases::kept(&service, &[assignment]).await?;
            prepare(&service, bases.plate(assignment, plate, None).await?).await
        };
        if let Err(error) = ready.await {
            let error: &GradeError = &error;
            tracing::warn!(%error, assignment = assignment.0, "what reports are graded from is not ready");
        }
    });
}

/// Grades on one processor while reports wait. Whoever else waits for a processor gets it in between.
async fn grader(service: Service) {
    let runtime = Handle::current();
    while let Ok(mut place) = Arc::clone(&service.grading).acquire_owned().await {
        let (service, runtime) = (service.clone(), runtime.clone());
        let ends = tokio::task::spawn_blocking(move || {
            loop {
                let in_hand = runtime.block_on(service.fresh.in_hand.read());
                let next = service.fresh.next(service.processors);
                if next.is_empty() {
                    return true;
                }
                let works = runtime.block_on(works(&service, next));
                if !works.is_empty() {
                    grade(&service, &runtime, works);
                }
                drop(in_hand);
                drop(place);
                match Arc::clone(&service.grading).try_acquire_owned() {
                    Ok(again) => place = again,
                    Err(_) => return false,
                }
            }
        });
        if ends.await.unwrap_or(false) {
            return;
        }
    }
}

fn not_graded(service: &Service, error: &dyn std::error::Error, report: ReportId) {
    tracing::error!(%error, report = report.0, "a report could not be graded");
    service.behind.notice();
}

/// With what they are graded from. One that cannot be graded is logged and left.
async fn works(service: &Service, next: Vec<Waiting>) -> Vec<(Work, Told)> {
    let assignments: BTreeSet<AssignmentId> = next.iter().map(|one| one.fresh.of.assignment).collect();
    let assignments: Vec<AssignmentId> = assignments.into_iter().collect();
    let mut works = Vec::with_capacity(next.len());
    let bases = match Bases::kept(service, &assignments).await {
        Ok(bases) => bases,
        Err(error) => {
            next.iter()
                .for_each(|one| not_graded(service, &error, one.fresh.report));
            return works;
        }
    };
    for Waiting { fresh, tell } in next {
        drop(fresh.waits);
        let (report, of) = (fresh.report, fresh.of);
        let basis = match bases.plate(of.assignment, of.plate, None).await {
            Ok(basis) => basis,
            Err(error) => {
                not_graded(service, &error, report);
                continue;
            }
        };
        let work = Work {
            report,
            of,
            items: fresh.items,
            hand_marks: BTreeMap::new(),
            decided: Decided::default(),
            set_up: fresh.set_up,
            basis,
        };
        works.push((work, tell));
    }
    works
}

/// Grades some; that their grades are stored and who waits is told is not waited for.
fn grade(service: &Service, runtime: &Handle, all: Vec<(Work, Told)>) {
    let (works, told): (Vec<Work>, Vec<Told>) = all.into_iter().unzip();
    let waiting: Vec<(ReportId, Told)> = works.iter().map(|work| work.report).zip(told).collect();
    let now = service.clock.now();
    let row = |computed: Computed| {
        let (mut new, to_search) = computed.into_row(now)?;
        // Points by hand, decisions: who added them meanwhile has had it graded with them.
        new.is_first = true;
        Ok((new, to_search))
    };
    let computed = catch_unwind(AssertUnwindSafe(|| graded(&service.known, works, row)));
    match computed {
        Ok(computed) => store(service, waiting, computed),
        // One of them stopped the computation of all; the others have nothing to do with it.
        Err(_) => drop(runtime.spawn({
            let service = service.clone();
            async move {
                for (report, tell) in waiting {
                    let graded = grade_first(&service, report).await;
                    tell_of(&service, report, tell, graded);
                }
            }
        })),
    }
}

/// Has grades stored together; who waits is told then.
fn store(service: &Service, waiting: Vec<(ReportId, Told)>, rows: Vec<Result<(NewGrade, ToSearch), StoreError>>) {
    let (mut new, mut rest) = (Vec::with_capacity(rows.len()), Vec::with_capacity(rows.len()));
    for ((report, tell), row) in waiting.into_iter().zip(rows) {
        match row {
            Ok((row, to_search)) => {
                new.push(row);
                rest.push((report, tell, to_search));
            }
            Err(error) => tell_of(service, report, tell, Err(error.into())),
        }
    }
    let of_told = service.clone();
    service.store.writer().grades_of_thread(new, move |stored| {
        let mut to_search = Vec::with_capacity(rest.len());
        for ((report, tell, found), stored) in rest.into_iter().zip(stored) {
            if stored.is_ok() {
                to_search.push(found);
            }
            tell_of(&of_told, report, tell, stored.map_err(GradeError::from));
        }
        searches::soon(&of_told, to_search);
    });
}

fn tell_of(service: &Service, report: ReportId, tell: Told, graded: Result<(), GradeError>) {
    if let Err(error) = &graded {
        not_graded(service, error, report);
    }
    tell.send(graded.is_ok()).ok();
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn processors_share_what_waits() {
        let mut waiting = 40;
        let mut next = || {
            let next = share(waiting, 2);
            waiting -= next;
            next
        };
        assert_eq!(
            [next(), next(), next(), next(), next(), next(), next()],
            [16, 12, 6, 3, 2, 1, 0]
        );
        assert_eq!(share(3, 0), 3);
    }

    #[tokio::test]
    async fn the_end_of_the_line_waits_for_what_is_in_hand() {
        let line = FreshLine::default();
        let in_hand = Arc::clone(&line.in_hand).read_owned().await;
        let (of_task, begun) = (line.clone(), std::time::Instant::now());
        let end = tokio::spawn(async move { of_task.end().await });
        tokio::time::sleep(Duration::from_millis(100)).await;
        assert!(line.line().is_over && !end.is_finished());
        drop(in_hand);
        end.await.unwrap();
        assert!(begun.elapsed() < AT_THE_END);
        // A grader that comes now finds nothing to do.
        let _in_hand = line.in_hand.read().await;
        assert!(line.next(2).is_empty());
    }
}
