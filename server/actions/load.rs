//! Exercises and plates from their stored text. Revisions never change, so what was read once is kept.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use thiserror::Error;

use super::Service;
use super::basis::KnownShared;
use crate::exercise::file::{self, Problem};
use crate::exercise::model::{Exercise, MarksRules};
use crate::exercise::plate::Plate;
use crate::grading::diagnoser;
use crate::grading::diagnosis::Diagnoser;
use crate::store::exercises;
use crate::store::ids::{ExerciseRevisionId, PlateRevisionId};
use crate::store::{StoreError, plates};

/// Why something stored could not be loaded.
#[derive(Debug, Error)]
pub enum LoadError {
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A row that must be there is not.
    #[error("{0} is missing from the database")]
    Missing(&'static str),
    /// What was stored was readable once and is not any more.
    #[error("{what} cannot be read: {why}")]
    Unreadable {
        /// What it is.
        what: &'static str,
        /// The first problem.
        why: String,
    },
}

/// Revisions kept at once; a school has some dozens.
const KEPT: usize = 256;

/// Plates at once whose search for mistakes is kept ready: those of one or two classes at work.
const PREPARED: usize = 64;

/// What was read already.
#[derive(Debug, Clone, Default)]
pub struct Known {
    exercises: Arc<Mutex<BTreeMap<ExerciseRevisionId, Arc<Exercise>>>>,
    plates: Arc<Mutex<BTreeMap<PlateRevisionId, Arc<Plate>>>>,
    siblings: Arc<Mutex<BTreeMap<AllPlates, Arc<Vec<Plate>>>>>,
    diagnosers: Arc<Mutex<BTreeMap<Prepared, Arc<Looking>>>>,
    pub(super) shared: KnownShared,
}

/// Being made by the first who asks; the others wait for it.
type Looking = OnceLock<Option<Diagnoser>>;

/// A revision of an exercise, the truth of the plate that reports are held against, and the newest truths of all its plates.
pub(super) type Prepared = (ExerciseRevisionId, PlateRevisionId, Vec<PlateRevisionId>);

/// What looks for mistakes in reports on a plate, made once for all of them. It takes some milliseconds the first time:
/// to be called off the async threads.
pub(super) fn prepared(
    known: &Known,
    key: &Prepared,
    (exercise, plate, siblings): (&Exercise, &Plate, &[Plate]),
) -> Arc<Looking> {
    let looking = {
        let mut known = known.diagnosers.lock().unwrap_or_else(PoisonError::into_inner);
        if known.len() >= PREPARED && !known.contains_key(key) {
            known.pop_first();
        }
        Arc::clone(known.entry(key.clone()).or_default())
    };
    looking.get_or_init(|| diagnoser(exercise, plate, siblings));
    looking
}

/// Whether it was made already.
pub(super) fn is_prepared(known: &Known, key: &Prepared) -> bool {
    let known = known.diagnosers.lock().unwrap_or_else(PoisonError::into_inner);
    known.get(key).is_some_and(|looking| looking.get().is_some())
}

/// A revision of an exercise with the newest truths of all its plates.
type AllPlates = (ExerciseRevisionId, Vec<PlateRevisionId>);

fn look<K: Ord, V>(known: &Mutex<BTreeMap<K, Arc<V>>>, key: &K) -> Option<Arc<V>> {
    known.lock().unwrap_or_else(PoisonError::into_inner).get(key).cloned()
}

/// Keeps a value; where there are too many, what has the smallest key goes: the oldest.
fn keep<K: Ord, V>(known: &Mutex<BTreeMap<K, Arc<V>>>, key: K, value: V, most: usize) -> Arc<V> {
    let value = Arc::new(value);
    let mut known = known.lock().unwrap_or_else(PoisonError::into_inner);
    if known.len() >= most {
        known.pop_first();
    }
    known.insert(key, Arc::clone(&value));
    value
}

fn unreadable(what: &'static str, problems: &[Problem]) -> LoadError {
    let why = problems
        .first()
        .map_or_else(|| "no reason given".to_owned(), ToString::to_string);
    LoadError::Unreadable { what, why }
}

/// An exercise in one revision.
///
/// # Errors
/// When it is not there or cannot be read.
pub async fn exercise(service: &Service, revision: ExerciseRevisionId) -> Result<Arc<Exercise>, LoadError> {
    if let Some(known) = look(&service.known.exercises, &revision) {
        return Ok(known);
    }
    let stored = exercises::revision(&service.store, revision)
        .await?
        .ok_or(LoadError::Missing("an exercise"))?;
    let (exercise, problems) = file::read_exercise("exercise.toml", &stored.toml);
    let exercise = exercise.ok_or_else(|| unreadable("an exercise", &problems))?;
    Ok(keep(&service.known.exercises, revision, exercise, KEPT))
}

/// Marks rules in place of an exercise's own as an instructor typed them, once they are known to be readable; none where
/// nothing was typed.
///
/// # Errors
/// When they cannot be read, or the database does not answer.
pub(super) async fn typed_rules<'t>(
    service: &Service,
    revision: ExerciseRevisionId,
    typed: &'t str,
) -> Result<Option<&'t str>, LoadError> {
    let typed = typed.trim();
    if typed.is_empty() {
        return Ok(None);
    }
    let of = exercise(service, revision).await?;
    rules(service, revision, &of, Some(typed)).await?;
    Ok(Some(typed))
}

