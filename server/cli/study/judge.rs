//! Whether an answer is right, and whether it could be.

use super::draw::Bench;
use crate::exercise::geometry::wrap_half_turn;
use crate::exercise::names::{BalloonNo, Serial};
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
    /// A set of the same effect stated, and the true one named beside it.
    EqualEffect,
    /// Suspected together with sets that predict the same values but would be corrected differently, all of them named,
    /// with a joint probability from which sets are stated.
    NamedTogether,
    /// Stated, but another set.
    Wrong,
    Suspected,
    Unexplained,
    Clean,
}

/// What an answer is held against.
pub(super) struct Truth<'c> {
    pub(super) serial: &'c Serial,
    pub(super) faults: &'c [Fault],
    /// What the same pair would have written without the faults, not rounded.
    pub(super) honest: &'c [f64],
    /// For each fault whether it changed the report by enough to be told.
    pub(super) told: &'c [bool],
}

/// Judges an answer to a report with these faults. Faults below the identifiable size need not be named, and may be.
pub(super) fn judge(bench: &Bench<'_>, truth: &Truth<'_>, finding: &Finding) -> Outcome {
    let stated: Vec<(&Fault, f64)> = finding.faults.iter().map(|f| (&f.fault, f.sd)).collect();
    match finding.state {
        DiagnosisState::Clean | DiagnosisState::NotLookedInto => Outcome::Clean,
        DiagnosisState::Unexplained => Outcome::Unexplained,
        DiagnosisState::FaultSuspected => {
            let joint = finding.probability.is_some_and(|p| p >= bench.priors.stated);
            let among = same_set(bench, truth, &stated) || named(bench, truth, finding);
            if joint && among && !truth.faults.is_empty() {
                Outcome::NamedTogether
            } else {
                Outcome::Suspected
            }
        }
        DiagnosisState::FaultStated if same_set(bench, truth, &stated) => Outcome::Right,
        DiagnosisState::FaultStated if named(bench, truth, finding) && same_effect(bench, truth, finding) => {
            Outcome::EqualEffect
        }
        DiagnosisState::FaultStated => Outcome::Wrong,
    }
}

/// Whether the true set is among the alternatives.
fn named(bench: &Bench<'_>, truth: &Truth<'_>, finding: &Finding) -> bool {
    finding.others.iter().any(|(set, _)| {
        let set: Vec<(&Fault, f64)> = set.iter().map(|f| (f, 0.0)).collect();
        same_set(bench, truth, &set)
    })
}

/// Whether the stated set predicts the same values as the true one within half of U, or corrects them to what the pair
/// would have written.
fn same_effect(bench: &Bench<'_>, truth: &Truth<'_>, finding: &Finding) -> bool {
    let gross = |f: &Fault| matches!(f, Fault::GrossError { .. });
    let faults: Vec<Fault> = finding.faults.iter().map(|f| f.fault.clone()).collect();
    if truth.faults.iter().chain(&faults).any(gross) {
        return false;
    }
    let Ok(plate) = bench.model.plate(truth.serial) else {
        return false;
    };
    let predict = |faults: &[Fault]| bench.model.predict(plate, faults).unwrap_or_default();
    let (a, b) = (predict(truth.faults), predict(&faults));
    let corrected = finding.corrections.last();
    bench.exercise.characteristics.iter().enumerate().all(|(i, c)| {
        let u = decimal_to_f64(c.u_lab);
        let at = |values: &[Option<f64>]| values.get(i).copied().flatten();
        let predicted = at(&a).zip(at(&b)).is_none_or(|(a, b)| (a - b).abs() <= u / 2.0);
        let put_right = corrected.and_then(|c| at(c)).zip(truth.honest.get(i));
        predicted || put_right.is_some_and(|(c, h)| (c - h).abs() <= u)
    })
}

/// Whether every true fault that can be told is stated, and nothing that is not true.
pub(super) fn same_set(bench: &Bench<'_>, truth: &Truth<'_>, stated: &[(&Fault, f64)]) -> bool {
    let mut left: Vec<&(&Fault, f64)> = stated.iter().collect();
    for place in 0..truth.faults.len() {
        match left.iter().position(|(f, sd)| same(bench, truth, place, f, *sd)) {
            Some(found) => {
                left.remove(found);
            }
            None if truth.told.get(place) == Some(&true) => return false,
            None => {}
        }
    }
    left.is_empty()
}

fn same(bench: &Bench<'_>, truth: &Truth<'_>, place: usize, stated: &Fault, sd: f64) -> bool {
    use Fault::{
        DeviationForValue, DigitsTransposed, FrameRotated, FrameTilted, GrossError, NominalsCopied, OriginShift,
        RadiusForDiameter, Temperature, TipWrong,
    };
    let Some(fault) = truth.faults.get(place) else {
        return false;
    };
    let close = |a: f64, b: f64| (a - b).abs() <= (4.0 * sd).max(amount_of_u(bench, truth.serial, fault, a));
    match (fault, stated) {
        (OriginShift { axis: a, amount: x }, OriginShift { axis: b, amount: y }) => a == b && close(*x, *y),
        (TipWrong { amount: x }, TipWrong { amount: y })
        | (FrameRotated { angle_deg: x }, FrameRotated { angle_deg: y }) => close(*x, *y),
        (FrameTilted { about: a, angle_deg: x }, FrameTilted { about: b, angle_deg: y }) => a == b && close(*x, *y),
        (Temperature { ppm: x }, Temperature { ppm: y }) => close(*x, *y),
        (DigitsTransposed { item: a, .. }, DigitsTransposed { item: b, .. })
        | (GrossError { item: a, .. }, GrossError { item: b, .. }) => a == b,
        (RadiusForDiameter { .. }, RadiusForDiameter { .. })
        | (DeviationForValue { .. }, DeviationForValue { .. })
        | (NominalsCopied { .. }, NominalsCopied { .. }) => runs_alike(bench, truth, place, stated),
        (a, b) => a == b,
    }
}

