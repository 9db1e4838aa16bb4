//! Makes an immutable revision of what an author has typed, when nothing is wrong with it.

use sha2::{Digest, Sha256};
use thiserror::Error;

use super::Service;
use super::author_exercise::AuthorError;
use crate::exercise::file::write_exercise;
use crate::exercise::form::{look, take};
use crate::store::exercise_drafts as drafts;
use crate::store::exercises::{self, NewRevision};
use crate::store::ids::{ExerciseDraftId, ExerciseId, ExerciseRevisionId, PersonId};
use crate::store::{StoreError, audit};

/// Why nothing was published.
#[derive(Debug, Error)]
pub enum PublishError {
    /// Something has to be mended first.
    #[error("there is something to mend first")]
    ToMend,
    /// Another exercise has the code.
    #[error("the code is taken")]
    CodeTaken {
        /// Which exercise.
        by: ExerciseId,
    },
    /// A published exercise keeps its code, because plates and files carry it.
    #[error("the code of a published exercise stays {0}")]
    CodeStays(String),
    /// Another revision was made meanwhile.
    #[error("another revision was made meanwhile")]
    Newer(ExerciseRevisionId),
    /// The draft says what the newest revision says.
    #[error("nothing differs from the newest revision")]
    Same,
    /// The draft has gone on or is gone.
    #[error(transparent)]
    Draft(#[from] AuthorError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Publishes the draft as it stands in a version; gives the exercise. The draft goes away with it. With `over`, the
/// revision that was made meanwhile is followed by this one all the same.
///
/// # Errors
/// When something has to be mended or decided first, or the database cannot be written.
pub async fn publish(
    service: &Service,
    draft: ExerciseDraftId,
    version: i64,
    by: PersonId,
    over: Option<ExerciseRevisionId>,
) -> Result<ExerciseId, PublishError> {
    let mut tx = service.store.change().await?;
    let stands = drafts::within(&mut tx, draft).await?.ok_or(AuthorError::Gone)?;
    if stands.version != version {
        return Err(AuthorError::Overtaken { mine: stands.step }.into());
    }
    let exercise = look(&take(&stands.toml).form).exercise.ok_or(PublishError::ToMend)?;
    let code = exercise.code.as_str();
    let toml = write_exercise(&exercise);
    let sha256 = Sha256::digest(toml.as_bytes());
    let at = service.clock.now();
    let known = exercises::by_code(&mut tx, code).await?;
    let id = match (stands.exercise, known) {
        (None, Some((by, ..))) => return Err(PublishError::CodeTaken { by }),
        (None, None) => exercises::add(&mut tx, code, at).await?,
        (Some(own), Some((id, newest, _))) if own == id => {
            if stands.base != Some(newest) && over != Some(newest) {
                return Err(PublishError::Newer(newest));
            }
            id
        }
        (Some(own), _) => {
            let published = exercises::newest(&service.store, own).await?;
            return Err(PublishError::CodeStays(published.map(|r| r.code).unwrap_or_default()));
        }
    };
    if let Some(base) = exercises::newest(&service.store, id).await? {
        let before = look(&take(&base.toml).form).exercise;
        if before.as_ref() == Some(&exercise) {
            return Err(PublishError::Same);
        }
    }
    let new = NewRevision {
        exercise: id,
        title: &exercise.title,
        toml: &toml,
        sha256: &sha256,
        at,
        by: Some(by),
    };
    let revision = exercises::add_revision(&mut tx, &new).await?;
    drafts::remove(&mut tx, draft).await?;
    let entry = audit::Entry {
        at,
        person: Some(by),
        what: "publish-exercise",
        about: ("exercise", id.0),
        detail: serde_json::json!({ "revision": revision.0, "steps": stands.step }),
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    Ok(id)
}
