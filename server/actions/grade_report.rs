//! Grades a stored report and stores the grade.

use std::sync::Arc;

use thiserror::Error;

use super::basis::{self, Bases, Instead, Work};
use super::load::LoadError;
use super::regrade::{self, Change, RegradeError};
use super::{Service, attention};
use crate::grading::decided::Decided;
use crate::grading::grade::Grade;
use crate::grading::review::Review;
use crate::store::grades::{self, NewGrade};
use crate::store::ids::{AssignmentId, PersonId, ReportId};
use crate::store::{StoreError, decided_faults, hand_marks, reports};

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
    /// The stored items or the grade have another form than this version's.
    #[error("the numbers of report {report} cannot be read: {why}")]
    Items {
        /// Which.
        report: ReportId,
        /// What the reader says.
        why: serde_json::Error,
    },
    /// The computation was cut off.
    #[error("the server is stopping")]
    Stopping,
}

/// Grades one report and stores the grade in place of the one before it.
///
/// # Errors
/// When something it is computed from cannot be loaded or the grade cannot be stored.
pub async fn grade_report(service: &Service, report: ReportId) -> Result<Grade, GradeError> {
    let decided = decided_faults::of(&service.store, report).await?.decided();
    let computed = compute(service, report, decided).await?;
    let Computed {
        stored,
        grade,
        reason,
        new,
    } = computed;
    service.store.writer().grade(new).await?;
    // The grade stands without it; a search that failed is made again with the ungraded reports.
    if let Err(error) = attention::search(service, &stored, &grade, reason).await {
        tracing::warn!(%error, report = report.0, "a report was not searched for reasons to look at it");
    }
    Ok(grade)
}

/// A grade that is not stored yet.
pub(super) struct Computed {
    stored: reports::Report,
    pub(super) grade: Grade,
    reason: Option<Review>,
    new: NewGrade,
}

/// What a report would be graded with these decisions and readings.
pub(super) async fn compute(service: &Service, report: ReportId, decided: Decided) -> Result<Computed, GradeError> {
    let stored = reports::one(&service.store, report)
        .await?
        .ok_or(LoadError::Missing("a report"))?;
    // What was graded once keeps the truth of its plate until somebody decides on another one (`super::regrade`).
    let kept = grades::plate_revision_of(&service.store, report).await?;
    let mut bases = Bases::new(service, Instead::default());
    let work = Work {
        report,
        basis: Arc::new(bases.of(stored.assignment, stored.plate, kept).await?),
        hand_marks: hand_marks::of(&service.store, report).await?,
        decided,
        items: serde_json::from_str(&stored.items).map_err(|why| GradeError::Items { report, why })?,
    };
    let computed = basis::compute(service, vec![work])
        .await?
        .pop()
        .ok_or(GradeError::Stopping)?;
    let (grade, reason, basis) = (computed.grade, computed.reason, computed.basis);
    let new = NewGrade {
        report,
        mark: grade.marks.r#final.map(|m| format!("{m:.1}")),
        review: reason.map(|r| r.word().to_owned()),
        computed_at: service.clock.now(),
        software: SOFTWARE.to_owned(),
        exercise_revision: basis.exercise_revision,
        plate_revision: basis.plate_revision,
        marks_override: basis.marks_override.clone(),
        result: serde_json::to_string(&grade).map_err(|why| GradeError::Items { report, why })?,
    };
    Ok(Computed {
        stored,
        grade,
        reason,
        new,
    })
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

/// Grades what has no grade yet, as after a stop between accepting and grading. Returns how many were graded.
///
/// # Errors
/// When the database does not answer; a report that cannot be graded is logged and left.
pub async fn grade_missing(service: &Service) -> Result<usize, StoreError> {
    let missing = grades::missing(&service.store, 10_000).await?;
    let mut graded = 0;
    for report in missing {
        match grade_report(service, report).await {
            Ok(_) => graded += 1,
            Err(error) => tracing::error!(%error, report = report.0, "a report could not be graded"),
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
    let id = regrade::decide(service, &Change::Again(assignment), by).await?;
    regrade::run(service, id).await
}
