//! What the characteristics need to know of the rest of the file, as far as it could be read.

use crate::exercise::geometry::{self, FeatureState};
use crate::exercise::model::{DatumFrame, Feature, Measurement};
use crate::metrology::tolerance::Tolerance;
use crate::units::{LengthUnit, decimal_to_f64};

use super::body_space::BodySpace;
use super::frame_noise::FrameNoise;

/// The parts above the features.
pub(super) struct Sheet {
    pub(super) units: Option<LengthUnit>,
    pub(super) decimals: Option<u32>,
    pub(super) general: Option<Tolerance>,
    /// Whether there is one, be it right or wrong.
    pub(super) has_general: bool,
    pub(super) space: Option<BodySpace>,
    pub(super) frame: Option<DatumFrame>,
    /// What its touches' repeatability does, where nothing is wrong with it.
    pub(super) noise: Option<FrameNoise>,
    pub(super) measurement: Option<Measurement>,
}

impl Sheet {
    /// A feature as on the print; `None` where the body or the frame could not be read.
    pub(super) fn state(&self, feature: &Feature, datum: Option<char>) -> Option<FeatureState> {
        let normal = geometry::datum_normal(self.frame.as_ref()?, datum);
        Some(geometry::nominal_state(
            feature,
            self.space.as_ref()?.thickness,
            Some(normal),
        ))
    }

    /// Repeatability of one probed point, one standard deviation.
    pub(super) fn repeatability(&self) -> Option<f64> {
        self.measurement.as_ref().map(|m| decimal_to_f64(m.repeatability))
    }
}