/// Runs whose difference is on lines that the fault does not change beside the others.
fn runs_alike(bench: &Bench<'_>, truth: &Truth<'_>, place: usize, stated: &Fault) -> bool {
    let Ok(plate) = bench.model.plate(truth.serial) else {
        return false;
    };
    let mut other = truth.faults.to_vec();
    if let Some(fault) = other.get_mut(place) {
        *fault = stated.clone();
    }
    let values = |faults: &[Fault]| bench.model.predict(plate, faults).ok();
    let step = 10.0_f64.powi(-i32::try_from(bench.exercise.decimals).unwrap_or(0));
    values(truth.faults).zip(values(&other)).is_some_and(|(a, b)| {
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
fn effects(bench: &Bench<'_>, plate: PlateIndex, fault: &Fault) -> Vec<f64> {
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
pub(super) const IDENTIFIABLE: f64 = 10.0;

/// Whether each of the faults changes the report by enough, beside the others, to be told by name.
pub(super) fn tells(bench: &Bench<'_>, serial: &Serial, faults: &[Fault]) -> bool {
    let item = |f: &Fault| match f {
        Fault::DigitsTransposed { item, .. }
        | Fault::DecimalSlipped { item, .. }
        | Fault::SignDropped { item }
        | Fault::GrossError { item, .. } => Some(item.clone()),
        _ => None,
    };
    let items: Vec<_> = faults.iter().filter_map(item).collect();
    // What two slips make of one value is nobody's to tell.
    let twice = (1..items.len()).any(|i| items[..i].contains(&items[i]));
    !twice && (0..faults.len()).all(|place| told(bench, serial, faults, place))
}

/// The number that a slip of writing spoils.
pub(super) const fn slipped_item(fault: &Fault) -> Option<&BalloonNo> {
    match fault {
        Fault::DigitsTransposed { item, .. } | Fault::DecimalSlipped { item, .. } | Fault::SignDropped { item } => {
            Some(item)
        }
        _ => None,
    }
}

/// Whether one fault changes the report by enough, beside the others at whatever free amounts, to be told by name: the
/// length of the change, in standard deviations of the values, across what the others' amounts could take up. Slips of the
/// others stay out: which digits they spoil hangs on every small change.
pub(super) fn told(bench: &Bench<'_>, serial: &Serial, faults: &[Fault], place: usize) -> bool {
    let kept = |i: usize, f: &Fault| i == place || slipped_item(f).is_none();
    let before = faults.iter().take(place).filter(|f| slipped_item(f).is_none()).count();
    let without: Vec<Fault> = faults
        .iter()
        .enumerate()
        .filter(|(i, f)| kept(*i, f))
        .map(|(_, f)| f.clone())
        .collect();
    across_others(bench, serial, &without, before)
}

fn across_others(bench: &Bench<'_>, serial: &Serial, faults: &[Fault], place: usize) -> bool {
    let Ok(plate) = bench.model.plate(serial) else {
        return false;
    };
    let Ok(edit) = bench.model.edit(faults) else {
        return false;
    };
    let carriers = bench.model.carriers(&edit);
    let step = 10.0_f64.powi(-i32::try_from(bench.exercise.decimals).unwrap_or(0));
    let all = &bench.exercise.characteristics;
    let sd = |i: usize| {
        let own = carriers[i].factor * decimal_to_f64(all[carriers[i].line].u_lab) / 2.0;
        own.hypot(step / 12.0_f64.sqrt())
    };
    let predict = |faults: &[Fault]| bench.model.predict(plate, faults).ok();
    let Some(with) = predict(faults) else { return false };
    let change = |other: &[Fault]| -> Option<Vec<f64>> {
        let other = predict(other)?;
        let of = |i: usize| {
            let change = with[i].zip(other[i]).map_or(0.0, |(a, b)| a - b);
            let turned = all[i].of.is_angle() && change.abs() > 90.0;
            (if turned { wrap_half_turn(change) } else { change }) / sd(i)
        };
        Some((0..with.len()).map(of).collect())
    };
    let others = faults.iter().enumerate().filter(|(i, _)| *i != place);
    let others: Vec<Fault> = others.map(|(_, f)| f.clone()).collect();
    let Some(mut own) = change(&others) else { return false };
    let mut taken: Vec<Vec<f64>> = Vec::new();
    for (i, fault) in faults.iter().enumerate().filter(|(i, _)| *i != place) {
        let Some(moved) = bench.moved(fault) else { continue };
        let mut other = faults.to_vec();
        other[i] = moved;
        let Some(mut slope) = change(&other) else { return false };
        for t in &taken {
            take_out(&mut slope, t);
        }
        let length = slope.iter().map(|s| s * s).sum::<f64>().sqrt();
        if length > 0.0 {
            taken.push(slope.iter().map(|s| s / length).collect());
        }
    }
    for t in &taken {
        take_out(&mut own, t);
    }
    own.iter().map(|s| s * s).sum::<f64>().sqrt() > IDENTIFIABLE
}

/// Takes the part along a unit vector out.
fn take_out(of: &mut [f64], unit: &[f64]) {
    let along: f64 = of.iter().zip(unit).map(|(a, b)| a * b).sum();
    for (a, b) in of.iter_mut().zip(unit) {
        *a -= along * b;
    }
}
