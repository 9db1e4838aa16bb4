//! Keeps what an author has typed so far: every change is a step of the draft, with errors or without.
//!
//! A form carries the version that it was made from. Where the draft has gone on meanwhile, what was typed is kept as a
//! step beside it and does not stand; the author is told and decides.

use thiserror::Error;

use super::Service;
use crate::exercise::form::{Form, Part, take, text};
use crate::store::exercise_drafts::{self as drafts, Draft, NewDraft, NewStep};
use crate::store::exercises::Revision;
use crate::store::ids::{ExerciseDraftId, PersonId};
use crate::store::{StoreError, Tx};

/// Why a change does not stand.
#[derive(Debug, Error)]
pub enum AuthorError {
    /// The draft is gone: published or thrown away meanwhile.
    #[error("the draft is not there any more")]
    Gone,
    /// Somebody else, or another window, went on meanwhile. What was typed is kept as this step.
    #[error("the draft has gone on meanwhile; what was typed is kept as step {mine}")]
    Overtaken {
        /// The step that holds what was typed.
        mine: i64,
    },
    /// There is no such step.
    #[error("there is no step to go to")]
    NoStep,
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Begins a draft, or finds the one that the exercise has already.
///
/// # Errors
/// When the database cannot be written.
pub async fn begin(
    service: &Service,
    by: PersonId,
    of: Option<&Revision>,
    form: &Form,
    what: &str,
) -> Result<ExerciseDraftId, StoreError> {
    if let Some(revision) = of
        && let Some(known) = drafts::of_exercise(&service.store, revision.exercise).await?
    {
        return Ok(known);
    }
    let at = service.clock.now();
    let mut tx = service.store.change().await?;
    let new = NewDraft {
        of: of.map(|r| (r.exercise, r.id)),
        code: text(&form.head, "code"),
        title: text(&form.head, "title"),
        at,
        by,
    };
    let draft = match drafts::add(&mut tx, &new).await {
        Ok(draft) => draft,
        // Two windows began at once; the other one's draft is the draft.
        Err(error) if error.breaks_unique("exercise_draft.exercise") => {
            drop(tx);
            let exercise = of.map(|r| r.exercise).ok_or(error)?;
            let known = drafts::of_exercise(&service.store, exercise).await?;
            return known.ok_or(StoreError::Stopping);
        }
        Err(error) => return Err(error),
    };
    let step = NewStep {
        before: None,
        toml: &form.toml(),
        what,
        at,
        by,
    };
    drafts::add_step(&mut tx, draft, &step).await?;
    tx.commit().await?;
    Ok(draft)
}

/// Keeps a form that was made from a version of the draft; gives the version that stands now. What is as it was makes no
/// step.
///
/// # Errors
/// When the draft is gone or has gone on, or the database cannot be written.
pub async fn keep(
    service: &Service,
    draft: ExerciseDraftId,
    version: i64,
    by: PersonId,
    form: &Form,
    what: Option<&str>,
) -> Result<i64, AuthorError> {
    let mut tx = service.store.change().await?;
    let stands = drafts::within(&mut tx, draft).await?.ok_or(AuthorError::Gone)?;
    let toml = form.toml();
    if stands.toml == toml {
        return Ok(stands.version);
    }
    let before = take(&stands.toml).form;
    let words = what.map_or_else(|| changed_words(&before, form), str::to_owned);
    let step = NewStep {
        before: Some(stands.step),
        toml: &toml,
        what: &words,
        at: service.clock.now(),
        by,
    };
    let number = drafts::add_step(&mut tx, draft, &step).await?;
    if stands.version != version {
        tx.commit().await?;
        return Err(AuthorError::Overtaken { mine: number });
    }
    let version = stand(&mut tx, draft, number, form).await?;
    tx.commit().await?;
    Ok(version)
}

async fn stand(tx: &mut Tx, draft: ExerciseDraftId, step: i64, form: &Form) -> Result<i64, StoreError> {
    let names = [text(&form.head, "code"), text(&form.head, "title")];
    drafts::stand(tx, draft, step, names).await
}

/// Where to go in the history of a draft.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// To the step before.
    Back,
    /// To the newest step that was made from this one.
    Forward,
    /// To a step.
    To(i64),
}

/// Lets another step stand.
///
/// # Errors
/// When the draft is gone or has gone on, there is no such step, or the database cannot be written.
pub async fn go(service: &Service, draft: &Draft, version: i64, way: Way) -> Result<i64, AuthorError> {
    let to = match way {
        Way::Back => draft.before,
        Way::Forward => drafts::after(&service.store, draft.id, draft.step).await?,
        Way::To(number) => Some(number),
    };
    let step = drafts::step(&service.store, draft.id, to.ok_or(AuthorError::NoStep)?).await?;
    let step = step.ok_or(AuthorError::NoStep)?;
    let mut tx = service.store.change().await?;
    let stands = drafts::within(&mut tx, draft.id).await?.ok_or(AuthorError::Gone)?;
    if stands.version != version {
        return Err(AuthorError::Overtaken { mine: stands.step });
    }
    let version = stand(&mut tx, draft.id, step.number, &take(&step.toml).form).await?;
    tx.commit().await?;
    Ok(version)
}

/// Throws a draft away with all its steps.
///
/// # Errors
/// When the database cannot be written.
pub async fn discard(service: &Service, draft: ExerciseDraftId) -> Result<(), StoreError> {
    let mut tx = service.store.change().await?;
    drafts::remove(&mut tx, draft).await?;
    tx.commit().await
}

/// What was changed between two forms, in a few words for the history.
#[must_use]
pub fn changed_words(before: &Form, after: &Form) -> String {
    let Some(changed) = before.changed_fields(after) else {
        return tables_words(before, after);
    };
    let shown = |t: &str| {
        let flat = t.replace(['\t', '\n'], " ");
        let short: String = flat.chars().take(30).collect();
        if flat.is_empty() { "empty".to_owned() } else { short }
    };
    match changed.as_slice() {
        [] => "written anew".to_owned(),
        [(name, old, new)] => {
            let label = after.field(name).map_or("", |(spec, _)| spec.label);
            let owner = after.owner_of(name).map_or_else(String::new, |o| format!("{o}: "));
            format!("{owner}{label} from {} to {}", shown(old), shown(new))
        }
        several => format!("{} fields", several.len()),
    }
}

fn tables_words(before: &Form, after: &Form) -> String {
    let count = |parts: &[Part]| parts.iter().map(|p| p.characteristics.len()).sum::<usize>();
    let all = |f: &Form| count(&f.features) + count(&f.between);
    format!(
        "{} features and {} characteristics, before {} and {}",
        after.features.len(),
        all(after),
        before.features.len(),
        all(before)
    )
}
