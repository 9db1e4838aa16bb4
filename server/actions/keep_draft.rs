//! Keeps what a pair has typed so far, field by field, so that both partners' devices write into one draft.

use std::collections::BTreeMap;

use thiserror::Error;

use super::Service;
use crate::store::assignments::Mine;
use crate::store::when::When;
use crate::store::{StoreError, drafts};

/// Most fields of one draft.
const FIELDS: usize = 1000;
/// Longest name of a field, in characters.
const NAME: usize = 64;
/// Longest content of a field, in characters.
const TEXT: usize = 2000;

/// Why a draft was not kept.
#[derive(Debug, Error)]
pub enum DraftError {
    /// More or longer fields than any sheet has.
    #[error("the draft has more or longer fields than any sheet has")]
    TooMuch,
    /// The stored draft has another form (never so for ours).
    #[error("the draft cannot be read: {0}")]
    Unreadable(#[from] serde_json::Error),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// A draft.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Draft {
    /// What was typed, by field.
    pub fields: BTreeMap<String, String>,
    /// When it was last changed.
    pub kept_at: When,
}

/// Lays changed fields over the pair's draft; the others stay. An emptied field is kept as empty.
///
/// # Errors
/// When it is too much or the database cannot be written.
pub async fn keep_draft(
    service: &Service,
    mine: &Mine,
    changed: &BTreeMap<String, String>,
) -> Result<When, DraftError> {
    let too_long = |(name, text): (&String, &String)| name.chars().count() > NAME || text.chars().count() > TEXT;
    if changed.len() > FIELDS || changed.iter().any(too_long) {
        return Err(DraftError::TooMuch);
    }
    let now = service.clock.now();
    let changed = serde_json::to_string(changed)?;
    let mut tx = service.store.change().await?;
    drafts::merge(&mut tx, mine.assignment.id, mine.pair, &changed, now).await?;
    tx.commit().await?;
    Ok(now)
}

/// The pair's draft, if there is one.
///
/// # Errors
/// When the database does not answer.
pub async fn draft(service: &Service, mine: &Mine) -> Result<Option<Draft>, DraftError> {
    let Some(stored) = drafts::of(&service.store, mine.assignment.id, mine.pair).await? else {
        return Ok(None);
    };
    Ok(Some(Draft {
        fields: serde_json::from_str(&stored.fields)?,
        kept_at: stored.updated_at,
    }))
}
