//! Secondary datum skewed: normal prior on the angle.

use super::{Candidate, equal};
use crate::procedure::fault::Fault;

pub(super) fn candidates() -> Vec<Candidate> {
    equal(vec![Fault::FrameRotated { angle_deg: 0.0 }])
}
