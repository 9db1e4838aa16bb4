//! Makes an assignment for a class and spreads plates over its pairs.

use thiserror::Error;

use super::Service;
use super::load::{self, LoadError};
use super::terms::{Terms, TermsError};
use crate::store::assignments::{self, NewAssignment};
use crate::store::ids::{AssignmentId, ClassId, ExerciseId, ExerciseRevisionId, PersonId};
use crate::store::plates::{self, Kind};
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
    /// Title, times and rules.
    pub terms: Terms<'a>,
    /// A `[marks]` table in TOML in place of the exercise's; empty: the exercise's own.
    pub marks: &'a str,
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

/// What is said where an exercise has no plates of the kind that is wanted.
pub(super) const NO_PLATES: &str =
    "no plate of this kind is in service for this exercise; propose or register some on the page of the exercise";

/// Why it was not made.
#[derive(Debug, Error)]
pub enum MakeAssignmentError {
    /// Times or rules that cannot be.
    #[error(transparent)]
    Terms(#[from] TermsError),
    /// The marks rules cannot be read.
    #[error("the marks rules cannot be read: {0}")]
    Marks(String),
    /// No pairs.
    #[error("the class has no pairs yet")]
    NoPairs,
    /// No plates.
    #[error("{NO_PLATES}")]
    NoPlates,
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Makes it: each pair gets a plate of its own while there are enough, and neighbours never the same one where there
/// are two. What is too few is shared in turns.
///
/// # Errors
/// When something in it cannot be, or the database cannot be written.
pub async fn make_assignment(service: &Service, wanted: &Wanted<'_>) -> Result<Made, MakeAssignmentError> {
    let terms = &wanted.terms;
    terms.check()?;
    let marks_override = load::typed_rules(service, wanted.exercise.1, wanted.marks)
        .await
        .map_err(unread)?;
    let plates = plates::in_service(&service.store, wanted.exercise.0, wanted.plates).await?;
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let pairs = pairs::ids_of_class(&mut tx, wanted.class).await?;
    if pairs.is_empty() {
        return Err(MakeAssignmentError::NoPairs);
    }
    if plates.is_empty() {
        return Err(MakeAssignmentError::NoPlates);
    }
    let new = NewAssignment {
        class: wanted.class,
        exercise_revision: wanted.exercise.1,
        title: terms.title.trim(),
        opens_at: terms.opens_at,
        due_at: terms.due_at,
        attempts: terms.attempts,
        counting: terms.counting,
        late_grace_minutes: terms.late_grace_minutes,
        late_percent_per_day: terms.late_percent_per_day,
        late_floor_percent: terms.late_floor_percent,
        marks_override,
        feedback: terms.feedback,
        created_at: now,
    };
    let assignment = assignments::add(&mut tx, &new).await?;
    care::set_kind(&mut tx, assignment, wanted.plates).await?;
    for (pair, (plate, _)) in pairs.iter().zip(plates.iter().cycle()) {
        assignments::give_plate(&mut tx, assignment, *pair, *plate, terms.opens_at).await?;
    }
    let detail = serde_json::json!({ "class": wanted.class, "plates": plates.len(), "pairs": pairs.len(), "marks": marks_override.is_some() });
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

fn unread(error: LoadError) -> MakeAssignmentError {
    match error {
        LoadError::Store(error) => MakeAssignmentError::Store(error),
        LoadError::Unreadable { why, .. } => MakeAssignmentError::Marks(why),
        LoadError::Missing(what) => MakeAssignmentError::Marks(format!("{what} is missing")),
    }
}
