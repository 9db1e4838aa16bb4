//! One value wrong for no reason the model knows: named, never corrected or charged. Its size is log-uniform.

use super::super::scene::Scene;
use super::super::scene::count;
use super::Candidate;
use crate::procedure::fault::Fault;

pub(super) fn candidate(scene: &Scene<'_>, line: usize) -> Candidate {
    Candidate {
        fault: Fault::GrossError {
            item: scene.no(line),
            amount: None,
        },
        share: 1.0 / count(scene.len()),
    }
}

/// Logarithm of the density of a gross error of this amount on a line, `None` where none has this size. A tenth more at
/// either end leaves room for the noise of the value.
pub(in crate::grading::diagnosis) fn log_density(scene: &Scene<'_>, line: usize, amount: f64) -> Option<f64> {
    let u = scene.u[line];
    let (millimetres, times) = scene.priors.gross_to;
    let (from, to) = (scene.priors.gross_from * u, (millimetres * scene.mm).max(times * u));
    let size = amount.abs();
    let inside = from > 0.0 && to > from && size >= 0.9 * from && size <= 1.1 * to;
    inside.then(|| -(2.0 * (to / from).ln() * size).ln())
}
