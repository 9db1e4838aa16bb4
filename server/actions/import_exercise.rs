//! Takes an exercise folder: exercise.toml and plates.toml, both or the first alone. All of it is stored, or nothing.

use sha2::{Digest, Sha256};
use thiserror::Error;

use super::Service;
use crate::exercise::file::{self, Problem, Severity};
use crate::exercise::model::Exercise;
use crate::exercise::plate::{Plate, PlateKind, Plates};
use crate::store::exercises::{self, NewRevision};
use crate::store::ids::{ExerciseId, PersonId};
use crate::store::plates::{self, Kind};
use crate::store::when::When;
use crate::store::{StoreError, Tx, audit};

/// A file as it came.
#[derive(Debug, Clone, Copy)]
pub struct FileText<'a> {
    /// Name for messages.
    pub name: &'a str,
    /// Content.
    pub text: &'a str,
}

/// What was stored.
#[derive(Debug, Clone, PartialEq)]
pub struct Imported {
    /// The exercise.
    pub exercise: ExerciseId,
    /// Its code.
    pub code: String,
    /// Whether this made a revision: not when the file is the newest one already.
    pub new_revision: bool,
    /// Serials of plates that are new.
    pub new_plates: Vec<String>,
    /// Serials of plates whose truth was revised.
    pub revised_plates: Vec<String>,
    /// Warnings of the files.
    pub warnings: Vec<Problem>,
}

/// Why nothing was stored.
#[derive(Debug, Error)]
pub enum ImportError {
    /// The files have problems; all of them, errors and warnings.
    #[error("the files have problems")]
    Problems(Vec<Problem>),
    /// A plate with this serial belongs to another exercise.
    #[error("plate {serial} is registered for another exercise already; give this one another serial")]
    SerialTaken {
        /// Which.
        serial: String,
    },
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Reads the files and stores what is new in them.
///
/// # Errors
/// When a file has an error, a serial belongs to another exercise, or the database cannot be written.
pub async fn import_exercise(
    service: &Service,
    by: Option<PersonId>,
    exercise_file: FileText<'_>,
    plates_file: Option<FileText<'_>>,
) -> Result<Imported, ImportError> {
    let (exercise, plates, warnings) = read(exercise_file, plates_file)?;
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let (id, new_revision) = store_exercise(&mut tx, &exercise, exercise_file.text, now, by).await?;
    let mut imported = Imported {
        exercise: id,
        code: exercise.code.to_string(),
        new_revision,
        new_plates: Vec::new(),
        revised_plates: Vec::new(),
        warnings,
    };
    for plate in plates.iter().flat_map(|p| &p.plates) {
        store_plate(&mut tx, &mut imported, &exercise, plate, now, by).await?;
    }
    let detail = serde_json::json!({
        "revision": imported.new_revision, "new": imported.new_plates, "revised": imported.revised_plates,
    });
    let entry = audit::Entry {
        at: now,
        person: by,
        what: "import-exercise",
        about: ("exercise", id.0),
        detail,
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    Ok(imported)
}

/// Both files, or all problems of both.
fn read(
    exercise_file: FileText<'_>,
    plates_file: Option<FileText<'_>>,
) -> Result<(Exercise, Option<Plates>, Vec<Problem>), ImportError> {
    let (exercise, mut problems) = file::read_exercise(exercise_file.name, exercise_file.text);
    // Without the exercise the plates cannot be read: what their keys mean is in it.
    let Some(exercise) = exercise else {
        return Err(ImportError::Problems(problems));
    };
    let mut plates = None;
    if let Some(given) = plates_file {
        let (read, found) = file::read_plates(given.name, given.text, &exercise);
        problems.extend(found);
        plates = read;
    }
    if problems.iter().any(|p| p.severity == Severity::Error) {
        return Err(ImportError::Problems(problems));
    }
    Ok((exercise, plates, problems))
}

async fn store_exercise(
    tx: &mut Tx,
    exercise: &Exercise,
    toml: &str,
    at: When,
    by: Option<PersonId>,
) -> Result<(ExerciseId, bool), StoreError> {
    let code = exercise.code.as_str();
    let sha256 = Sha256::digest(toml.as_bytes());
    let id = match exercises::by_code(tx, code).await? {
        Some((id, _, newest)) if newest == sha256.as_slice() => return Ok((id, false)),
        Some((id, _, _)) => id,
        None => exercises::add(tx, code, at).await?,
    };
    let new = NewRevision {
        exercise: id,
        title: &exercise.title,
        toml,
        sha256: &sha256,
        at,
        by,
    };
    exercises::add_revision(tx, &new).await?;
    Ok((id, true))
}

async fn store_plate(
    tx: &mut Tx,
    imported: &mut Imported,
    exercise: &Exercise,
    plate: &Plate,
    at: When,
    by: Option<PersonId>,
) -> Result<(), ImportError> {
    let serial = plate.serial.as_str();
    let alone = Plates {
        exercise: exercise.code.clone(),
        plates: vec![plate.clone()],
    };
    let truth = file::write_plates(&alone);
    let id = match plates::by_serial(tx, serial).await? {
        Some((_, owner, _)) if owner != imported.exercise => {
            return Err(ImportError::SerialTaken {
                serial: serial.to_owned(),
            });
        }
        Some((_, _, known)) if known == truth => return Ok(()),
        Some((id, _, _)) => {
            imported.revised_plates.push(serial.to_owned());
            id
        }
        None => {
            let kind = match plate.kind {
                PlateKind::Physical => Kind::Physical,
                PlateKind::Virtual => Kind::Virtual,
            };
            imported.new_plates.push(serial.to_owned());
            plates::add(tx, imported.exercise, serial, kind, at).await?
        }
    };
    plates::add_truth(tx, id, &truth, at, by).await?;
    Ok(())
}
