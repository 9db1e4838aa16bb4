/// Conformity with limits: decision rules, probabilities, risks.
pub mod conformity;
/// Tolerances, and the limits that follow from them.
pub mod tolerance;
