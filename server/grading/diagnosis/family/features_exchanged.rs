//! Two features' values written at each other's place; every pair that has like characteristics.

use super::super::scene::Scene;
use super::{Candidate, equal};
use crate::exercise::model::{Characteristic, Owner};
use crate::procedure::fault::Fault;

pub(super) fn candidates(scene: &Scene<'_>) -> Vec<Candidate> {
    let features = &scene.exercise.features;
    let mut faults = Vec::new();
    for (a, first) in features.iter().enumerate() {
        for (b, second) in features.iter().enumerate().skip(a + 1) {
            if alike(scene, a, b) {
                faults.push(Fault::FeaturesExchanged {
                    a: first.key.clone(),
                    b: second.key.clone(),
                });
            }
        }
    }
    equal(faults)
}

fn alike(scene: &Scene<'_>, a: usize, b: usize) -> bool {
    let of = |feature| move |c: &&Characteristic| c.owner == Owner::Feature(feature);
    let all = &scene.exercise.characteristics;
    all.iter()
        .filter(of(a))
        .any(|c| all.iter().filter(of(b)).any(|o| o.of == c.of && o.datum == c.datum))
}
