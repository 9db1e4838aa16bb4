//! One value off by a power of ten.

use super::super::scene::Scene;
use super::super::scene::count;
use super::Candidate;
use crate::procedure::fault::Fault;

/// Powers of ten by which a written value is too large, with their shares (our own judgement).
const POWERS: [(i32, f64); 6] = [(1, 0.3), (-1, 0.3), (2, 0.12), (-2, 0.12), (3, 0.08), (-3, 0.08)];

/// Share of slips after which the digits were changed.
const ODD: f64 = 0.02;

pub(super) fn undo(scene: &Scene<'_>, line: usize) -> Vec<(Candidate, f64)> {
    let candidate = |(power, share): (i32, f64)| {
        let fault = Fault::DecimalSlipped {
            item: scene.no(line),
            power,
        };
        let share = share / count(scene.len()) * digits_kept(scene, line, power);
        (Candidate { fault, share }, scene.y[line] * 10.0_f64.powi(-power))
    };
    POWERS.into_iter().map(candidate).collect()
}

/// Digits are kept: a value that is too large ends in as many zeros at the report's last place. Where it does not,
/// somebody may still have filled places up.
fn digits_kept(scene: &Scene<'_>, line: usize, power: i32) -> f64 {
    if power < 0 || scene.ends_at(line, power) {
        1.0
    } else {
        ODD
    }
}
