//! Checks of the forward model on a small plate.

mod faults;
mod noise;
pub(super) mod plate;
mod properties;
mod reports;
