//! Origin off by an amount along an axis: normal prior.

use super::{Candidate, equal};
use crate::exercise::model::Axis;
use crate::procedure::fault::Fault;

pub(super) fn candidates() -> Vec<Candidate> {
    let shift = |axis| Fault::OriginShift { axis, amount: 0.0 };
    equal([Axis::X, Axis::Y, Axis::Z].map(shift).to_vec())
}
