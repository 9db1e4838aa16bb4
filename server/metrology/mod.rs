/// Conformity with limits: decision rules, probabilities, risks.
pub mod conformity;
/// Fits as named values.
pub mod fields;
/// Figures fitted to points.
pub mod fit;
/// The datum frame.
pub mod frame;
/// From tip centres to surfaces.
pub mod tip;
/// Tolerances, and the limits that follow from them.
pub mod tolerance;
/// Uncertainty of measurement: propagation, coverage, Monte Carlo.
pub mod uncertainty;
/// Reference cases held against our numbers.
pub mod verify;
