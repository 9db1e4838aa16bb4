//! Deviations written in place of values: all, or one run as they stand on the sheet. Where the nominal is 0 nothing
//! changes, and such lines are not listed.

use super::super::scene::Scene;
use super::{Candidate, runs};
use crate::procedure::fault::Fault;

pub(super) fn candidates(scene: &Scene<'_>, parent: &[Fault], predicted: &[f64]) -> Vec<Candidate> {
    let lines: Vec<usize> = (0..scene.len()).filter(|i| scene.nominal[*i].abs() > 0.0).collect();
    let fault = |lines: &[usize]| Fault::DeviationForValue {
        items: lines.iter().map(|i| scene.no(*i)).collect(),
    };
    let with_all: Vec<Fault> = parent.iter().cloned().chain([fault(&lines)]).collect();
    let Some(all) = scene.predict(&with_all) else {
        return Vec::new();
    };
    let at = runs::written_at(scene, &with_all);
    let marked = |i: usize| scene.seen[at[i]].then(|| runs::nearer(scene, at[i], all[at[i]], predicted[at[i]]));
    runs::stretches(&lines, marked)
        .into_iter()
        .map(|run| Candidate {
            share: runs::share(lines.len(), run.len() == lines.len()),
            fault: fault(&run),
        })
        .collect()
}
