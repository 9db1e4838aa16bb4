//! The sign of one axis reversed.

use super::{Candidate, equal};
use crate::exercise::model::Axis;
use crate::procedure::fault::Fault;

pub(super) fn candidates() -> Vec<Candidate> {
    equal(
        [Axis::X, Axis::Y, Axis::Z]
            .map(|axis| Fault::AxisReversed { axis })
            .to_vec(),
    )
}
