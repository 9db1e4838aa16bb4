//! Agreement of calls: of two readers, of many, with the plate.

mod calls;
mod cohen;
mod fleiss;
mod wilson;

pub use calls::{CallCounts, CallStatistics, call_statistics};
pub use cohen::{Cohen, cohen};
pub use fleiss::{Fleiss, fleiss};
pub use wilson::{Proportion, wilson};

/// A sum of counts as a number.
#[expect(
    clippy::cast_precision_loss,
    reason = "sums of products of counts; the nearest double is what is wanted"
)]
fn number(counts: u128) -> f64 {
    counts as f64
}
