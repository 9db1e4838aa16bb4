//! The forward model: plate and measuring procedure to report or probed points.
//!
//! A `fault::Procedure` is the perfect procedure edited by up to three `fault::Fault`s. `model::Model` prepares an
//! exercise and its plates once; from then on `model::Model::predict` says what a procedure would report without
//! noise, `simulate` what a pair would measure with it, `written` what would stand on the sheet. Diagnosis, demo
//! data, benchmark and virtual points use this one model, so that none of them can disagree with another.
//!
//! A report is made in this order: `placing` on the machine, building the `frame`, taking the `tip` off, the
//! temperature of the `environment`, the `unit`, `writing` the values down, `slips` of single values. Each of these
//! files holds the faults of its step. On a plate with references a value is the reference plus the model's difference
//! between the faulty and the perfect procedure; unit and writing act on the whole value.

mod environment;
mod frame;
mod placing;
pub mod reads;
mod tip;
mod unit;
pub mod writing;

pub mod edit;
pub mod fault;
pub mod model;
pub mod noise;
pub mod plan;
pub mod points;
pub mod reduce;
pub mod sampler;
pub mod seeding;
pub mod simulate;
pub mod slips;
pub mod written;

pub use reads::Work;
pub use slips::{move_point, transpositions};

#[cfg(test)]
mod tests;
