//! One datum touched without taking half the tip off.

use super::super::scene::Scene;
use super::{Candidate, equal};
use crate::procedure::fault::Fault;

pub(super) fn candidates(scene: &Scene<'_>) -> Vec<Candidate> {
    let ignored = |letter| Fault::TipIgnoredOnDatum { datum: letter };
    equal(scene.exercise.datum_frame.all().map(|d| ignored(d.letter)).to_vec())
}
