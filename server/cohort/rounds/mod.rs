//! Rounds of careful measurement on one plate: what it is, how well that is known, and which round to doubt.

mod budget;
mod grubbs;
mod suspect;
#[cfg(test)]
mod tests;
mod worth;

use std::collections::BTreeMap;

use rust_decimal::Decimal;

pub use budget::{Budget, Means, Part, budget};
pub use grubbs::{Furthest, critical, furthest};
pub use suspect::{Away, Suspicion, away, suspicion};
pub use worth::{Worth, worth};

use crate::exercise::names::BalloonNo;

/// One round.
#[derive(Debug, Clone, PartialEq)]
pub struct Round {
    /// Readings by balloon number, in the unit of the exercise; several where it was read several times.
    pub values: BTreeMap<BalloonNo, Vec<Decimal>>,
    /// Temperature of the part, where it was written down.
    pub celsius: Option<f64>,
}
