//! Adaptation: what the pair would have reported without the faults.

use super::assess::Assessed;
use super::scene::Scene;

/// Values with all faults of the set taken out, in sheet order; `None` where there is no measurement to correct.
///
/// What is written on a line is what was measured on the line that its carrier names, times the carrier's factor; what
/// the prediction leaves over belongs to that line's own value.
pub(super) fn corrected(scene: &Scene<'_>, set: &Assessed) -> Vec<Option<f64>> {
    let mut values = vec![None; scene.len()];
    for line in scene.lines().filter(|i| !set.dropped[*i]) {
        let carrier = set.carriers[line];
        if carrier.factor.abs() > 0.0 {
            let left = scene.difference(line, set.values[line], set.predicted[line]) / carrier.factor;
            values[carrier.line] = Some(scene.base[carrier.line] + left);
        }
    }
    values
}

/// Values as they would stand on the sheet with only `kept` of the set's faults (by place) left in: what the rest
/// explains is taken out. A line that the rest does not change stays exactly as written.
pub(super) fn without(scene: &Scene<'_>, set: &Assessed, kept: &[bool]) -> Vec<Option<f64>> {
    let faults: Vec<_> = set
        .picks
        .iter()
        .zip(&set.faults)
        .zip(kept)
        .filter(|((pick, _), kept)| **kept && pick.is_predicted())
        .map(|((_, fault), _)| fault.clone())
        .collect();
    let as_written = || (0..scene.len()).map(|i| scene.readings[i].as_ref().map(|_| scene.y[i]));
    let Some(predicted) = scene.predict(&faults) else {
        return as_written().collect();
    };
    let Ok(edit) = scene.model.edit(&faults) else {
        return as_written().collect();
    };
    let carriers = scene.model.carriers(&edit);
    let own = corrected(scene, set);
    let struck = |line: usize| {
        let mut picks = set.picks.iter().zip(kept);
        picks.any(|(p, kept)| *kept && (p.undone.is_some_and(|u| u.0 == line) || p.dropped.contains(&line)))
    };
    let undone = |line: usize| {
        let mut picks = set.picks.iter().zip(kept);
        picks.any(|(p, kept)| !*kept && p.undone.is_some_and(|u| u.0 == line))
    };
    let value = |(line, written): (usize, Option<f64>)| {
        let carrier = carriers[line];
        if struck(line) || !scene.seen[line] && written.is_some() {
            return written;
        }
        if carrier.is_copied() {
            return Some(predicted[line]);
        }
        let same_source = set.carriers[line] == carrier;
        let unmoved = (predicted[line] - set.predicted[line]).abs() <= 1e-9 * scene.step.max(predicted[line].abs());
        if same_source && unmoved && !undone(line) {
            return written;
        }
        own[carrier.line].map(|v| predicted[line] + carrier.factor * (v - scene.base[carrier.line]))
    };
    as_written().enumerate().map(value).collect()
}
