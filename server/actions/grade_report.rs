//! Grades a stored report and stores the grade.

use std::sync::Arc;

use thiserror::Error;

use super::attention::ToSearch;
use super::basis;
use super::load::LoadError;
use super::regrade::{self, Change, RegradeError};
use super::{Service, attention, searches};
use crate::grading::decided::Decided;
use crate::grading::grade::Grade;
use crate::store::grades::{self, NewGrade};
use crate::store::ids::{AssignmentId, PersonId, ReportId};
use crate::store::when::When;
use crate::store::{StoreError, writer};

/// Version that grades say they were computed with.
pub const SOFTWARE: &str = concat!("platemark ", env!("CARGO_PKG_VERSION"));

/// Why a report was not graded. The report itself is stored and stays so.
#[derive(Debug, Error)]
pub enum GradeError {
    /// Something it is computed from cannot be loaded.
    #[error(transparent)]
    Load(#[from] LoadError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The stored set-up record has another form than this version's.
    #[error("the set-up record of report {report} cannot be read: {why}")]
    SetUp {
        /// Which.
        report: ReportId,
        /// What the reader says.
        why: serde_json::Error,
    },
    /// The computation was cut off.
    #[error("the server is stopping")]
    Stopping,
}

/// Grades one report and stores the grade in place of the one before it. Reasons for a person to look at it are searched
/// after that.
///
/// # Errors
/// When something it is computed from cannot be loaded or the grade cannot be stored.
pub async fn grade_report(service: &Service, report: ReportId) -> Result<Grade, GradeError> {
    let graded = again(service, report).await;
    if graded.is_err() {
        service.behind.notice();
    }
    graded
}

async fn again(service: &Service, report: ReportId) -> Result<Grade, GradeError> {
    let turn = service.regrading.lock().await;
    let Computed {
        grade,
        new,
        due,
        to_search,
    } = compute(service, report, None).await?;
    let mut tx = service.store.change_beside().await?;
    writer::grades_within(&mut tx, &[new]).await?;
    if let Some(times) = due {
        grades::not_due(&mut tx, report, times).await?;
    }
    tx.commit().await?;
    drop(turn);
    searches::soon(service, [to_search]);
    Ok(grade)
}

/// Grades a report that has no grade yet. One that it got meanwhile knows more and stays.
///
/// # Errors
/// When something it is computed from cannot be loaded or the grade cannot be stored.
pub(super) async fn grade_first(service: &Service, report: ReportId) -> Result<(), GradeError> {
    let mut computed = compute(service, report, None).await?;
    computed.new.is_first = true;
    service.store.writer().grade(computed.new).await?;
    searches::soon(service, [computed.to_search]);
    Ok(())
}

/// A grade that is not stored yet.
pub(super) struct Computed {
    pub(super) grade: Grade,
    new: NewGrade,
    /// How often something was added that the grade before it does not know.
    due: Option<i64>,
    to_search: ToSearch,
}

/// What a report would be graded with these decisions and readings; none: with those that are stored.
pub(super) async fn compute(
    service: &Service,
    report: ReportId,
    decided: Option<Decided>,
) -> Result<Computed, GradeError> {
    let (work, due) = basis::of_report(service, report, decided).await?;
    let computed = basis::compute(service, vec![work])
        .await?
        .pop()
        .ok_or(GradeError::Stopping)?;
    let grade = computed.grade.clone();
    let (new, to_search) = computed.into_row(service.clock.now())?;
    Ok(Computed {
        new,
        due,
        grade,
        to_search,
    })
}

impl basis::Computed {
    /// The row of a computed grade, and what it is searched for.
    pub(super) fn into_row(self, now: When) -> Result<(NewGrade, ToSearch), StoreError> {
        let new = NewGrade {
            report: self.report,
            mark: self.mark(),
            review: self.reason.map(|r| r.word().to_owned()),
            computed_at: now,
            software: SOFTWARE.to_owned(),
            exercise_revision: self.basis.exercise_revision,
            plate_revision: self.basis.plate_revision,
            marks_override: self.basis.marks_override.clone(),
            result: self.result?,
            is_first: false,
        };
        Ok((new, self.to_search))
    }
}

/// Runs a computation off the async threads, as many at once as there are processors, so that accepting reports never
/// waits behind it. None when the server is stopping.
pub(super) async fn apart<T: Send + 'static>(
    service: &Service,
    work: impl FnOnce() -> T + Send + 'static,
) -> Option<T> {
    let place = Arc::clone(&service.grading).acquire_owned().await.ok()?;
    let done = tokio::task::spawn_blocking(move || {
        let done = work();
        drop(place);
        done
    });
    done.await.ok()
}

/// A database that does not take a grade at the moment takes none of the others: they are left for later. What is one report's own
/// fault is logged.
fn only_one(report: ReportId, error: GradeError) -> Result<(), StoreError> {
    match error {
        GradeError::Store(error) | GradeError::Load(LoadError::Store(error)) if error.passes() => Err(error),
        error => {
            tracing::error!(%error, report = report.0, "a report could not be graded");
            Ok(())
        }
    }
}

/// Grades what was added to after its grade, as after a stop between the two. Returns how many were graded.
///
/// # Errors
/// When the database does not answer or takes nothing; a report that cannot be graded is logged and left.
pub async fn grade_due(service: &Service) -> Result<usize, StoreError> {
    let mut graded = 0;
    for report in grades::due(&service.store).await? {
        match again(service, report).await {
            Ok(_) => graded += 1,
            Err(error) => only_one(report, error)?,
        }
    }
    Ok(graded)
}

/// Grades what has no grade yet, as after a stop between accepting and grading. Returns how many were graded.
///
/// # Errors
/// When the database does not answer or takes nothing; a report that cannot be graded is logged and left.
pub async fn grade_missing(service: &Service) -> Result<usize, StoreError> {
    let missing = grades::missing(&service.store, 10_000).await?;
    let mut graded = 0;
    for report in missing {
        match grade_first(service, report).await {
            Ok(()) => graded += 1,
            Err(error) => only_one(report, error)?,
        }
    }
    attention::search_missing(service).await?;
    Ok(graded)
}

/// Grades all reports of an assignment again, with what is known of their plates now. Returns how many were graded.
///
/// # Errors
/// With the first report that cannot be graded; those before it are.
pub async fn grade_again(service: &Service, assignment: AssignmentId, by: PersonId) -> Result<usize, RegradeError> {
    // In a task of its own: whoever waits for it may be cut off, and it goes on.
    let service = service.clone();
    let graded = tokio::spawn(async move {
        let id = regrade::decide(&service, &Change::Again(assignment), by).await?;
        regrade::run_or_leave(&service, id).await
    });
    graded.await.unwrap_or(Err(RegradeError::Grade(GradeError::Stopping)))
}
