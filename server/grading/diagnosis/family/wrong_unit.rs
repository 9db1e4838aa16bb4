//! All values in the other unit. The unit that the exercise does not have is as good as certain; the other way round
//! happens where somebody converts twice.

use super::super::scene::Scene;
use super::Candidate;
use crate::procedure::fault::Fault;
use crate::units::LengthUnit;

const MM_PER_INCH: f64 = 25.4;

/// Share of the direction that the exercise's unit suggests.
const LIKELY: f64 = 0.8;

pub(super) fn candidates(scene: &Scene<'_>) -> Vec<Candidate> {
    let to_inch = match scene.exercise.units {
        LengthUnit::Mm => LIKELY,
        LengthUnit::Inch => 1.0 - LIKELY,
    };
    let unit = |factor, share| Candidate {
        fault: Fault::WrongUnit { factor },
        share,
    };
    vec![unit(1.0 / MM_PER_INCH, to_inch), unit(MM_PER_INCH, 1.0 - to_inch)]
}
