/// Whether a value conforms, and how probably.
pub mod conformity;
/// Tolerances, and the limits that follow from them.
pub mod tolerance;
