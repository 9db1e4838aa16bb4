//! Values that are the print's, not the plate's: all, or one run of three or more, exactly as printed.

use super::super::scene::Scene;
use super::{Candidate, runs};
use crate::procedure::fault::Fault;

/// Fewest values of a copied run.
const SHORTEST: usize = 3;

/// Lines of a run that may have been spoilt afterwards.
const MOST_SPOILT: usize = 2;

/// The sheet as it would be if all its values were copied beside `parent`.
struct Copied {
    /// For every line, where its value is written.
    at: Vec<usize>,
    /// What would be written on every line.
    nominal: Vec<f64>,
}

impl Copied {
    fn beside(scene: &Scene<'_>, parent: &[Fault]) -> Option<Self> {
        let items = (0..scene.len()).map(|i| scene.no(i)).collect();
        let faults: Vec<Fault> = parent
            .iter()
            .cloned()
            .chain([Fault::NominalsCopied { items }])
            .collect();
        Some(Self {
            at: runs::written_at(scene, &faults),
            nominal: scene.predict(&faults)?,
        })
    }

    /// Whether the value of a line was seen, and was seen to be the nominal.
    fn exact(&self, scene: &Scene<'_>, line: usize) -> Option<bool> {
        let at = self.at[line];
        scene.seen[at].then(|| shows(scene, scene.y[at], self.nominal[at]))
    }
}

pub(super) fn candidates(scene: &Scene<'_>, parent: &[Fault]) -> Vec<Candidate> {
    let Some(copied) = Copied::beside(scene, parent) else {
        return Vec::new();
    };
    let lines: Vec<usize> = (0..scene.len()).collect();
    let exact = |i: usize| copied.exact(scene, i);
    let fits = |run: &Vec<usize>| {
        let of = |state| run.iter().filter(|i| exact(**i) == Some(state)).count();
        of(true) >= SHORTEST && of(false) <= MOST_SPOILT
    };
    let mut runs = runs::stretches(&lines, exact);
    // A value that was spoilt after it was copied may stand at either end.
    if lines.iter().filter(|i| exact(**i) == Some(false)).count() <= MOST_SPOILT {
        runs.push(lines.clone());
    }
    runs.dedup();
    runs.into_iter()
        .filter(fits)
        .map(|run| Candidate {
            share: runs::share(lines.len(), run.len() == lines.len()),
            fault: Fault::NominalsCopied {
                items: run
                    .iter()
                    .filter(|i| exact(**i).is_some())
                    .map(|i| scene.no(*i))
                    .collect(),
            },
        })
        .collect()
}

/// A copied run without its first value and without its last: either may have been measured and be the nominal by chance.
pub(super) fn shorter(scene: &Scene<'_>, fault: &Fault) -> Vec<Candidate> {
    let Fault::NominalsCopied { items } = fault else {
        return Vec::new();
    };
    if items.len() <= SHORTEST {
        return Vec::new();
    }
    [&items[1..], &items[..items.len() - 1]]
        .map(|items| Candidate {
            share: runs::share(scene.len(), false),
            fault: Fault::NominalsCopied { items: items.to_vec() },
        })
        .to_vec()
}

/// Lines of a copied run that do not show the nominal, with what they should show: something else must have happened to
/// them.
pub(super) fn spoilt(scene: &Scene<'_>, parent: &[Fault], fault: &Fault) -> Vec<(usize, f64)> {
    let Fault::NominalsCopied { items } = fault else {
        return Vec::new();
    };
    let Some(copied) = Copied::beside(scene, parent) else {
        return Vec::new();
    };
    let spoilt = |line: &usize| copied.exact(scene, *line) == Some(false);
    let lines = items.iter().filter_map(|no| scene.line_of(no)).filter(spoilt);
    lines
        .map(|line| (copied.at[line], copied.nominal[copied.at[line]]))
        .collect()
}

/// Whether a value is the nominal, to the last place of a report.
pub(in crate::grading::diagnosis) fn shows(scene: &Scene<'_>, value: f64, nominal: f64) -> bool {
    (value - nominal).abs() <= 0.501 * scene.step
}

/// The lines that a copying fault leaves without a measurement.
pub(in crate::grading::diagnosis) fn lines(scene: &Scene<'_>, fault: &Fault) -> Vec<usize> {
    match fault {
        Fault::NominalsCopied { items } => items.iter().filter_map(|no| scene.line_of(no)).collect(),
        _ => Vec::new(),
    }
}
