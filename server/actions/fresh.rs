//! The line of reports that were just stored and wait for their first grade. What they are graded from besides their numbers
//! is asked for once for all that wait, and the numbers themselves are still at hand.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::oneshot;

use super::basis::{Bases, Of, Work, compute, prepare};
use super::grade_report::GradeError;
use super::{Service, searches};
use crate::grading::decided::Decided;
use crate::report::model::Report;
use crate::report::setup_record::SetUp;
use crate::store::assignments::Mine;
use crate::store::ids::{AssignmentId, ReportId};

/// A report that was just stored.
#[derive(Debug)]
pub(super) struct Fresh {
    pub(super) report: ReportId,
    pub(super) of: Of,
    pub(super) items: Report,
    pub(super) set_up: Option<SetUp>,
}

/// Who waits for a grade is told whether it is there.
type Told = oneshot::Sender<bool>;

/// The line.
#[derive(Debug, Clone, Default)]
pub struct FreshLine(Arc<Mutex<Line>>);

#[derive(Debug, Default)]
struct Line {
    waiting: Vec<(Fresh, Told)>,
    works: bool,
}

impl FreshLine {
    fn line(&self) -> MutexGuard<'_, Line> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// All that wait; with none the work ends.
    fn next(&self) -> Vec<(Fresh, Told)> {
        let mut line = self.line();
        line.works = !line.waiting.is_empty();
        std::mem::take(&mut line.waiting)
    }
}

/// Has a report graded, whether or not somebody waits for the answer: is the grade stored?
pub(super) fn soon(service: &Service, fresh: Fresh) -> oneshot::Receiver<bool> {
    let (tell, told) = oneshot::channel();
    let begins = {
        let mut line = service.fresh.line();
        line.waiting.push((fresh, tell));
        !std::mem::replace(&mut line.works, true)
    };
    if begins {
        tokio::spawn(work(service.clone()));
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
            let mut bases = Bases::kept(&service, &[assignment]).await?;
            prepare(&service, bases.plate(assignment, plate, None).await?).await
        };
        if let Err(error) = ready.await {
            let error: &GradeError = &error;
            tracing::warn!(%error, assignment = assignment.0, "what reports are graded from is not ready");
        }
    });
}

async fn work(service: Service) {
    loop {
        let next = service.fresh.next();
        if next.is_empty() {
            return;
        }
        let assignments: BTreeSet<AssignmentId> = next.iter().map(|(fresh, _)| fresh.of.assignment).collect();
        let assignments: Vec<AssignmentId> = assignments.into_iter().collect();
        match Bases::kept(&service, &assignments).await {
            Ok(mut bases) => {
                for (fresh, tell) in next {
                    begin(&service, &mut bases, fresh, tell).await;
                }
            }
            Err(error) => next.iter().for_each(|(fresh, _)| not_graded(&error, fresh.report)),
        }
    }
}

fn not_graded(error: &dyn std::error::Error, report: ReportId) {
    tracing::error!(%error, report = report.0, "a report could not be graded");
}

/// Grades one in a task of its own, as soon as a processor is free.
async fn begin(service: &Service, bases: &mut Bases<'_>, fresh: Fresh, tell: Told) {
    let (report, of) = (fresh.report, fresh.of);
    let basis = match bases.plate(of.assignment, of.plate, None).await {
        Ok(basis) => basis,
        Err(error) => return not_graded(&error, report),
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
    let service = service.clone();
    tokio::spawn(async move {
        let graded = grade(&service, work).await;
        if let Err(error) = &graded {
            not_graded(error, report);
        }
        tell.send(graded.is_ok()).ok();
    });
}

async fn grade(service: &Service, work: Work) -> Result<(), GradeError> {
    let computed = compute(service, vec![work]).await?.pop().ok_or(GradeError::Stopping)?;
    let to_search = computed.to_search.clone();
    let mut new = computed.into_row(service.clock.now())?;
    // Points by hand, decisions: who added them meanwhile has had it graded with them.
    new.is_first = true;
    service.store.writer().grade(new).await?;
    searches::soon(service, [to_search]);
    Ok(())
}
