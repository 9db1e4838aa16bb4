//! Sizes without tip compensation.

use super::{Candidate, equal};
use crate::procedure::fault::Fault;

pub(super) fn candidates() -> Vec<Candidate> {
    equal(vec![Fault::TipIgnoredOnSize {}])
}
