//! Proposals held against the diagnosis: the characteristic is added, reports with each mistake of the set are drawn, and
//! the proposal stands where they are told then.

use super::suspects::{amount, with_amount};
use super::tried::Bench;
use super::{Insight, Proposal, count, is_listed};
use crate::exercise::model::Exercise;
use crate::exercise::plate::Plate;
use crate::grading::decided::kind;
use crate::grading::extra::{Extended, Extra};
use crate::procedure::fault::Fault;
use crate::procedure::model::ModelError;

/// Reports for each mistake of a set, how many of a set's mistakes are tried, and the share that must be told.
const REPORTS: u32 = 20;
const MEMBERS: usize = 4;
const ENOUGH: f64 = 0.9;
/// Amounts are tried between one standard deviation of the prior and this many.
const WIDEST: f64 = 3.0;
/// Joint probability of the set's others from which the mistake is not told from them.
const BESIDE: f64 = 0.1;

/// Share of reports with one mistake of a set that are told from the others; of one alone, that are not called clean.
pub(super) fn share(bench: &Bench<'_>, fault: &Fault, set: &[Fault]) -> f64 {
    let of_report = |number: u32| {
        let fault = amount(fault).map_or_else(
            || fault.clone(),
            |sd| {
                let along = f64::from(number) / f64::from(REPORTS);
                with_amount(fault, sd * (1.0 + (WIDEST - 1.0) * along))
            },
        );
        let told = bench.told(&fault, number);
        if set.len() < 2 {
            return told.detected;
        }
        let Some((fault, finding)) = bench.answer(&fault, number) else {
            return false;
        };
        let rival = |set_of: &[Fault]| matches!(set_of, [one] if kind(one) != kind(&fault) && set.iter().any(|m| kind(m) == kind(one)));
        let beside: f64 = finding
            .others
            .iter()
            .filter(|(faults, _)| rival(faults))
            .map(|(_, p)| p)
            .sum();
        told.named && beside < BESIDE
    };
    let told = (0..REPORTS).filter(|n| of_report(*n)).count();
    count(told) / f64::from(REPORTS)
}

/// The least share of reports that are told, over the mistakes of a set.
pub(super) fn least(bench: &Bench<'_>, set: &[Fault]) -> f64 {
    let tried = set.iter().filter(|f| is_listed(f)).take(MEMBERS);
    tried.map(|fault| share(bench, fault, set)).fold(1.0, f64::min)
}

/// Diagnoses that a set takes.
fn cost(set: &[Fault]) -> u32 {
    let tried = set.iter().filter(|f| is_listed(f)).take(MEMBERS).count();
    2 * REPORTS * u32::try_from(tried).unwrap_or(u32::MAX)
}

/// Keeps of the proposals for a set the first that holds.
fn first_that_holds(
    of: (&Exercise, &[Plate]),
    set: &[Fault],
    proposals: Vec<Proposal>,
    left: &mut u32,
) -> Result<Option<Proposal>, ModelError> {
    for proposal in proposals {
        let Some(rest) = left.checked_sub(cost(set)) else {
            return Ok(None);
        };
        *left = rest;
        let extra = Extra::Feature {
            feature: proposal.feature.clone(),
            of: proposal.of,
        };
        let extended = Extended::new(of.0, std::slice::from_ref(&extra));
        let plates: Vec<Plate> = of.1.iter().map(|p| extended.plate(p)).collect();
        let bench = Bench::new(&extended.exercise, &plates, "insight mended")?;
        if least(&bench, set) >= ENOUGH {
            return Ok(Some(proposal));
        }
    }
    Ok(None)
}

/// Leaves of all proposals those that hold.
pub(super) fn proposals(
    insight: &mut Insight,
    exercise: &Exercise,
    plates: &[Plate],
    left: &mut u32,
) -> Result<(), ModelError> {
    let mut all = |set: &[Fault], add: &mut Option<Proposal>, next: &mut Vec<Proposal>| -> Result<(), ModelError> {
        let ranked = add.take().into_iter().chain(std::mem::take(next)).collect();
        *add = first_that_holds((exercise, plates), set, ranked, left)?;
        Ok(())
    };
    for set in &mut insight.confusable {
        all(&set.faults, &mut set.add, &mut set.next)?;
    }
    for one in &mut insight.unseen {
        all(std::slice::from_ref(&one.fault), &mut one.add, &mut one.next)?;
    }
    insight.first = most_named(insight);
    Ok(())
}

/// The proposal that stands at the most sets; of equal ones the first in order.
fn most_named(insight: &Insight) -> Option<Proposal> {
    let confusable = insight.confusable.iter().filter_map(|c| c.add.as_ref());
    let all: Vec<&Proposal> = confusable
        .chain(insight.unseen.iter().filter_map(|u| u.add.as_ref()))
        .collect();
    let times = |p: &Proposal| all.iter().filter(|o| **o == p).count();
    all.iter()
        .max_by(|a, b| times(a).cmp(&times(b)).then(b.cmp(a)))
        .map(|p| (*p).clone())
}
