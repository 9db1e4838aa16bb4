/// Tolerances, and the limits that follow from them.
pub mod tolerance;
