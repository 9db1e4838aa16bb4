//! Whether an answer is right.

use super::draw::Bench;
use crate::exercise::geometry::wrap_half_turn;
use crate::exercise::names::Serial;
use crate::grading::diagnosis::Finding;
use crate::grading::grade::DiagnosisState;
use crate::procedure::fault::Fault;
use crate::procedure::model::PlateIndex;
use crate::units::decimal_to_f64;

/// What an answer is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Outcome {
    /// Codes and parameters stated.
    Right,
    /// Another set of the same corrections stated.
    EqualEffect,
    /// Stated, but another set.
    Wrong,
    Suspected,
    Unexplained,
    Clean,
}

/// Judges an answer to a report with these faults. `honest` is what the same pair would have written without them.
pub(super) fn judge(bench: &Bench<'_>, serial: &Serial, truth: &[Fault], honest: &[f64], finding: &Finding) -> Outcome {
    match finding.state {
        DiagnosisState::Clean | DiagnosisState::NotLookedInto => return Outcome::Clean,
        DiagnosisState::FaultSuspected => return Outcome::Suspected,
        DiagnosisState::Unexplained => return Outcome::Unexplained,
        DiagnosisState::FaultStated => {}
    }
    let stated: Vec<(&Fault, f64)> = finding.faults.iter().map(|f| (&f.fault, f.sd)).collect();
    if same_set(bench, serial, truth, &stated) {
        return Outcome::Right;
    }
    let gross = |f: &Fault| matches!(f, Fault::GrossError { .. });
    if truth.is_empty() || truth.iter().any(gross) || stated.iter().any(|(f, _)| gross(f)) {
        return Outcome::Wrong;
    }
    let Some(corrected) = finding.corrections.last() else {
        return Outcome::Wrong;
    };
    let equal = corrected.iter().zip(honest).enumerate().all(|(i, (c, h))| {
        let u = decimal_to_f64(bench.exercise.characteristics[i].u_lab);
        c.is_none_or(|c| (c - h).abs() <= u)
    });
    if equal { Outcome::EqualEffect } else { Outcome::Wrong }
}

/// Whether every true fault is stated and nothing else.
pub(super) fn same_set(bench: &Bench<'_>, serial: &Serial, truth: &[Fault], stated: &[(&Fault, f64)]) -> bool {
    let mut left: Vec<&(&Fault, f64)> = stated.iter().collect();
    for fault in truth {
        let Some(found) = left.iter().position(|(f, sd)| same(bench, serial, fault, f, *sd)) else {
            return false;
        };
        left.remove(found);
    }
    left.is_empty()
}

fn same(bench: &Bench<'_>, serial: &Serial, truth: &Fault, stated: &Fault, sd: f64) -> bool {
    use Fault::{DigitsTransposed, FrameRotated, FrameTilted, GrossError, OriginShift, Temperature, TipWrong};
    let close = |a: f64, b: f64| (a - b).abs() <= (4.0 * sd).max(amount_of_u(bench, serial, truth, a));
    match (truth, stated) {
        (OriginShift { axis: a, amount: x }, OriginShift { axis: b, amount: y }) => a == b && close(*x, *y),
        (TipWrong { amount: x }, TipWrong { amount: y })
        | (FrameRotated { angle_deg: x }, FrameRotated { angle_deg: y }) => close(*x, *y),
        (FrameTilted { about: a, angle_deg: x }, FrameTilted { about: b, angle_deg: y }) => a == b && close(*x, *y),
        (Temperature { ppm: x }, Temperature { ppm: y }) => close(*x, *y),
        (DigitsTransposed { item: a, .. }, DigitsTransposed { item: b, .. })
        | (GrossError { item: a, .. }, GrossError { item: b, .. }) => a == b,
        (a, b) => a == b || runs_alike(bench, serial, a, b),
    }
}

/// Runs whose difference is on lines that the fault does not change.
fn runs_alike(bench: &Bench<'_>, serial: &Serial, a: &Fault, b: &Fault) -> bool {
    if a.family() != b.family() {
        return false;
    }
    let Ok(plate) = bench.model.plate(serial) else {
        return false;
    };
    let values = |f: &Fault| bench.model.predict(plate, std::slice::from_ref(f)).ok();
    let step = 10.0_f64.powi(-i32::try_from(bench.exercise.decimals).unwrap_or(0));
    values(a).zip(values(b)).is_some_and(|(a, b)| {
        let near = |(a, b): (&Option<f64>, &Option<f64>)| a.zip(*b).is_none_or(|(a, b)| (a - b).abs() <= step);
        a.iter().zip(&b).all(near)
    })
}

/// The amount whose largest effect is U of the value that it moves.
fn amount_of_u(bench: &Bench<'_>, serial: &Serial, fault: &Fault, amount: f64) -> f64 {
    let Ok(plate) = bench.model.plate(serial) else {
        return 0.0;
    };
    let effects = effects(bench, plate, fault);
    let largest = effects.iter().fold(0.0_f64, |m, e| m.max(*e));
    if largest > 0.0 { amount.abs() / largest } else { 0.0 }
}

/// How much a fault alone changes each value, in U.
pub(super) fn effects(bench: &Bench<'_>, plate: PlateIndex, fault: &Fault) -> Vec<f64> {
    let values = |faults: &[Fault]| bench.model.predict(plate, faults).ok();
    let Some((with, without)) = values(std::slice::from_ref(fault)).zip(values(&[])) else {
        return Vec::new();
    };
    let lines = with.iter().zip(&without).zip(&bench.exercise.characteristics);
    lines
        .map(|((w, o), c)| w.zip(*o).map_or(0.0, |(w, o)| (w - o).abs()) / decimal_to_f64(c.u_lab))
        .collect()
}

/// Standard deviations of the values below which a fault is not asked to be told.
const IDENTIFIABLE: f64 = 10.0;

/// Whether each of the faults changes the report by enough, beside the others, to be told by name.
pub(super) fn tells(bench: &Bench<'_>, serial: &Serial, faults: &[Fault]) -> bool {
    let Ok(plate) = bench.model.plate(serial) else {
        return false;
    };
    let predict = |faults: &[Fault]| bench.model.predict(plate, faults).ok();
    let Some(all) = predict(faults) else { return false };
    (0..faults.len()).all(|left_out| {
        let others = faults.iter().enumerate().filter(|(i, _)| *i != left_out);
        let others: Vec<Fault> = others.map(|(_, f)| f.clone()).collect();
        predict(&others).is_some_and(|without| {
            let lines = all.iter().zip(&without).zip(&bench.exercise.characteristics);
            let squares = lines.map(|((a, b), c)| {
                let change = a.zip(*b).map_or(0.0, |(a, b)| a - b);
                let change = if c.of.is_angle() && change.abs() > 90.0 {
                    wrap_half_turn(change)
                } else {
                    change
                };
                (2.0 * change / decimal_to_f64(c.u_lab)).powi(2)
            });
            squares.sum::<f64>().sqrt() > IDENTIFIABLE
        })
    })
}
