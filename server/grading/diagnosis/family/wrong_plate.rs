//! The values fit another serial of the exercise.

use super::super::scene::Scene;
use super::{Candidate, equal};
use crate::procedure::fault::Fault;

pub(super) fn candidates(scene: &Scene<'_>) -> Vec<Candidate> {
    let others = scene.serials.iter().filter(|s| *s != scene.serial);
    equal(
        others
            .map(|serial| Fault::WrongPlate { serial: serial.clone() })
            .collect(),
    )
}
