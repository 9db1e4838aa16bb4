//! Robust means and spreads (ISO 13528:2015, annex C).

mod algorithm_a;
mod hampel;
mod order;
mod q_method;

pub use algorithm_a::{
    AlgorithmA, EXACT_FACTOR, PRINTED_FACTOR, algorithm_a, algorithm_a_iterates, algorithm_a_third_figure,
};
pub use hampel::hampel_mean;
pub use order::{made, median, niqr};
pub use q_method::q_method;
pub(in crate::cohort) use q_method::q_with_ties;

/// Standard uncertainty of a robust mean that serves as reference: 1.25 s* / sqrt(n) (ISO 13528:2015, 7.7.3).
#[must_use]
pub fn u_of_consensus(spread: f64, results: usize) -> f64 {
    1.25 * spread / super::count(results.max(1)).sqrt()
}
