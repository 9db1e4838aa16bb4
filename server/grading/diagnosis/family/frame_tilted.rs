//! Primary datum skewed about x or about y: normal prior on the angle.

use super::{Candidate, equal};
use crate::procedure::fault::{Fault, PlanAxis};

pub(super) fn candidates() -> Vec<Candidate> {
    let tilt = |about| Fault::FrameTilted { about, angle_deg: 0.0 };
    equal(PlanAxis::ALL.map(tilt).to_vec())
}