/// What a plate is, in one revision. For grading and instructors' pages only.
///
/// # Errors
/// When it is not there or cannot be read.
pub async fn plate(service: &Service, exercise: &Exercise, revision: PlateRevisionId) -> Result<Arc<Plate>, LoadError> {
    if let Some(known) = look(&service.known.plates, &revision) {
        // It may have been read for another revision of the print.
        return Ok(file::fitted(&known, exercise).map_or(known, Arc::new));
    }
    let truth = plates::truth(&service.store, revision)
        .await?
        .ok_or(LoadError::Missing("a plate"))?;
    let (whole, problems) = file::read_plates("plates.toml", &truth, exercise);
    let Some(plate) = whole.and_then(|p| p.plates.into_iter().next()) else {
        // What this print does not have is left out, and not kept: another revision has it.
        let fitted = file::read_plate_fitted(&truth, exercise);
        return fitted.map(Arc::new).ok_or_else(|| unreadable("a plate", &problems));
    };
    Ok(keep(&service.known.plates, revision, plate, KEPT))
}

/// All plates of the exercise in their newest revisions: a report may be of another one than it says. For grading only.
/// One that cannot be read is logged and left out.
///
/// # Errors
/// When the database does not answer.
pub async fn siblings(
    service: &Service,
    exercise: &Exercise,
    revision: ExerciseRevisionId,
) -> Result<Arc<Vec<Plate>>, LoadError> {
    let truths = plates::newest_truths(&service.store, revision).await?;
    siblings_of(service, (revision, exercise), truths).await
}

/// As [`siblings`], where the newest revisions are known.
///
/// # Errors
/// When the database does not answer.
pub(super) async fn siblings_of(
    service: &Service,
    (revision, exercise): (ExerciseRevisionId, &Exercise),
    truths: Vec<PlateRevisionId>,
) -> Result<Arc<Vec<Plate>>, LoadError> {
    let key = (revision, truths);
    if let Some(known) = look(&service.known.siblings, &key) {
        return Ok(known);
    }
    let mut all = Vec::new();
    for truth in &key.1 {
        match plate(service, exercise, *truth).await {
            Ok(plate) => all.push(plate.as_ref().clone()),
            Err(error @ LoadError::Store(_)) => return Err(error),
            Err(error) => tracing::warn!(%error, revision = truth.0, "a plate could not be read"),
        }
    }
    Ok(keep(&service.known.siblings, key, all, KEPT))
}

/// The one plate of a stored truth, as far as this revision of the print has what it speaks of.
///
/// # Errors
/// When it cannot be read.
pub fn plate_from(exercise: &Exercise, truth: &str) -> Result<Plate, LoadError> {
    let fitted = file::read_plate_fitted(truth, exercise);
    fitted.ok_or_else(|| unreadable("a plate", &file::read_plates("plates.toml", truth, exercise).1))
}

/// The marks rules of an assignment: the exercise's, or those that stand in their place.
///
/// # Errors
/// When the override cannot be read.
pub async fn rules(
    service: &Service,
    revision: ExerciseRevisionId,
    exercise: &Exercise,
    marks_override: Option<&str>,
) -> Result<MarksRules, LoadError> {
    let Some(text) = marks_override else {
        return Ok(exercise.marks.clone());
    };
    let stored = exercises::revision(&service.store, revision)
        .await?
        .ok_or(LoadError::Missing("an exercise"))?;
    rules_in(&stored.toml, text)
}

/// Marks rules as they are typed in the place of those of an exercise file.
///
/// # Errors
/// When they cannot be read.
pub fn rules_in(exercise: &str, marks: &str) -> Result<MarksRules, LoadError> {
    let broken = |e: toml::de::Error| LoadError::Unreadable {
        what: "an assignment's marks rules",
        why: e.to_string(),
    };
    let mut whole: toml::Table = exercise.parse().map_err(broken)?;
    let marks: toml::Table = marks.parse().map_err(broken)?;
    whole.insert("marks".to_owned(), toml::Value::Table(marks));
    let (exercise, problems) = file::read_exercise("exercise.toml", &whole.to_string());
    exercise
        .map(|e| e.marks)
        .ok_or_else(|| unreadable("an assignment's marks rules", &problems))
}
