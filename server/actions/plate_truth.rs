//! What plates really are: proposed from a seed, planted by hand, found by rounds or stated by a certificate. Each is a new revision;
//! grades keep the one that they were computed with.

use rand::TryRng;
use rand::rngs::SysRng;
use thiserror::Error;

use super::Service;
use super::load::{self, LoadError};
use crate::exercise::file::{self, Severity};
use crate::exercise::model::Exercise;
use crate::exercise::names::Serial;
use crate::exercise::plate::{Plate, PlateKind, Plates};
use crate::procedure::seeding::{Aims, CannotPropose, PlateSeed, Proposal, propose};
use crate::store::exercises::Revision;
use crate::store::ids::{ExerciseId, PersonId, PlateId, PlateRevisionId};
use crate::store::plates::{self, Kind};
use crate::store::{StoreError, audit, drawer};

/// Why nothing was stored.
#[derive(Debug, Error)]
pub enum TruthError {
    /// An aim cannot be met.
    #[error(transparent)]
    Cannot(#[from] CannotPropose),
    /// A serial is taken.
    #[error("there is a plate {0} already; give this one another serial")]
    SerialTaken(String),
    /// What was typed cannot be made.
    #[error("{0}")]
    Wrong(String),
    /// The truth is another one by now.
    #[error(
        "somebody stored another revision of this plate meanwhile, which its page shows; nothing was overwritten. What you typed is kept here: store it again to make it the next one"
    )]
    Overtaken,
    /// No random numbers.
    #[error("the system gives no random numbers")]
    Random(#[from] rand::rngs::SysError),
    /// Something stored cannot be loaded.
    #[error(transparent)]
    Load(#[from] LoadError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// A new seed: 128 random bits.
///
/// # Errors
/// When the system gives none.
pub fn new_seed() -> Result<PlateSeed, rand::rngs::SysError> {
    let mut bytes = [0_u8; 16];
    SysRng.try_fill_bytes(&mut bytes)?;
    Ok(PlateSeed(u128::from_be_bytes(bytes)))
}

/// Proposes plates for the newest revision of an exercise, beside those that it has; nothing is stored.
///
/// # Errors
/// When an aim cannot be met.
pub async fn proposed(
    service: &Service,
    revision: &Revision,
    seed: PlateSeed,
    aims: &Aims,
) -> Result<Proposal, TruthError> {
    let exercise = load::exercise(service, revision.id).await?;
    let existing = load::siblings(service, &exercise, revision.id).await?;
    let taken: Vec<Serial> = drawer::serials(&service.store)
        .await?
        .iter()
        .filter_map(|s| s.parse().ok())
        .collect();
    let aims = aims.clone();
    super::grade_report::apart(service, move || propose(&exercise, seed, &aims, &existing, &taken))
        .await
        .ok_or_else(|| TruthError::Wrong("the server is stopping".to_owned()))?
        .map_err(TruthError::Cannot)
}

/// Registers new plates with what they are.
///
/// # Errors
/// When a serial is taken or the database cannot be written.
pub async fn register(
    service: &Service,
    of: (ExerciseId, &Exercise),
    new: &[Plate],
    how: &str,
    by: PersonId,
) -> Result<Vec<PlateId>, TruthError> {
    let now = service.clock.now();
    let (id, exercise) = of;
    let mut tx = service.store.change().await?;
    let mut ids = Vec::new();
    for plate in new {
        let serial = plate.serial.as_str();
        if plates::by_serial(&mut tx, serial).await?.is_some() {
            return Err(TruthError::SerialTaken(serial.to_owned()));
        }
        let kind = match plate.kind {
            PlateKind::Physical => Kind::Physical,
            PlateKind::Virtual => Kind::Virtual,
        };
        let row = plates::add(&mut tx, id, serial, kind, now).await?;
        let revision = plates::add_truth(&mut tx, row, &text(exercise, plate), now, Some(by)).await?;
        drawer::note(&mut tx, revision, how, "{}").await?;
        let entry = audit::Entry {
            at: now,
            person: Some(by),
            what: "register-plate",
            about: ("plate", row.0),
            detail: serde_json::json!({ "how": how }),
        };
        audit::write(&mut tx, &entry).await?;
        ids.push(row);
    }
    tx.commit().await?;
    Ok(ids)
}

/// A plates file with one plate in it.
fn text(exercise: &Exercise, plate: &Plate) -> String {
    let alone = Plates {
        exercise: exercise.code.clone(),
        plates: vec![plate.clone()],
    };
    file::write_plates(&alone)
}

/// How a new revision came about.
#[derive(Debug, Clone)]
pub struct How {
    /// by_hand, rounds or certificate.
    pub kind: &'static str,
    /// What it was made of.
    pub detail: serde_json::Value,
}

/// Stores the next revision of what a plate is, in place of the one that the person saw. `None` where nothing differs.
///
/// # Errors
/// When the plate cannot be so, somebody was faster, or the database cannot be written.
pub async fn revise(
    service: &Service,
    exercise: &Exercise,
    of: (PlateId, PlateRevisionId),
    plate: &Plate,
    how: &How,
    by: PersonId,
) -> Result<Option<PlateRevisionId>, TruthError> {
    let truth = text(exercise, plate);
    // What is stored must be readable again: the file's own rules are the rules.
    let (read, problems) = file::read_plates("plate", &truth, exercise);
    if read.is_none() {
        let error = problems.iter().find(|p| p.severity == Severity::Error);
        let what = error.map_or_else(
            || "the plate cannot be so".to_owned(),
            |p| format!("{}. {}", p.what, p.mend),
        );
        return Err(TruthError::Wrong(what));
    }
    let now = service.clock.now();
    let (id, seen) = of;
    let mut tx = service.store.change().await?;
    let newest = plates::newest_in(&mut tx, id).await?;
    match newest {
        Some((revision, _)) if revision != seen => return Err(TruthError::Overtaken),
        Some((_, known)) if known == truth => return Ok(None),
        _ => {}
    }
    let revision = plates::add_truth(&mut tx, id, &truth, now, Some(by)).await?;
    drawer::note(&mut tx, revision, how.kind, &how.detail.to_string()).await?;
    let entry = audit::Entry {
        at: now,
        person: Some(by),
        what: "revise-plate",
        about: ("plate", id.0),
        detail: serde_json::json!({ "revision": revision, "how": how.kind }),
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    Ok(Some(revision))
}

/// Whether a plate can be so: what is stored must be readable again, and the file's own rules are the rules.
///
/// # Errors
/// With what is wrong and how to mend it.
pub fn readable(exercise: &Exercise, plate: &Plate) -> Result<(), TruthError> {
    let (read, problems) = file::read_plates("plate", &text(exercise, plate), exercise);
    if read.is_some() {
        return Ok(());
    }
    let error = problems.iter().find(|p| p.severity == Severity::Error);
    let what = error.map_or_else(
        || "the plate cannot be so".to_owned(),
        |p| format!("{}. {}", p.what, p.mend.trim_end_matches('.')),
    );
    Err(TruthError::Wrong(what))
}
