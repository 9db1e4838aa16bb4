//! Checks of the forward model on a small plate.

mod faults;
mod noise;
mod plate;
mod properties;
mod reports;
