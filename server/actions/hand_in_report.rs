//! Takes a pair's report: stores it durably, then grades it.
//!
//! The same submission sent twice (a double tap, a retry over a bad network, both partners' devices with the same
//! numbers) is one report. Other numbers under an attempt that was handed in meanwhile are not stored over it. Nor are
//! remarks or a set-up record that the report does not have: whoever sent them is told.

use std::time::Duration;

use rand::TryRng;
use rand::rngs::SysRng;
use sha2::{Digest, Sha256};
use thiserror::Error;

use super::Service;
use super::basis::Of;
use super::fresh::{self, Fresh};
use super::grade_report::grade_first;
use super::other_plate::{self, Measured};
use crate::report::model::Report;
use crate::report::remarks::has_all_lines_of;
use crate::report::setup_record::SetUp;
use crate::store::StoreError;
use crate::store::assignments::Mine;
use crate::store::grades;
use crate::store::ids::{PersonId, ReportId};
use crate::store::other_plates::Said;
use crate::store::packed::Packed;
use crate::store::reports::{self, NewReport, Note, SourceKind, Stored};
use crate::store::writer::Waits;
use crate::units::hex;

/// How long the answer waits for the grade; grading goes on after that.
const PATIENCE: Duration = Duration::from_secs(5);

/// What a person hands in.
#[derive(Debug, Clone)]
pub struct HandIn<'a> {
    /// The student's assignment, pair and plate.
    pub mine: &'a Mine,
    /// Who hands in.
    pub person: PersonId,
    /// The attempt that the form was for: one more than were handed in when it was shown.
    pub attempt: i64,
    /// Key of the submission ([`new_key`] of the form, or one that a program chose).
    pub key: &'a str,
    /// The numbers.
    pub report: &'a Report,
    /// How it came in.
    pub source_kind: SourceKind,
    /// File name, where it was a file.
    pub source_name: Option<&'a str>,
    /// The bytes as they came.
    pub source_bytes: Vec<u8>,
    /// What the pair says beside its numbers.
    pub note: Note,
    /// Serial of the plate that was measured, as typed; empty: the pair's own.
    pub plate: &'a str,
}

/// A report that is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HandedIn {
    /// Its row.
    pub report: ReportId,
    /// Whether it was here before this submission.
    pub already: bool,
    /// Whether the grade is there too.
    pub graded: bool,
}

/// What was sent beside numbers that were handed in before, and is not in that report.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct NotInIt {
    /// Remarks.
    pub remarks: bool,
    /// Something of the set-up record.
    pub set_up: bool,
}

