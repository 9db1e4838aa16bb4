//! Gauge studies: how much of what is seen comes from the machine, from the pairs, from the plates.
//!
//! Crossed studies (every pair measures every plate several times) by analysis of variance and by averages and ranges;
//! nested studies in three levels. Here parts stand for plates, operators for pairs, trials for repeated measurements.

mod average_range;
mod components;
mod crossed;
mod nested;

pub use average_range::{AverageRange, average_range};
pub use components::{Components, Contributions, Effect};
pub use crossed::{CrossedAnalysis, CrossedStudy, DegreesOfFreedom, Interaction, MeanSquares, SumsOfSquares};
pub use nested::{Nested, NestedRow, nested};
