//! A declared surface touched in place of a datum; the family's weight is shared among the declared ones.

use super::super::scene::Scene;
use super::{Candidate, equal};
use crate::procedure::fault::Fault;

pub(super) fn candidates(scene: &Scene<'_>) -> Vec<Candidate> {
    let declared = scene.exercise.mistaken_surfaces.iter();
    let mistaken = declared.map(|m| Fault::MistakenSurface {
        datum: m.instead_of,
        name: m.name.clone(),
    });
    equal(mistaken.collect())
}
