//! Follow-through: a mistake is charged once instead of at every number that it spoils.
//!
//! For every subset of the stated faults the values that it explains are corrected and scored again; for these a call that
//! is right for the pair's own number also earns the plate's part. A gross error is never corrected; another plate and
//! copied nominals only once the instructor has confirmed them.

use rust_decimal::Decimal;

use super::diagnosis::Finding;
use super::marks::{Followed, Scored};
use super::measurement::{self, Value};
use super::words;
use crate::exercise::model::{Exercise, MarksRules};
use crate::exercise::plate::Reference;
use crate::procedure::fault::{Family, Fault};
use crate::units::decimal_from_f64;

/// One graded line as following through needs it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row<'a> {
    pub(super) reference: Option<&'a Reference>,
    pub(super) u_lab: Decimal,
    pub(super) value: Option<Value>,
    pub(super) scored: Option<Scored>,
}

/// Whether a stated fault may be taken out. `confirmed` is whether the instructor has confirmed it.
pub(super) const fn may_be_corrected(fault: &Fault, confirmed: bool) -> bool {
    match fault {
        Fault::GrossError { .. } => false,
        Fault::WrongPlate { .. } | Fault::NominalsCopied { .. } => confirmed,
        _ => true,
    }
}

/// Bits of the faults that may be taken out; `confirmed` says for each whether the instructor has confirmed it.
fn allowed(finding: &Finding, confirmed: &[bool]) -> usize {
    let bit = |(place, fault): (usize, &super::diagnosis::Stated)| {
        if may_be_corrected(&fault.fault, confirmed.get(place) == Some(&true)) {
            1 << place
        } else {
            0
        }
    };
    finding.faults.iter().enumerate().map(bit).sum()
}

/// All ways in which stated faults may be taken out.
pub(super) fn ways(
    (exercise, rules): (&Exercise, &MarksRules),
    rows: &[Row<'_>],
    finding: &Finding,
    confirmed: &[bool],
) -> Vec<Followed> {
    let allowed = allowed(finding, confirmed);
    let taken = finding
        .corrections
        .iter()
        .enumerate()
        .filter(|(bits, _)| *bits != 0 && bits & !allowed == 0);
    taken
        .map(|(bits, corrected)| Followed {
            scored: rows
                .iter()
                .zip(corrected)
                .filter_map(|(row, value)| rescored(rules, row, *value))
                .collect(),
            charges: charges(exercise, rules, finding, bits),
        })
        .collect()
}

fn charges(exercise: &Exercise, rules: &MarksRules, finding: &Finding, bits: usize) -> Vec<(String, Decimal)> {
    let charged = finding
        .faults
        .iter()
        .enumerate()
        .filter(|(place, _)| bits >> place & 1 == 1);
    charged
        .map(|(_, stated)| {
            let clerical = stated.fault.family().is_clerical() || stated.fault.family() == Family::NominalsCopied;
            let charge = if clerical {
                rules.clerical_charge
            } else {
                rules.fault_charge
            };
            // What only instructors are told is not named on a receipt that the pair may see.
            let why = if super::feedback::is_for_instructors(stated.fault.family().code()) {
                "what the instructor has confirmed".to_owned()
            } else {
                words::title(exercise, &stated.fault)
            };
            (why, charge)
        })
        .collect()
}

fn rescored(rules: &MarksRules, row: &Row<'_>, corrected: Option<f64>) -> Option<Scored> {
    let scored = row.scored?;
    let (Some(value), Some(reference), Some(to)) = (row.value, row.reference, corrected) else {
        return Some(scored);
    };
    if to.to_bits() == value.approx.to_bits() {
        return Some(scored);
    }
    let Some(decimal) = decimal_from_f64(to) else {
        return Some(scored);
    };
    let after = measurement::measure(rules, row.u_lab, reference, &Value { decimal, approx: to });
    Some(Scored {
        measurement: after.score,
        for_plate: scored.for_plate || scored.for_own_value,
        ..scored
    })
}

/// Values with all faults taken out that may be, where that changes them.
pub(super) fn corrected(finding: &Finding, values: &[Option<f64>], confirmed: &[bool]) -> Vec<Option<f64>> {
    let Some(all) = finding.corrections.get(allowed(finding, confirmed)) else {
        return vec![None; values.len()];
    };
    let changed = |(to, from): (&Option<f64>, &Option<f64>)| {
        let (to, from) = (to.as_ref()?, from.as_ref()?);
        (to.to_bits() != from.to_bits()).then_some(*to)
    };
    all.iter().zip(values).map(changed).collect()
}
