//! Two neighbouring digits exchanged in one value.

use super::super::scene::Scene;
use super::super::scene::count;
use super::Candidate;
use crate::procedure::fault::Fault;
use crate::procedure::slips::before_exchange;

/// What may have stood on the line before two of its digits changed places.
pub(super) fn undo(scene: &Scene<'_>, line: usize) -> Vec<(Candidate, f64)> {
    let Some(written) = &scene.readings[line] else {
        return Vec::new();
    };
    let found = before_exchange(written, scene.exercise.decimals);
    let share = 1.0 / (count(scene.len()) * (count(found.len()) - 1.0).max(1.0));
    let fault = Fault::DigitsTransposed {
        item: scene.no(line),
        place: None,
    };
    let candidate = |(_, value)| {
        let fault = fault.clone();
        (Candidate { fault, share }, value)
    };
    found.into_iter().map(candidate).collect()
}
