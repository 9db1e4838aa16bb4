//! Item analysis: difficulty and discrimination of each characteristic, reliability of the whole exercise.

mod analysis;
mod spearman_brown;

pub use analysis::{ItemAnalysis, MostScores, item_analysis};
pub use spearman_brown::{length_for, lengthened};
