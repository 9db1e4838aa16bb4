use thiserror::Error;

/// Why an uncertainty cannot be given.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum UncertaintyError {
    /// Nothing to combine.
    #[error("no contribution is above zero, so that there is no uncertainty to speak of")]
    Nothing,
    /// A quantity outside of what it can be.
    #[error("{what} is {value}; it must be {wanted}")]
    OutOfRange {
        /// Which quantity.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What it must be.
        wanted: &'static str,
    },
    /// Lists that belong together and do not have the same length.
    #[error("{what}: {given} given, {wanted} wanted")]
    Length {
        /// Of what.
        what: &'static str,
        /// How many there are.
        given: usize,
        /// How many there must be.
        wanted: usize,
    },
    /// Fewer effective degrees of freedom than one.
    #[error("{0:.3} effective degrees of freedom; truncated there is less than one, and no coverage factor")]
    NoFreedom(f64),
    /// A matrix of correlations that no quantities can have.
    #[error("the correlations are none: {0}")]
    Correlations(String),
    /// A model that has no value for some draws.
    #[error("the model has no value in {failed} of {trials} trials")]
    Model {
        /// How often.
        failed: usize,
        /// Of how many.
        trials: usize,
    },
}

/// A quantity that must be finite and not below zero.
pub(super) fn not_negative(what: &'static str, value: f64) -> Result<(), UncertaintyError> {
    if value.is_finite() && value >= 0.0 {
        return Ok(());
    }
    Err(UncertaintyError::OutOfRange {
        what,
        value,
        wanted: "zero or more",
    })
}

/// A quantity that must be finite.
pub(super) fn finite(what: &'static str, value: f64) -> Result<(), UncertaintyError> {
    if value.is_finite() {
        return Ok(());
    }
    Err(UncertaintyError::OutOfRange {
        what,
        value,
        wanted: "a finite number",
    })
}

/// A probability that must lie between 0 and 1.
pub(super) fn between_0_and_1(value: f64) -> Result<(), UncertaintyError> {
    if value > 0.0 && value < 1.0 {
        return Ok(());
    }
    Err(UncertaintyError::OutOfRange {
        what: "the probability",
        value,
        wanted: "between 0 and 1, ends excluded",
    })
}
