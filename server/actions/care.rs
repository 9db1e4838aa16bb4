//! What an instructor does with an assignment once it is made: change it, give a pair longer, excuse a student, move
//! all due times because a machine was down, give a pair another plate.

use std::collections::BTreeMap;

use thiserror::Error;

use super::Service;
use super::load::{self, LoadError};
use super::make_assignment::NO_PLATES;
use super::terms::{Terms, TermsError};
use crate::report::roster::clean;
use crate::store::assignments::{self, Assignment};
use crate::store::care::{self, Changed};
use crate::store::ids::{AssignmentId, ClassId, PairId, PersonId, PlateId};
use crate::store::versions::{self, Thing};
use crate::store::when::When;
use crate::store::{StoreError, audit, other_plates, pairs, plates};

/// Longest reason, in characters.
const LONGEST_REASON: usize = 300;

/// Why something was not done.
#[derive(Debug, Error)]
pub enum CareError {
    /// Times or rules that cannot be.
    #[error(transparent)]
    Terms(#[from] TermsError),
    /// Fewer attempts than some pair has used.
    #[error("a pair has handed in {0} attempts already; give at least as many")]
    AttemptsUsed(i64),
    /// The marks rules cannot be read.
    #[error("the marks rules cannot be read: {0}")]
    Marks(String),
    /// The time of an extension is before the due time of all.
    #[error("the time for one pair must come after the due time of all")]
    NotLonger,
    /// No reason.
    #[error("write a reason of 1 to {LONGEST_REASON} characters; it stays in the trail")]
    Reason,
    /// Not of this assignment or class.
    #[error("there is no such pair, person or plate here")]
    NotHere,
    /// No plates.
    #[error("{NO_PLATES}")]
    NoPlates,
    /// Somebody changed times or rules since the page was made.
    #[error("somebody changed this assignment meanwhile; nothing was overwritten")]
    Overtaken,
    /// Nothing or too much to move by.
    #[error("move the due times by 1 to 2000 hours")]
    Hours,
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// An assignment as it is to be from now on.
#[derive(Debug, Clone)]
pub struct Wanted<'a> {
    /// Title, times and rules.
    pub terms: Terms<'a>,
    /// A `[marks]` table in TOML; empty: the exercise's own.
    pub marks: &'a str,
    /// What the person saw before, as [`versions`] has it; empty: changed whatever stands.
    pub seen: &'a str,
}

/// Changes an assignment. Marks that hang on what changed follow when reports are graded again, which the page offers.
///
/// # Errors
/// When something in it cannot be, or the database cannot be written.
pub async fn change(
    service: &Service,
    assignment: &Assignment,
    wanted: &Wanted<'_>,
    by: PersonId,
) -> Result<(), CareError> {
    let terms = &wanted.terms;
    terms.check()?;
    let used = other_plates::most_used(&service.store, assignment.id).await?;
    if terms.attempts < used {
        return Err(CareError::AttemptsUsed(used));
    }
    let marks_override = load::typed_rules(service, assignment.exercise_revision, wanted.marks)
        .await
        .map_err(unread)?;
    let (per_day, floor) = (
        terms.late_percent_per_day.to_string(),
        terms.late_floor_percent.to_string(),
    );
    let changed = Changed {
        title: terms.title.trim(),
        opens_at: terms.opens_at,
        due_at: terms.due_at,
        attempts: terms.attempts,
        counting: terms.counting,
        late_grace_minutes: terms.late_grace_minutes,
        late_percent_per_day: &per_day,
        late_floor_percent: &floor,
        marks_override,
        feedback: terms.feedback,
    };
    let mut tx = service.store.change().await?;
    if !versions::still(&mut tx, Thing::Assignment(assignment.id), wanted.seen).await? {
        return Err(CareError::Overtaken);
    }
    care::change(&mut tx, assignment.id, &changed).await?;
    let detail = serde_json::json!({
        "due_before": assignment.due_at, "due": terms.due_at, "opens": terms.opens_at, "attempts": terms.attempts,
        "marks": marks_override.is_some(),
    });
    let now = service.clock.now();
    audit::note(
        &mut tx,
        ("assignment", assignment.id.0),
        "change-assignment",
        by,
        now,
        detail,
    )
    .await?;
    Ok(tx.commit().await?)
}

fn unread(error: LoadError) -> CareError {
    match error {
        LoadError::Store(error) => CareError::Store(error),
        LoadError::Unreadable { why, .. } => CareError::Marks(why),
        LoadError::Missing(what) => CareError::Marks(format!("{what} is missing")),
    }
}

fn reason_of(text: &str) -> Result<String, CareError> {
    let reason = clean(text);
    if (1..=LONGEST_REASON).contains(&reason.chars().count()) {
        Ok(reason)
    } else {
        Err(CareError::Reason)
    }
}

/// Gives a pair longer; without a time takes it back.
///
/// # Errors
/// When the time is before that of all, there is no reason, or the database cannot be written.
pub async fn extend(
    service: &Service,
    assignment: &Assignment,
    pair: PairId,
    due_at: Option<When>,
    reason: &str,
    by: PersonId,
) -> Result<(), CareError> {
    let now = service.clock.now();
    is_pair(service, assignment, pair).await?;
    let given = match due_at {
        Some(due) if due <= assignment.due_at => return Err(CareError::NotLonger),
        Some(due) => Some((due, reason_of(reason)?)),
        None => None,
    };
    let mut tx = service.store.change().await?;
    let due = given.as_ref().map(|(due, reason)| (*due, reason.as_str()));
    care::extend(&mut tx, assignment.id, pair, due, by, now).await?;
    let detail = serde_json::json!({ "pair": pair, "due": due_at, "reason": given.as_ref().map(|g| &g.1) });
    audit::note(&mut tx, ("assignment", assignment.id.0), "extend", by, now, detail).await?;
    Ok(tx.commit().await?)
}

async fn is_pair(service: &Service, assignment: &Assignment, pair: PairId) -> Result<(), CareError> {
    let pairs = pairs::of_class(&service.store, assignment.class).await?;
    if pairs.iter().any(|p| p.id == pair) {
        Ok(())
    } else {
        Err(CareError::NotHere)
    }
}

/// Excuses a student of the class, or takes the excuse back where `reason` is none.
///
/// # Errors
/// When the student is not in the class, there is no reason, or the database cannot be written.
pub async fn excuse(
    service: &Service,
    assignment: &Assignment,
    person: PersonId,
    reason: Option<&str>,
    by: PersonId,
) -> Result<(), CareError> {
    let now = service.clock.now();
    let reason = reason.map(reason_of).transpose()?;
    let mut tx = service.store.change().await?;
    if crate::store::classes::membership(&mut tx, assignment.class, person)
        .await?
        .is_none()
    {
        return Err(CareError::NotHere);
    }
    care::excuse(&mut tx, assignment.id, person, reason.as_deref(), by, now).await?;
    let detail = serde_json::json!({ "person": person, "excused": reason.is_some() });
    audit::note(&mut tx, ("assignment", assignment.id.0), "excuse", by, now, detail).await?;
    Ok(tx.commit().await?)
}

/// Moves all due times of a class that are still to come, as after a machine was down. Returns how many assignments.
///
/// # Errors
/// When there is no reason or the hours are out of range, or the database cannot be written.
pub async fn machine_down(
    service: &Service,
    class: ClassId,
    hours: i64,
    reason: &str,
    by: PersonId,
) -> Result<u64, CareError> {
    if !(1..=2000).contains(&hours) {
        return Err(CareError::Hours);
    }
    let reason = reason_of(reason)?;
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let moved = care::move_due(&mut tx, class, hours * 3_600_000, now).await?;
    let detail = serde_json::json!({ "hours": hours, "reason": reason, "assignments": moved });
    audit::note(&mut tx, ("class", class.0), "machine-down", by, now, detail).await?;
    tx.commit().await?;
    Ok(moved)
}

/// Gives a pair another plate from now on. The one before stays in the history, and reports keep theirs.
///
/// # Errors
/// When the plate is not one of the exercise that is in service, or the database cannot be written.
pub async fn other_plate(
    service: &Service,
    assignment: &Assignment,
    pair: PairId,
    plate: PlateId,
    by: PersonId,
) -> Result<(), CareError> {
    is_pair(service, assignment, pair).await?;
    let all = spread(service, assignment.id).await?;
    if !all.iter().any(|(id, _)| *id == plate) {
        return Err(CareError::NotHere);
    }
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    care::take_plate(&mut tx, assignment.id, pair, now).await?;
    assignments::give_plate(&mut tx, assignment.id, pair, plate, now).await?;
    let detail = serde_json::json!({ "pair": pair, "plate": plate });
    audit::note(&mut tx, ("assignment", assignment.id.0), "other-plate", by, now, detail).await?;
    Ok(tx.commit().await?)
}

/// Plates of the kind of an assignment that are in service.
///
/// # Errors
/// When the database does not answer.
pub async fn spread(service: &Service, assignment: AssignmentId) -> Result<Vec<(PlateId, String)>, StoreError> {
    match care::spreads(&service.store, assignment).await? {
        Some((exercise, kind)) => plates::in_service(&service.store, exercise, kind).await,
        None => Ok(Vec::new()),
    }
}

/// Gives a plate to every pair that has people and none, those first that fewest pairs have. Returns how many pairs.
///
/// # Errors
/// When there are no plates, or the database cannot be written.
pub async fn give_missing(service: &Service, assignment: &Assignment, by: PersonId) -> Result<usize, CareError> {
    let now = service.clock.now();
    let plates = spread(service, assignment.id).await?;
    if plates.is_empty() {
        return Err(CareError::NoPlates);
    }
    let given = assignments::plates_of(&service.store, assignment.id).await?;
    let mut held: BTreeMap<PlateId, usize> = plates.iter().map(|(id, _)| (*id, 0)).collect();
    let mut tx = service.store.change().await?;
    let pairs = pairs::ids_of_class(&mut tx, assignment.class).await?;
    // A pair that nobody is in any more holds no plate.
    for (_, plate, _) in given.iter().filter(|(pair, _, _)| pairs.contains(pair)) {
        if let Some(count) = held.get_mut(plate) {
            *count += 1;
        }
    }
    let without: Vec<PairId> = pairs
        .into_iter()
        .filter(|p| !given.iter().any(|(g, _, _)| g == p))
        .collect();
    for pair in &without {
        let Some((plate, _)) = plates.iter().min_by_key(|(id, _)| held.get(id).copied().unwrap_or(0)) else {
            continue;
        };
        assignments::give_plate(&mut tx, assignment.id, *pair, *plate, now).await?;
        if let Some(count) = held.get_mut(plate) {
            *count += 1;
        }
    }
    let detail = serde_json::json!({ "pairs": without.len() });
    audit::note(&mut tx, ("assignment", assignment.id.0), "give-plates", by, now, detail).await?;
    tx.commit().await?;
    Ok(without.len())
}
