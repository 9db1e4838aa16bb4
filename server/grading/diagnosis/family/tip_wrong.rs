//! A wrong tip diameter in use: normal prior on the difference.

use super::{Candidate, equal};
use crate::procedure::fault::Fault;

pub(super) fn candidates() -> Vec<Candidate> {
    equal(vec![Fault::TipWrong { amount: 0.0 }])
}
