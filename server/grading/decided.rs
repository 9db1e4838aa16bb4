//! What people add to a diagnosis: faults that the instructor confirmed or rejected, and readings that the pair was asked
//! for. A grade is computed from them as from the report, so that they are kept when it is graded again.

use serde::{Deserialize, Serialize};

use super::diagnosis::{Diagnoser, Finding};
use super::extra::Extra;
use super::grade::DiagnosisState;
use super::insight::suspects::with_amount;
use crate::exercise::names::Serial;
use crate::procedure::fault::{Fault, MOST_FAULTS};
use crate::report::model::Report;
use crate::units::Reading;

/// All of it, for one report.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Decided {
    /// One for each fault, the last word on it.
    pub decisions: Vec<Decision>,
    /// Readings beside the sheet.
    pub answers: Vec<Answer>,
}

/// Nothing of it.
pub static UNDECIDED: Decided = Decided {
    decisions: Vec::new(),
    answers: Vec::new(),
};

/// The instructor's word on one fault.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Decision {
    /// The fault. Its amount is worked out from the report unless it was given.
    pub fault: Fault,
    /// What is said of it.
    pub verdict: Verdict,
    /// Whether the amount is the instructor's own.
    pub amount_given: bool,
}

/// Confirmed or rejected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// It happened.
    Confirmed,
    /// It did not.
    Rejected,
}

/// A reading beside the sheet: evidence, and no part of the mark.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// What was read.
    pub extra: Extra,
    /// As it was typed.
    pub reading: Reading,
}

/// A fault without what a report decides: its amount, and which digits.
#[must_use]
pub fn kind(fault: &Fault) -> Fault {
    match with_amount(fault, 0.0) {
        Fault::DigitsTransposed { item, .. } => Fault::DigitsTransposed { item, place: None },
        Fault::GrossError { item, .. } => Fault::GrossError { item, amount: None },
        other => other,
    }
}

/// A finding after the decisions.
pub(super) struct Settled {
    pub(super) finding: Finding,
    /// For each fault of the finding whether the instructor has confirmed it.
    pub(super) confirmed: Vec<bool>,
    /// For each decision whether the report could follow it.
    pub(super) applied: Vec<bool>,
}

/// Lays decisions over what was found. Stated faults that are not rejected stay; what is confirmed joins them; what is
/// only suspected earns nothing until it is confirmed.
pub(super) fn settle(
    diagnoser: &Diagnoser,
    (serial, report): (&Serial, &Report),
    found: Finding,
    decisions: &[Decision],
) -> Settled {
    if decisions.is_empty() {
        return Settled {
            confirmed: vec![false; found.faults.len()],
            finding: found,
            applied: Vec::new(),
        };
    }
    let said = |fault: &Fault| {
        decisions
            .iter()
            .find(|d| kind(&d.fault) == kind(fault))
            .map(|d| d.verdict)
    };
    let confirmed: Vec<&Decision> = decisions.iter().filter(|d| d.verdict == Verdict::Confirmed).collect();
    let stated = found.state == DiagnosisState::FaultStated;
    let kept = found.faults.iter().filter(|f| stated && said(&f.fault).is_none());
    let mut set: Vec<(Fault, bool)> = confirmed.iter().map(|d| (d.fault.clone(), d.amount_given)).collect();
    set.extend(kept.map(|f| (f.fault.clone(), false)));
    set.truncate(MOST_FAULTS);
    let as_found = stated
        && set.len() == found.faults.len()
        && !set.iter().any(|(_, given)| *given)
        && found.faults.iter().all(|f| said(&f.fault) != Some(Verdict::Rejected));
    let rejected = |faults: &[Fault]| faults.iter().any(|f| said(f) == Some(Verdict::Rejected));
    let given = if as_found || set.is_empty() {
        None
    } else {
        diagnoser.given((serial, report), &set)
    };
    let possible = as_found || set.is_empty() || given.is_some();
    let applied = decisions
        .iter()
        .map(|d| d.verdict == Verdict::Rejected || possible)
        .collect();
    let mut finding = match given {
        Some(given) => over(found, given),
        None if as_found => found,
        None => without_rejected(found, &|f| said(f) == Some(Verdict::Rejected)),
    };
    finding.others.retain(|(faults, _)| !rejected(faults));
    let is_confirmed = |fault: &Fault| said(fault) == Some(Verdict::Confirmed);
    Settled {
        confirmed: finding.faults.iter().map(|f| is_confirmed(&f.fault)).collect(),
        applied,
        finding,
    }
}

/// What is decided in place of what was found, which goes to the others.
fn over(found: Finding, mut given: Finding) -> Finding {
    let before: Vec<Fault> = found.faults.iter().map(|f| f.fault.clone()).collect();
    let same = |a: &[Fault], b: &[Fault]| a.len() == b.len() && a.iter().all(|f| b.iter().any(|g| kind(f) == kind(g)));
    let now: Vec<Fault> = given.faults.iter().map(|f| f.fault.clone()).collect();
    if let (false, Some(p)) = (before.is_empty() || same(&before, &now), found.probability) {
        given.others.push((before, p));
    }
    given
        .others
        .extend(found.others.into_iter().filter(|(faults, _)| !same(faults, &now)));
    given
}

fn without_rejected(mut found: Finding, rejected: &dyn Fn(&Fault) -> bool) -> Finding {
    let before = found.faults.len();
    found.faults.retain(|f| !rejected(&f.fault));
    if found.faults.len() < before {
        found.corrections.clear();
        found.state = if found.faults.is_empty() {
            DiagnosisState::Unexplained
        } else {
            DiagnosisState::FaultSuspected
        };
    }
    found
}
