//! Statistics of a class, as functions of the numbers that they are about.
//!
//! Values are f64 in whichever unit they come, results in the same. A value counts as the decimal that was typed: sums
//! of squares are made of whole steps of the last decimal place, in twice the digits of a double, so that equal is
//! equal. What the data do not determine is an error in words or a `None`, never NaN, infinity or a panic.

/// Agreement of calls: kappa, proportions with intervals.
pub mod agreement;
/// One-way analysis of variance.
pub mod anova;
mod double2;
/// Reports that agree in more digits than chance allows.
pub mod duplicates;
mod error;
/// Gauge studies: repeatability, reproducibility, plates.
pub mod gauge;
/// Item analysis: how each characteristic works as a question.
pub mod items;
/// Pairs at random and in rotation.
pub mod pairing;
/// Robust means and spreads.
pub mod robust;
/// Turns at the machines.
pub mod rota;
/// Rounds of careful measurement: references, budgets, and which round to doubt.
pub mod rounds;
/// Scores of a value against a reference.
pub mod scores;
/// Probabilities of Student's t, F and normal, with the digits that they are wanted with.
mod tails;
/// Reference cases of statistics and all other families.
pub mod verify;

pub use error::CohortError;

/// A number of things.
#[expect(clippy::cast_precision_loss, reason = "no class has 2^52 of anything")]
pub(crate) fn count(things: usize) -> f64 {
    things as f64
}

/// All of them, or an error that says which is no finite number.
fn finite(what: &'static str, values: &[f64]) -> Result<(), CohortError> {
    match values.iter().position(|v| !v.is_finite()) {
        None => Ok(()),
        Some(at) => Err(CohortError::NotFinite {
            what,
            at: at + 1,
            value: values[at],
        }),
    }
}
