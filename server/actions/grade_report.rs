//! Grades a stored report and stores the grade.

use thiserror::Error;

use super::load::{self, LoadError};
use super::{Service, attention};
use crate::grading::decided::Decided;
use crate::grading::grade::Grade;
use crate::grading::review::{Review, review};
use crate::grading::{GradeInput, grade};
use crate::report::model::Report;
use crate::store::grades::{self, NewGrade};
use crate::store::ids::{AssignmentId, PersonId, ReportId};
use crate::store::{StoreError, assignments, audit, decided_faults, hand_marks, plates, reports};

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
    let decided = decided_faults::of(&service.store, report).await?.decided()?;
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
    let assignment = assignments::one(&service.store, stored.assignment)
        .await?
        .ok_or(LoadError::Missing("an assignment"))?;
    let (plate_revision, _) = plates::newest_truth(&service.store, stored.plate)
        .await?
        .ok_or(LoadError::Missing("a plate"))?;
    let exercise = load::exercise(service, assignment.exercise_revision).await?;
    let plate = load::plate(service, &exercise, plate_revision).await?;
    let siblings = load::siblings(service, &exercise, assignment.exercise_revision).await?;
    let marks_override = assignment.marks_override;
    let rules = load::rules(
        service,
        assignment.exercise_revision,
        &exercise,
        marks_override.as_deref(),
    )
    .await?;
    let hand_marks = hand_marks::of(&service.store, report).await?;
    let items: Report = serde_json::from_str(&stored.items).map_err(|why| GradeError::Items { report, why })?;

    let computed = apart(service, move || {
        let name = format!("report {report}");
        let input = GradeInput {
            name: &name,
            exercise: &exercise,
            plate: &plate,
            rules: &rules,
            report: &items,
            hand_marks: &hand_marks,
            siblings: &siblings,
            decided: &decided,
        };
        let grade = grade(&input);
        let all_marked = rules.lines.iter().all(|line| hand_marks.contains_key(&line.name));
        let reason = review(&grade, &rules, all_marked);
        (grade, reason)
    });
    let (grade, reason) = computed.await.ok_or(GradeError::Stopping)?;
    let new = NewGrade {
        report,
        mark: grade.marks.r#final.map(|m| format!("{m:.1}")),
        review: reason.map(|r| r.word().to_owned()),
        computed_at: service.clock.now(),
        software: SOFTWARE.to_owned(),
        exercise_revision: assignment.exercise_revision,
        plate_revision,
        marks_override,
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
    let place = std::sync::Arc::clone(&service.grading).acquire_owned().await.ok()?;
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

/// Grades all reports of an assignment again, as after a corrected reference. Returns how many were graded.
///
/// # Errors
/// With the first report that cannot be graded; those before it are.
pub async fn grade_again(
    service: &Service,
    assignment: AssignmentId,
    by: Option<PersonId>,
) -> Result<usize, GradeError> {
    let all = grades::reports_of(&service.store, assignment).await?;
    for report in &all {
        grade_report(service, *report).await?;
    }
    let mut tx = service.store.change().await?;
    let about = ("assignment", assignment.0);
    let detail = serde_json::json!({ "reports": all.len() });
    let at = service.clock.now();
    audit::write(
        &mut tx,
        &audit::Entry {
            at,
            person: by,
            what: "grade-again",
            about,
            detail,
        },
    )
    .await?;
    tx.commit().await?;
    Ok(all.len())
}
