//! A report on another plate than the pair was given: found by the serial on its label, graded against that plate, and
//! settled by the instructor.

use thiserror::Error;

use super::{Service, attention as reasons, care};
use crate::grading::review::OTHER_PLATE;
use crate::store::assignments::{self, Mine};
use crate::store::ids::{PersonId, PlateId, ReportId};
use crate::store::other_plates::{self, Settled};
use crate::store::{StoreError, attention, audit, care as plates_of_pairs};

/// Longest serial that is looked for, in characters.
const LONGEST: usize = 100;

/// The plate that a pair says it measured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Measured {
    /// Its own.
    Own,
    /// Another one of the exercise that is in service.
    Other {
        /// Which.
        plate: PlateId,
        /// Serials: measured, given.
        serials: (String, String),
    },
    /// No plate of the exercise that is in service has this serial.
    Nothing,
}

/// A serial as it is compared: a label may be read with other dashes, blanks or small letters.
fn plain(serial: &str) -> String {
    let dash = |c: char| match c {
        '\u{2010}'..='\u{2015}' | '\u{2212}' | '_' => '-',
        other => other,
    };
    let seen = serial.chars().filter(|c| !c.is_whitespace()).map(dash);
    seen.flat_map(char::to_uppercase).collect()
}

/// Finds the plate with the serial that a pair typed. A plate that is withdrawn is answered as one that is not there.
///
/// # Errors
/// When the database does not answer.
pub async fn find(service: &Service, mine: &Mine, typed: &str) -> Result<Measured, StoreError> {
    let wanted = plain(typed);
    let own = mine.serial.clone().unwrap_or_default();
    if wanted.is_empty() || wanted == plain(&own) {
        return Ok(Measured::Own);
    }
    if wanted.chars().count() > LONGEST {
        return Ok(Measured::Nothing);
    }
    let all = other_plates::in_service(&service.store, mine.assignment.exercise_revision).await?;
    let found = all.into_iter().find(|(_, serial)| plain(serial) == wanted);
    Ok(found.map_or(Measured::Nothing, |(plate, serial)| Measured::Other {
        plate,
        serials: (serial, own),
    }))
}

/// What the instructor says of a report on another plate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Say {
    /// It counts.
    Counts,
    /// It does not count, and the pair has the attempt once more.
    Not,
    /// It counts, and the pair has that plate from now on.
    Move,
    /// Nothing yet after all.
    Open,
}

/// Why it was not settled.
#[derive(Debug, Error)]
pub enum SettleError {
    /// The report is on the pair's own plate.
    #[error("this report is on the plate that the pair was given")]
    IsOwn,
    /// The plate is not given out (any more) for this assignment.
    #[error("that plate is not one that is given out for this assignment now")]
    NotGivenOut,
    /// A reason could not be written down (never so for ours).
    #[error("the reason cannot be written: {0}")]
    Unwritable(#[from] serde_json::Error),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Settles a report on another plate, and writes it to the trail.
///
/// # Errors
/// When it is not one, the pair cannot be given that plate, or the database cannot be written.
pub async fn settle(service: &Service, report: ReportId, say: Say, by: PersonId) -> Result<(), SettleError> {
    let store = &service.store;
    let other = other_plates::of(store, report).await?.ok_or(SettleError::IsOwn)?;
    let stored = crate::store::reports::one(store, report)
        .await?
        .ok_or(SettleError::IsOwn)?;
    let assignment = stored.assignment;
    if say == Say::Move {
        let given_out = care::spread(service, assignment).await?;
        if !given_out.iter().any(|(plate, _)| *plate == other.plate) {
            return Err(SettleError::NotGivenOut);
        }
    }
    let now = service.clock.now();
    let (word, settled) = match say {
        Say::Counts => ("other-plate-counts", Some(Settled::Counts)),
        Say::Not => ("other-plate-does-not-count", Some(Settled::Not)),
        Say::Move => ("pair-moved-to-plate", Some(Settled::Counts)),
        Say::Open => ("other-plate-open-again", None),
    };
    let mut tx = store.change().await?;
    other_plates::settle(&mut tx, report, settled, by, now).await?;
    if settled.is_some() {
        attention::take(&mut tx, report, OTHER_PLATE).await?;
    } else {
        attention::add(&mut tx, report, &reasons::other_plate(&other)?, now).await?;
    }
    let detail = serde_json::json!({ "measured": other.measured, "given": other.given });
    if say == Say::Move {
        plates_of_pairs::take_plate(&mut tx, assignment, other.pair, now).await?;
        assignments::give_plate(&mut tx, assignment, other.pair, other.plate, now).await?;
        let moved = serde_json::json!({ "pair": other.pair, "plate": other.plate });
        audit::note(&mut tx, ("assignment", assignment.0), "other-plate", by, now, moved).await?;
    }
    audit::note(&mut tx, ("report", report.0), word, by, now, detail).await?;
    Ok(tx.commit().await?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_is_read_as_people_write_it() {
        for (typed, same) in [
            ("SB-11-03", true),
            (" sb-11-03 ", true),
            ("SB\u{2013}11\u{2013}03", true),
            ("SB - 11 - 03", true),
            ("SB-11-30", false),
            ("", false),
        ] {
            assert_eq!(plain(typed) == plain("SB-11-03"), same, "{typed}");
        }
    }
}