/// Why a report was not taken.
#[derive(Debug, Error)]
pub enum HandInError {
    /// The assignment has not opened.
    #[error("the assignment has not opened yet")]
    NotOpen,
    /// The pair has no plate.
    #[error("the pair has no plate for this assignment")]
    NoPlate,
    /// The serial is not one of a plate of this exercise that is in service.
    #[error("there is no plate in use with this serial number")]
    NoSuchPlate,
    /// No value at all.
    #[error("no value is filled in")]
    Empty,
    /// Other numbers were handed in for this attempt meanwhile.
    #[error("other numbers were handed in for this attempt")]
    AttemptTaken {
        /// The report that was.
        report: ReportId,
    },
    /// The same numbers were handed in for this attempt meanwhile, without something that is said beside them now.
    #[error("the same numbers were handed in for this attempt with other remarks or another set-up record")]
    OtherWords {
        /// The report that was.
        report: ReportId,
        /// What it does not have.
        not_in_it: NotInIt,
    },
    /// All attempts are used.
    #[error("all attempts are used")]
    NoAttemptLeft,
    /// The form was for an attempt that does not come next.
    #[error("the form is for another attempt")]
    OutOfTurn,
    /// What was handed in cannot be written down (never so for a report of ours).
    #[error("the report cannot be stored: {0}")]
    Items(#[from] serde_json::Error),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// A key for one form, so that sending it twice is one report.
///
/// # Errors
/// When the system gives no random numbers.
pub fn new_key() -> Result<String, rand::rngs::SysError> {
    let mut bytes = [0_u8; 16];
    SysRng.try_fill_bytes(&mut bytes)?;
    Ok(hex(&bytes))
}

/// Stores a report and grades it. When this returns, the report is on the disk.
///
/// # Errors
/// When a rule forbids it or it could not be stored; then it is not.
pub async fn hand_in_report(service: &Service, hand_in: HandIn<'_>) -> Result<HandedIn, HandInError> {
    let numbers = hand_in.report.clone();
    let new = checked(service, hand_in).await?;
    let of = Of {
        assignment: new.assignment,
        pair: new.pair,
        plate: new.plate,
    };
    let set_up = new.note.set_up.as_deref().map(serde_json::from_str).transpose()?;
    let (report, waits) = keep(service, new).await?;
    let already = waits.is_none();
    let graded = match waits {
        None => graded_at_last(service, report).await?,
        Some(waits) => {
            let fresh = Fresh {
                report,
                of,
                items: numbers,
                set_up,
                waits,
            };
            graded_in_time(service, fresh).await
        }
    };
    Ok(HandedIn {
        report,
        already,
        graded,
    })
}

/// Stores a report without grading it: its row, and whether it was here before. When this returns, it is on the disk.
///
/// # Errors
/// When a rule forbids it or it could not be stored; then it is not.
pub async fn accept(service: &Service, hand_in: HandIn<'_>) -> Result<(ReportId, bool), HandInError> {
    let (report, waits) = keep(service, checked(service, hand_in).await?).await?;
    Ok((report, waits.is_none()))
}

/// Its row and, where it is new, that it waits for its grade.
async fn keep(service: &Service, new: NewReport) -> Result<(ReportId, Option<Waits>), HandInError> {
    let (attempt, allowed, note) = (new.attempt, new.attempts_allowed, new.note.clone());
    let kept = service.store.writer().hand_in(new).await?;
    match kept.stored {
        Stored::New(report) => Ok((report, kept.waits)),
        Stored::Same(report) => {
            let not_in_it = not_in(&reports::note(&service.store, report).await?, &note)?;
            if not_in_it == NotInIt::default() {
                Ok((report, None))
            } else {
                Err(HandInError::OtherWords { report, not_in_it })
            }
        }
        Stored::AttemptTaken(report) => Err(HandInError::AttemptTaken { report }),
        Stored::NoSuchAttempt if attempt > allowed => Err(HandInError::NoAttemptLeft),
        Stored::NoSuchAttempt => Err(HandInError::OutOfTurn),
    }
}

/// What a note says that the one of a report does not.
fn not_in(report: &Note, sent: &Note) -> Result<NotInIt, serde_json::Error> {
    let text = |note: &Note| note.remarks.clone().unwrap_or_default();
    let set_up = |note: &Note| -> Result<SetUp, serde_json::Error> {
        Ok(note
            .set_up
            .as_deref()
            .map(serde_json::from_str)
            .transpose()?
            .unwrap_or_default())
    };
    Ok(NotInIt {
        remarks: !has_all_lines_of(&text(report), &text(sent)),
        set_up: !set_up(report)?.says_all_of(&set_up(sent)?),
    })
}

async fn checked(service: &Service, hand_in: HandIn<'_>) -> Result<NewReport, HandInError> {
    let now = service.clock.now();
    let mine = hand_in.mine;
    if mine.assignment.opens_at > now {
        return Err(HandInError::NotOpen);
    }
    let given = mine.plate.ok_or(HandInError::NoPlate)?;
    if hand_in.report.items.iter().all(|item| item.measured.is_none()) {
        return Err(HandInError::Empty);
    }
    // Last of all, so that nobody finds out which serials there are without handing in.
    let (plate, other_plate) = match other_plate::find(service, mine, hand_in.plate).await? {
        Measured::Own => (given, None),
        Measured::Other { plate, serials } => (plate, Some(Said { given, serials })),
        Measured::Nothing => return Err(HandInError::NoSuchPlate),
    };
    let items = serde_json::to_string(hand_in.report)?;
    let mut items_sha256 = Sha256::new_with_prefix(items.as_bytes());
    if other_plate.is_some() {
        // The same numbers of two plates are two reports.
        items_sha256.update(plate.0.to_le_bytes());
    }
    let bound = format!("{}/{}/{}", mine.assignment.id, mine.pair, hand_in.key);
    let mut idempotency_key: [u8; 32] = Sha256::digest(bound.as_bytes()).into();
    // Those of one assignment, which are handed in at one time, lie together in the index: fewer pages are written.
    idempotency_key[..8].copy_from_slice(&mine.assignment.id.0.to_be_bytes());
    Ok(NewReport {
        assignment: mine.assignment.id,
        pair: mine.pair,
        plate,
        attempt: hand_in.attempt,
        attempts_allowed: mine.assignment.attempts,
        person: hand_in.person,
        // Never before the pair was together, should the clock have been set back since: it would not be everybody's.
        handed_in_at: now.max(mine.since),
        idempotency_key,
        items_sha256: items_sha256.finalize().into(),
        items: Packed::of_json(&items)?,
        source_kind: hand_in.source_kind,
        source_name: hand_in.source_name.map(|name| name.chars().take(200).collect()),
        source_sha256: Sha256::digest(&hand_in.source_bytes).into(),
        source_bytes: hand_in.source_bytes,
        note: hand_in.note,
        other_plate,
    })
}

/// Whoever handed the report in before may have been cut off before it was graded. It is graded from what is stored, which may say more
/// than what was sent now.
async fn graded_at_last(service: &Service, report: ReportId) -> Result<bool, StoreError> {
    if grades::of(&service.store, report).await?.is_some() {
        return Ok(true);
    }
    let of_task = service.clone();
    let graded = tokio::spawn(async move { grade_first(&of_task, report).await });
    Ok(match tokio::time::timeout(PATIENCE, graded).await {
        Ok(Ok(Ok(()))) => true,
        Ok(Ok(Err(error))) => {
            tracing::error!(%error, report = report.0, "a report could not be graded");
            service.behind.notice();
            false
        }
        Ok(Err(_)) | Err(_) => false,
    })
}

/// Grading goes on when nobody waits for it any more. A grade that fails is made later (`super::behind`).
async fn graded_in_time(service: &Service, fresh: Fresh) -> bool {
    let graded = fresh::soon(service, fresh);
    matches!(tokio::time::timeout(PATIENCE, graded).await, Ok(Ok(true)))
}
