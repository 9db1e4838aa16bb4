use thiserror::Error;

/// Why a statistic cannot be given.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum CohortError {
    /// Too little of something.
    #[error("{what}: {given} given, at least {needed} needed")]
    TooFew {
        /// Of what.
        what: &'static str,
        /// How many are needed.
        needed: usize,
        /// How many were given.
        given: usize,
    },
    /// A value that is no finite number.
    #[error("{what} {at} is {value}; it must be a finite number")]
    NotFinite {
        /// What the value is.
        what: &'static str,
        /// Its place, from 1.
        at: usize,
        /// The value.
        value: f64,
    },
    /// A quantity that must be above zero, or not below it.
    #[error("{what} is {value}; it must be {wanted}")]
    OutOfRange {
        /// Which quantity.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What it must be.
        wanted: &'static str,
    },
    /// Rows of different lengths, cells without their number of values.
    #[error("{what} {at} has {given} {of}, the first has {wanted}: every one must have the same number")]
    Uneven {
        /// Which kind of group.
        what: &'static str,
        /// Its place, from 1.
        at: usize,
        /// How many it has.
        given: usize,
        /// Of what.
        of: &'static str,
        /// How many the first has.
        wanted: usize,
    },
    /// Data whose scatter is nothing, where something is divided by it.
    #[error("{0}")]
    NoScatter(&'static str),
    /// A repetition that did not settle.
    #[error("{what} did not settle in {steps} steps")]
    Unsettled {
        /// Which method.
        what: &'static str,
        /// Steps taken.
        steps: usize,
    },
    /// Other data than the method is made for.
    #[error("{0}")]
    WrongLayout(String),
}
