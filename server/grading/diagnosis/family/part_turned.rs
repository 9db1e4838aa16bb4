//! Part clamped turned by a quarter, a half or three quarters.

use super::{Candidate, equal};
use crate::procedure::fault::{Fault, QuarterTurn};

pub(super) fn candidates() -> Vec<Candidate> {
    equal(
        QuarterTurn::ALL
            .map(|angle_deg| Fault::PartTurned { angle_deg })
            .to_vec(),
    )
}
