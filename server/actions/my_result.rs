//! What a pair may see of its graded report: words, or everything where the plate is open.
//!
//! This is the one door between a grade, which holds the truth of a plate, and a student.

use super::Service;
use super::standing;
use crate::exercise::plate::PlateKind;
use crate::grading::feedback::{self, Feedback, Release};
use crate::grading::grade::{Grade, Marks};
use crate::grading::settled::{self, SetMark};
use crate::store::assignments::{self, Assignment};
use crate::store::overrides::{self, Override};
use crate::store::packed::Packed;
use crate::store::plates::{self, Kind, State};
use crate::store::reports::Report;
use crate::store::{StoreError, grades};

/// A result for the pair.
#[derive(Debug, Clone, PartialEq)]
pub struct MyResult {
    /// What may be seen.
    pub feedback: Feedback,
    /// Whole minutes after the due time.
    pub minutes_late: u64,
}

/// The result of one's own report; none while it is being graded.
///
/// # Errors
/// When the database does not answer or the grade cannot be read.
pub async fn my_result(
    service: &Service,
    report: &Report,
    assignment: &Assignment,
) -> Result<Option<MyResult>, StoreError> {
    let Some(stored) = grades::of(&service.store, report.id).await? else {
        return Ok(None);
    };
    let mut grade = grade_from(&stored.result)?;
    let minutes_late = standing::minutes_late(assignment, report.handed_in_at);
    let set = overrides::of(&service.store, report.id).await?;
    settle(&mut grade.marks, set.as_ref(), assignment, minutes_late);
    let release = release(service, report, assignment).await?;
    let mark = grade.marks.r#final;
    Ok(Some(MyResult {
        feedback: feedback::feedback(&grade, &release, mark),
        minutes_late,
    }))
}

async fn release(service: &Service, report: &Report, assignment: &Assignment) -> Result<Release, StoreError> {
    let now = service.clock.now();
    let openness = plates::openness(&service.store, report.plate, now).await?;
    // A plate that is not there is one whose truth stays in.
    let kind = openness.map_or(Kind::Physical, |o| o.kind);
    Ok(Release {
        kind: match kind {
            Kind::Physical => PlateKind::Physical,
            Kind::Virtual => PlateKind::Virtual,
        },
        withdrawn: openness.is_some_and(|o| o.state == State::Withdrawn),
        all_due_past: openness.is_some_and(|o| o.all_due_past),
        open_anyway: openness.is_some_and(|o| o.is_open),
        full_wanted: assignment.feedback == assignments::Feedback::Full,
        marks_released: assignment.released_at.is_some(),
    })
}

/// Lays what a person set and the late rule over the marks of one attempt.
pub fn settle(marks: &mut Marks, set: Option<&Override>, assignment: &Assignment, minutes_late: u64) {
    let set = set.map(|o| SetMark {
        mark: o.mark,
        reason: o.reason.clone(),
    });
    settled::attempt(marks, set.as_ref(), &standing::late_rule(assignment), minutes_late);
}

/// A grade as it is stored.
///
/// # Errors
/// When it has another form.
pub fn grade_from(stored: &Packed) -> Result<Grade, StoreError> {
    stored.value()
}
