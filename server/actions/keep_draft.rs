//! Keeps what a pair has typed so far, field by field, so that both partners' devices write into one draft.

use std::collections::BTreeMap;

use thiserror::Error;

use super::Service;
use crate::report::draft::{Base, Written};
use crate::store::assignments::Mine;
use crate::store::ids::PersonId;
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
    /// What was typed, with its versions.
    pub written: Written,
    /// When it was last changed.
    pub kept_at: When,
}

/// What a page sends to be kept.
#[derive(Debug, Clone, Default)]
pub struct Sent {
    /// Text by field.
    pub fields: BTreeMap<String, String>,
    /// What the page came with; none from a program that knows of nobody else.
    pub base: Option<Base>,
    /// Which of two texts counts, by field.
    pub chosen: BTreeMap<String, String>,
}

/// Lays what a page sends over the pair's draft; what a partner wrote meanwhile stays. An emptied field is kept as empty.
///
/// # Errors
/// When it is too much or the database cannot be written.
pub async fn keep_draft(service: &Service, mine: &Mine, person: PersonId, sent: &Sent) -> Result<Draft, DraftError> {
    let too_long = |(name, text): (&String, &String)| name.chars().count() > NAME || text.chars().count() > TEXT;
    let all = || sent.fields.iter().chain(&sent.chosen);
    if all().count() > FIELDS || all().any(too_long) {
        return Err(DraftError::TooMuch);
    }
    let now = service.clock.now();
    let of = (mine.assignment.id, mine.pair);
    let mut tx = service.store.change_beside().await?;
    let stored = drafts::within(&mut tx, of.0, of.1).await?;
    let mut written = stored.as_ref().map_or_else(|| Ok(Written::default()), written)?;
    written.lay_over(&sent.fields, sent.base.as_ref(), person.0);
    for (name, text) in &sent.chosen {
        written.choose(name, text, person.0);
    }
    if written.fields.len() > FIELDS {
        return Err(DraftError::TooMuch);
    }
    let (fields, versions) = (
        serde_json::to_string(&written.fields)?,
        serde_json::to_string(&written.versions)?,
    );
    drafts::put(&mut tx, of, &fields, &versions, now).await?;
    tx.commit().await?;
    Ok(Draft { written, kept_at: now })
}

fn written(stored: &drafts::Draft) -> Result<Written, serde_json::Error> {
    Ok(Written {
        fields: serde_json::from_str(&stored.fields)?,
        versions: serde_json::from_str(&stored.versions)?,
    })
}

/// Takes the pair's draft away where it says nothing that is not in these fields: they were handed in before, and the page that sent
/// them once more, from another device or with the back button, wrote them down again on its way.
///
/// # Errors
/// When the database cannot be written.
pub async fn drop_same(service: &Service, mine: &Mine, fields: &BTreeMap<String, String>) -> Result<(), DraftError> {
    let of = (mine.assignment.id, mine.pair);
    let mut tx = service.store.change_beside().await?;
    let Some(stored) = drafts::within(&mut tx, of.0, of.1).await? else {
        return Ok(());
    };
    let draft = written(&stored)?.fields;
    let mut said = draft.iter().filter(|(_, text)| !text.trim().is_empty());
    if said.all(|(name, text)| fields.get(name).is_some_and(|sent| sent.trim() == text.trim())) {
        drafts::remove(&mut tx, of.0, of.1).await?;
        tx.commit().await?;
    }
    Ok(())
}

/// The pair's draft, if there is one.
///
/// # Errors
/// When the database does not answer.
pub async fn draft(service: &Service, mine: &Mine) -> Result<Option<Draft>, DraftError> {
    let stored = drafts::of(&service.store, mine.assignment.id, mine.pair).await?;
    let draft = |stored: drafts::Draft| {
        Ok(Draft {
            written: written(&stored)?,
            kept_at: stored.updated_at,
        })
    };
    stored.map(draft).transpose()
}
