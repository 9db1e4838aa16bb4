//! Radii written as diameters: all of them, or one run as they stand on the sheet.

use super::super::scene::Scene;
use super::{Candidate, runs};
use crate::exercise::model::Quantity;
use crate::procedure::fault::Fault;

pub(super) fn candidates(scene: &Scene<'_>, parent: &[Fault], predicted: &[f64]) -> Vec<Candidate> {
    let is_diameter = |i: &usize| scene.exercise.characteristics[*i].of == Quantity::Diameter;
    let diameters: Vec<usize> = (0..scene.len()).filter(is_diameter).collect();
    let halved = |lines: &[usize]| Fault::RadiusForDiameter {
        items: lines.iter().map(|i| scene.no(*i)).collect(),
    };
    let with_all: Vec<Fault> = parent.iter().cloned().chain([halved(&diameters)]).collect();
    let Some(all) = scene.predict(&with_all) else {
        return Vec::new();
    };
    let at = runs::written_at(scene, &with_all);
    let marked = |i: usize| scene.seen[at[i]].then(|| runs::nearer(scene, at[i], all[at[i]], predicted[at[i]]));
    runs::stretches(&diameters, marked)
        .into_iter()
        .map(|lines| Candidate {
            share: runs::share(diameters.len(), lines.len() == diameters.len()),
            fault: halved(&lines),
        })
        .collect()
}
