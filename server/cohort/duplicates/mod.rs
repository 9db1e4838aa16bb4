//! Reports that agree in more digits than chance allows: the probability that two independent, honest reports agree so.
//! A reason to look, never a mark: a person decides.
//!
//! From first principles; no published source.

mod chance;
mod compare;
mod tally;

pub use chance::{Chance, Likeness, TwoValues};
pub use compare::{Chances, Comparison, Line, REMARKABLE, compare, remarkable};
pub use tally::{AtLeast, tally, tally_of_equals};
