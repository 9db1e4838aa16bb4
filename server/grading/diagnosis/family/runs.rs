//! Runs of values as they stand on the sheet.

use super::super::scene::Scene;
use crate::procedure::fault::Fault;

/// For every line, where its value is written by these faults: exchanged features and columns carry it elsewhere.
pub(super) fn written_at(scene: &Scene<'_>, faults: &[Fault]) -> Vec<usize> {
    let mut at: Vec<usize> = (0..scene.len()).collect();
    if let Ok(edit) = scene.model.edit(faults) {
        for (line, carrier) in scene.model.carriers(&edit).iter().enumerate() {
            at[carrier.line] = line;
        }
    }
    at
}

/// All runs from the start of one stretch of marked lines to the end of the same or a later one. `marked` says for each
/// of `lines` whether the fault would explain it; `None` is a line that says nothing either way.
pub(super) fn stretches(lines: &[usize], marked: impl Fn(usize) -> Option<bool>) -> Vec<Vec<usize>> {
    let mut ends: Vec<(usize, usize)> = Vec::new();
    let mut open = false;
    for (place, line) in lines.iter().enumerate() {
        match marked(*line) {
            Some(true) if open => {
                if let Some(last) = ends.last_mut() {
                    last.1 = place;
                }
            }
            Some(true) => {
                ends.push((place, place));
                open = true;
            }
            Some(false) => open = false,
            None => {}
        }
    }
    // Many stretches are no runs: only the longest are looked at.
    ends.sort_by_key(|(from, to)| from.abs_diff(*to));
    let mut ends = ends.split_off(ends.len().saturating_sub(MOST));
    ends.sort_unstable();
    let mut runs = Vec::new();
    for (i, (from, _)) in ends.iter().enumerate() {
        for (_, to) in &ends[i..] {
            runs.push(lines[*from..=*to].to_vec());
        }
    }
    runs
}

/// Most stretches that are combined.
const MOST: usize = 5;

/// Share of one run, and of all at once, where `length` values of the kind stand on the sheet.
pub(super) fn share(length: usize, all: bool) -> f64 {
    let runs = length * (length + 1) / 2;
    if all || runs < 2 {
        0.5
    } else {
        0.5 / super::super::scene::count(runs - 1)
    }
}

/// Whether `other` is nearer to what is written than `usual` is, by more than an honest pair's noise.
pub(super) fn nearer(scene: &Scene<'_>, line: usize, other: f64, usual: f64) -> bool {
    let off = |predicted| scene.difference(line, scene.y[line], predicted).abs();
    off(other) + scene.u[line] < off(usual)
}
