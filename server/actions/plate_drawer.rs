//! The plate drawer: out and in, label and place, dropped and put back. Everything stands in the trail of the plate.

use thiserror::Error;

use super::Service;
use crate::store::ids::{PersonId, PlateId};
use crate::store::plates::{self, State};
use crate::store::versions::{self, Thing};
use crate::store::{StoreError, audit, drawer};

/// Longest text of a field, in characters.
pub const TEXT: usize = 200;

/// What is done with a plate.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Act {
    /// Somebody takes it.
    Out {
        /// Who.
        holder: String,
    },
    /// It comes back.
    In {
        /// What was noted.
        remark: String,
    },
    /// Where it lies, and what is written on it.
    Place {
        /// Label.
        label: String,
        /// Place.
        place: String,
        /// What the person saw before, as [`versions`] has it; empty: written whatever stands.
        seen: String,
    },
    /// It was dropped, or is not to be trusted for another reason: nobody gets it any more.
    Withdraw {
        /// Why.
        why: String,
    },
    /// It may be used again.
    PutBack,
}

/// Why nothing was done.
#[derive(Debug, Error)]
pub enum DrawerError {
    /// Without words where some are needed.
    #[error("{what}")]
    Words {
        /// Name of the field.
        field: &'static str,
        /// What to write.
        what: &'static str,
    },
    /// A text is too long.
    #[error("write at most {TEXT} characters")]
    Long {
        /// Name of the field.
        field: &'static str,
    },
    /// It is out already.
    #[error("the plate is out already; take it in first")]
    IsOut,
    /// It is in already.
    #[error("the plate is in the drawer already")]
    IsIn,
    /// Somebody wrote down another label or place since the page was made.
    #[error("somebody wrote down another label or place meanwhile")]
    Overtaken,
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl DrawerError {
    /// Name of the field at which it is said.
    #[must_use]
    pub const fn field(&self) -> &'static str {
        match self {
            Self::Words { field, .. } | Self::Long { field } => field,
            Self::IsOut => "holder",
            Self::IsIn => "remark",
            Self::Overtaken | Self::Store(_) => "place",
        }
    }
}

/// Does it and writes it to the trail.
///
/// # Errors
/// When words are missing, the plate is not where it should be, or the database cannot be written.
pub async fn act(service: &Service, plate: PlateId, act: &Act, by: PersonId) -> Result<(), DrawerError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let (what, detail) = match act {
        Act::Out { holder } => {
            let holder = words("holder", holder, Some("write who takes the plate"))?;
            if !drawer::give(&mut tx, plate, holder, now).await? {
                return Err(DrawerError::IsOut);
            }
            ("plate-out", serde_json::json!({ "holder": holder }))
        }
        Act::In { remark } => {
            let remark = words("remark", remark, None)?;
            if !drawer::take_back(&mut tx, plate, now, remark).await? {
                return Err(DrawerError::IsIn);
            }
            ("plate-in", serde_json::json!({ "remark": remark }))
        }
        Act::Place { label, place, seen } => {
            let (label, place) = (words("label", label, None)?, words("place", place, None)?);
            if !versions::still(&mut tx, Thing::Place(plate), seen).await? {
                return Err(DrawerError::Overtaken);
            }
            drawer::set_place(&mut tx, plate, label, place).await?;
            ("plate-place", serde_json::json!({ "label": label, "place": place }))
        }
        Act::Withdraw { why } => {
            let why = words("why", why, Some("write what happened to the plate"))?;
            plates::set_state(&mut tx, plate, State::Withdrawn).await?;
            drawer::set_why(&mut tx, plate, why).await?;
            ("withdraw", serde_json::json!({ "why": why }))
        }
        Act::PutBack => {
            plates::set_state(&mut tx, plate, State::InService).await?;
            drawer::set_why(&mut tx, plate, "").await?;
            ("put-in-service", serde_json::json!({}))
        }
    };
    let entry = audit::Entry {
        at: now,
        person: Some(by),
        what,
        about: ("plate", plate.0),
        detail,
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    Ok(())
}

fn words<'t>(field: &'static str, text: &'t str, needed: Option<&'static str>) -> Result<&'t str, DrawerError> {
    let text = text.trim();
    match needed {
        Some(what) if text.is_empty() => Err(DrawerError::Words { field, what }),
        _ if text.chars().count() > TEXT => Err(DrawerError::Long { field }),
        _ => Ok(text),
    }
}
