//! Keeps a photo or PDF beside a report, before it is handed in or after.

use sha2::{Digest, Sha256};
use thiserror::Error;

use super::Service;
use super::grade_report::apart;
use super::scan::Refused;
use crate::report::evidence::{self as file, NotTaken};
use crate::store::StoreError;
use crate::store::evidence::{self, Added, Beside, Kind, New, Of};
use crate::store::ids::{EvidenceId, PersonId};

/// Most files beside one attempt.
pub const MOST: i64 = 6;

/// Why a file is not kept.
#[derive(Debug, Error)]
pub enum EvidenceError {
    /// The file itself.
    #[error(transparent)]
    NotTaken(#[from] NotTaken),
    /// What was found in it, or that nobody could look.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// There are as many as are kept.
    #[error("There are {MOST} photos or PDFs beside this report already, and more are not kept.")]
    TooMany,
    /// The computation was cut off.
    #[error("the server is stopping")]
    Stopping,
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What became of a file that is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kept {
    /// It is there now.
    New,
    /// It was there before.
    Already,
    /// It is not: the attempt was handed in meanwhile.
    HandedIn,
}

/// Keeps a file beside a report, or beside an attempt until it is handed in.
///
/// # Errors
/// When it is not what is taken, is refused by the school's own program, there are too many, or the database cannot be written.
pub async fn add_evidence(
    service: &Service,
    (of, beside): (Of, Beside),
    name: &str,
    bytes: Vec<u8>,
    by: PersonId,
) -> Result<Kept, EvidenceError> {
    // As it came, before anything here reads it: of a photo only the pixels are kept.
    if let Some(scanner) = &service.scanner {
        scanner.look(&bytes).await?;
    }
    // Decoding a photo takes a while: in the same few places as grading, so that a class's photos never fill the memory.
    let prepared = apart(service, move || file::prepared(&bytes)).await;
    let (kind, bytes) = prepared.ok_or(EvidenceError::Stopping)??;
    let name: String = name.chars().filter(|c| !c.is_control()).take(120).collect();
    let new = New {
        kind: match kind {
            file::Kind::Jpeg => Kind::Jpeg,
            file::Kind::Pdf => Kind::Pdf,
        },
        name: if name.is_empty() { "photo" } else { &name },
        sha256: &Sha256::digest(&bytes),
        bytes: &bytes,
    };
    let mut tx = service.store.change().await?;
    let added = evidence::add(&mut tx, (of, beside), &new, MOST, service.clock.now(), by).await?;
    tx.commit().await?;
    match added {
        Added::New => Ok(Kept::New),
        Added::Same => Ok(Kept::Already),
        Added::HandedIn => Ok(Kept::HandedIn),
        Added::TooMany => Err(EvidenceError::TooMany),
    }
}

/// Takes a file away from an attempt that is not handed in yet; the name of one that stays.
///
/// # Errors
/// When the database cannot be written.
pub async fn take_away(service: &Service, of: Of, evidence: EvidenceId) -> Result<Option<String>, StoreError> {
    let mut tx = service.store.change().await?;
    let gone = evidence::remove(&mut tx, of, evidence).await?;
    tx.commit().await?;
    if gone {
        return Ok(None);
    }
    let files = evidence::of(&service.store, of).await?;
    Ok(files.into_iter().find(|f| f.id == evidence).map(|f| f.name))
}
