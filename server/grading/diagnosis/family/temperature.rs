//! Lengths scaled by expansion: normal prior on the growth.

use super::{Candidate, equal};
use crate::procedure::fault::Fault;

pub(super) fn candidates() -> Vec<Candidate> {
    equal(vec![Fault::Temperature { ppm: 0.0 }])
}
