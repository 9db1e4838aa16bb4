//! Measurement uncertainty: the law of propagation (JCGM 100:2008, GUM), coverage factors, propagation of distributions
//! (JCGM 101:2008).
//!
//! Standard uncertainties are in the unit of their quantity, sensitivities in the unit of the result over it, degrees of
//! freedom `None` where they are infinite. The generator of random numbers is passed in.

mod budget;
mod correlated;
mod coverage;
mod error;
mod monte_carlo;
mod products;
mod readings;
mod rectangular;

pub use budget::{Combined, Contribution, Expanded, combine};
pub use correlated::{check_correlations, correlated_sum, propagate};
pub use coverage::{coverage_factor, factor_for_sigmas};
pub use error::UncertaintyError;
pub use monte_carlo::{Draws, Propagated, monte_carlo, student_t, triangular};
pub use products::{Product, SecondOrder, SumOfProducts};
pub use readings::{Simultaneous, simultaneous};
pub use rectangular::half_width_of_rectangulars;
