//! The columns of X and Y exchanged.

use super::{Candidate, equal};
use crate::procedure::fault::Fault;

pub(super) fn candidates() -> Vec<Candidate> {
    equal(vec![Fault::AxesExchanged {}])
}
