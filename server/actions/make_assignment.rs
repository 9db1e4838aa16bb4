//! Makes an assignment for a class and spreads plates over its pairs.

use rust_decimal::Decimal;
use thiserror::Error;

use super::Service;
use crate::store::assignments::{self, Counting, Feedback, NewAssignment};
use crate::store::ids::{AssignmentId, ClassId, ExerciseId, ExerciseRevisionId, PersonId};
use crate::store::plates::{self, Kind};
use crate::store::when::When;
use crate::store::{StoreError, audit, care, pairs};

/// An assignment as the instructor wants it.
#[derive(Debug, Clone)]
pub struct Wanted<'a> {
    /// Class.
    pub class: ClassId,
    /// Exercise and the revision of it.
    pub exercise: (ExerciseId, ExerciseRevisionId),
    /// Plates of metal, or copies made of numbers.
    pub plates: Kind,
    /// Title.
    pub title: &'a str,
    /// From when pairs see it.
    pub opens_at: When,
    /// Until when a report is in time.
    pub due_at: When,
    /// How many attempts.
    pub attempts: i64,
    /// Which counts.
    pub counting: Counting,
    /// Minutes of grace.
    pub late_grace_minutes: i64,
    /// Per cent lost per day begun.
    pub late_percent_per_day: Decimal,
    /// Per cent that is left at least.
    pub late_floor_percent: Decimal,
    /// What a pair sees.
    pub feedback: Feedback,
    /// Who makes it.
    pub by: PersonId,
}

/// An assignment that was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Made {
    /// Its row.
    pub assignment: AssignmentId,
    /// Pairs that got a plate.
    pub pairs: usize,
    /// Plates that were spread; fewer than pairs means that some are shared in turns.
    pub plates: usize,
}

/// Why it was not made.
#[derive(Debug, Error)]
pub enum MakeAssignmentError {
    /// Title empty or too long.
    #[error("give it a title of 1 to 120 characters")]
    Title,
    /// Due before it opens.
    #[error("the due time must come after the opening")]
    DueBeforeOpening,
    /// Attempts out of range.
    #[error("give 1 to 99 attempts")]
    Attempts,
    /// Grace out of range.
    #[error("give 0 to 10080 minutes of grace (a week)")]
    Grace,
    /// Per cents out of range.
    #[error("give 0 to 100 per cent")]
    Percent,
    /// No pairs.
    #[error("the class has no pairs yet")]
    NoPairs,
    /// No plates.
    #[error("no plate of this kind is in service for this exercise")]
    NoPlates,
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

fn check(wanted: &Wanted<'_>) -> Result<(), MakeAssignmentError> {
    let percent = |p: Decimal| (Decimal::ZERO..=Decimal::ONE_HUNDRED).contains(&p);
    let title = wanted.title.trim().chars().count();
    if !(1..=120).contains(&title) {
        Err(MakeAssignmentError::Title)
    } else if wanted.due_at <= wanted.opens_at {
        Err(MakeAssignmentError::DueBeforeOpening)
    } else if !(1..=99).contains(&wanted.attempts) {
        Err(MakeAssignmentError::Attempts)
    } else if !(0..=10_080).contains(&wanted.late_grace_minutes) {
        Err(MakeAssignmentError::Grace)
    } else if !percent(wanted.late_percent_per_day) || !percent(wanted.late_floor_percent) {
        Err(MakeAssignmentError::Percent)
    } else {
        Ok(())
    }
}

/// Makes it: each pair gets a plate of its own while there are enough, and neighbours never the same one where there
/// are two. What is too few is shared in turns.
///
/// # Errors
/// When something in it cannot be, or the database cannot be written.
pub async fn make_assignment(service: &Service, wanted: &Wanted<'_>) -> Result<Made, MakeAssignmentError> {
    check(wanted)?;
    let plates = plates::in_service(&service.store, wanted.exercise.0, wanted.plates).await?;
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let pairs = pairs::ids_of_class(&mut tx, wanted.class, now).await?;
    if pairs.is_empty() {
        return Err(MakeAssignmentError::NoPairs);
    }
    if plates.is_empty() {
        return Err(MakeAssignmentError::NoPlates);
    }
    let new = NewAssignment {
        class: wanted.class,
        exercise_revision: wanted.exercise.1,
        title: wanted.title.trim(),
        opens_at: wanted.opens_at,
        due_at: wanted.due_at,
        attempts: wanted.attempts,
        counting: wanted.counting,
        late_grace_minutes: wanted.late_grace_minutes,
        late_percent_per_day: wanted.late_percent_per_day,
        late_floor_percent: wanted.late_floor_percent,
        marks_override: None,
        feedback: wanted.feedback,
        created_at: now,
    };
    let assignment = assignments::add(&mut tx, &new).await?;
    care::set_kind(&mut tx, assignment, wanted.plates).await?;
    for (pair, (plate, _)) in pairs.iter().zip(plates.iter().cycle()) {
        assignments::give_plate(&mut tx, assignment, *pair, *plate, wanted.opens_at).await?;
    }
    let detail = serde_json::json!({ "class": wanted.class, "plates": plates.len(), "pairs": pairs.len() });
    let about = ("assignment", assignment.0);
    let entry = audit::Entry {
        at: now,
        person: Some(wanted.by),
        what: "make-assignment",
        about,
        detail,
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    Ok(Made {
        assignment,
        pairs: pairs.len(),
        plates: plates.len().min(pairs.len()),
    })
}
