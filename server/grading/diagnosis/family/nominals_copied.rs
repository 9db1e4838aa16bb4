//! Values that are the print's, not the plate's: all, or one run of three or more, exactly as printed.

use super::super::scene::Scene;
use super::{Candidate, runs};
use crate::procedure::fault::Fault;

/// Fewest values of a copied run.
const SHORTEST: usize = 3;

/// Lines of a run that may have been spoilt afterwards.
const MOST_SPOILT: usize = 2;

pub(super) fn candidates(scene: &Scene<'_>) -> Vec<Candidate> {
    let lines: Vec<usize> = (0..scene.len()).collect();
    let exact = |i: usize| scene.seen[i].then(|| is_nominal(scene, i));
    let fits = |run: &Vec<usize>| {
        let of = |state| run.iter().filter(|i| exact(**i) == Some(state)).count();
        of(true) >= SHORTEST && of(false) <= MOST_SPOILT
    };
    let mut runs = runs::stretches(&lines, exact);
    // A value that was spoilt after it was copied may stand at either end.
    let seen: Vec<usize> = scene.lines().collect();
    if seen.iter().filter(|i| exact(**i) == Some(false)).count() <= MOST_SPOILT {
        runs.push(lines.clone());
    }
    runs.dedup();
    runs.into_iter()
        .filter(fits)
        .map(|run| Candidate {
            share: runs::share(lines.len(), run.len() == lines.len()),
            fault: Fault::NominalsCopied {
                items: run.iter().filter(|i| scene.seen[**i]).map(|i| scene.no(*i)).collect(),
            },
        })
        .collect()
}

/// Lines of a copied run that do not show the nominal: something else must have happened to them.
pub(super) fn spoilt(scene: &Scene<'_>, lines: &[usize]) -> Vec<usize> {
    lines
        .iter()
        .copied()
        .filter(|i| scene.seen[*i] && !is_nominal(scene, *i))
        .collect()
}

/// Whether a value is the nominal, to the last place of a report.
pub(in crate::grading::diagnosis) fn shows(scene: &Scene<'_>, line: usize, value: f64) -> bool {
    (value - scene.nominal[line]).abs() <= 0.501 * scene.step
}

/// The lines that a copying fault leaves without a measurement.
pub(super) fn lines(scene: &Scene<'_>, fault: &Fault) -> Vec<usize> {
    match fault {
        Fault::NominalsCopied { items } => items.iter().filter_map(|no| scene.line_of(no)).collect(),
        _ => Vec::new(),
    }
}

fn is_nominal(scene: &Scene<'_>, line: usize) -> bool {
    shows(scene, line, scene.y[line])
}
