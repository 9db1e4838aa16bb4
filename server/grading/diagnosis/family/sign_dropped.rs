//! One value lost or gained a minus.

use super::super::scene::Scene;
use super::super::scene::count;
use super::Candidate;
use crate::procedure::fault::Fault;

pub(super) fn undo(scene: &Scene<'_>, line: usize) -> Option<(Candidate, f64)> {
    let fault = Fault::SignDropped { item: scene.no(line) };
    let share = 1.0 / count(scene.len());
    (scene.y[line].abs() > 0.0).then(|| (Candidate { fault, share }, -scene.y[line]))
}
