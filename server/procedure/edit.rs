//! What a set of faults does to the perfect procedure, with every name looked up.

use super::environment;
use super::fault::Fault;
use super::frame::{self, Frame};
use super::model::Model;
use super::placing::{self, Placing};
use super::slips::{self, Slip};
use super::tip::{self, Tip};
use super::unit;
use super::writing::{self, Writing};
use crate::exercise::names::{BalloonNo, FeatureKey, Serial};

/// A procedure ready to be applied.
#[derive(Debug, Clone)]
pub struct Edit {
    pub(super) placing: Placing,
    pub(super) frame: Frame,
    pub(super) tip: Tip,
    /// Growth of lengths by temperature.
    pub(super) scale: f64,
    /// Factor of the unit.
    pub(super) unit: f64,
    /// Index of the plate that was measured by mistake.
    pub(super) source: Option<usize>,
    pub(super) writing: Writing,
    pub(super) slips: Vec<Slip>,
}

/// A fault that names something that the exercise does not have.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FaultError {
    /// Balloon number.
    #[error("there is no characteristic {0} in this exercise")]
    NoItem(BalloonNo),
    /// A quantity that the fault does not act on.
    #[error("characteristic {0} is no diameter, so that no radius can stand in its place")]
    NoDiameter(BalloonNo),
    /// Feature key.
    #[error("there is no feature {0} in this exercise")]
    NoFeature(FeatureKey),
    /// Datum letter.
    #[error("there is no datum {0} in this exercise")]
    NoDatum(char),
    /// Mistaken surface.
    #[error("the exercise declares no surface \"{name}\" that is taken for datum {datum}")]
    NoSurface {
        /// Datum letter.
        datum: char,
        /// Name as given.
        name: String,
    },
    /// Serial.
    #[error("there is no plate {0} in this exercise's plates file")]
    NoPlate(Serial),
    /// A parameter that is no number or turns everything into nothing.
    #[error("{parameter} is {value}; it must be {wanted}")]
    Parameter {
        /// Name of the parameter.
        parameter: &'static str,
        /// Its value.
        value: f64,
        /// What it must be.
        wanted: &'static str,
    },
}

/// Refuses what is not finite.
pub(super) fn finite(parameter: &'static str, value: f64) -> Result<f64, FaultError> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(FaultError::Parameter {
            parameter,
            value,
            wanted: "a number",
        })
    }
}

impl Edit {
    /// The perfect procedure.
    #[must_use]
    pub fn none() -> Self {
        Self {
            placing: Placing::default(),
            frame: Frame::default(),
            tip: Tip::default(),
            scale: 1.0,
            unit: 1.0,
            source: None,
            writing: Writing::default(),
            slips: Vec::new(),
        }
    }

    pub(super) fn new(model: &Model, faults: &[Fault]) -> Result<Self, FaultError> {
        let placing = placing::read(model, faults);
        let mut frame = frame::read(model, &placing, faults)?;
        let tip = tip::read(model, faults)?;
        frame.add_shift(tip.datum_shift(model, &frame));
        Ok(Self {
            tip,
            scale: environment::read(faults)?,
            unit: unit::read(faults)?,
            source: writing::source(model, faults)?,
            writing: writing::read(model, faults)?,
            slips: slips::read(model, faults)?,
            placing,
            frame,
        })
    }

    /// Whether every value as measured is that of the perfect procedure.
    pub(super) fn moves_nothing(&self) -> bool {
        // Factors of exactly 1 are those that no fault has touched.
        let untouched = |factor: f64| factor.to_bits() == 1.0_f64.to_bits();
        self.placing.is_none() && self.frame.is_none() && self.tip.is_none() && untouched(self.scale)
    }

    pub(super) const fn exchanges_axes(&self) -> bool {
        self.writing.axes_exchanged
    }
}
