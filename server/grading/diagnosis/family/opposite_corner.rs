//! Origin on another corner of the body, along x or y.

use super::{Candidate, equal};
use crate::procedure::fault::{Fault, PlanAxis};

pub(super) fn candidates() -> Vec<Candidate> {
    equal(PlanAxis::ALL.map(|axis| Fault::OppositeCorner { axis }).to_vec())
}
