//! From probed tip centres to the value of every characteristic, the way a pair does it: the frame from the datum
//! touches, every feature's figure in that frame by least squares, the tip taken off, form by its zones.
//!
//! What comes out is the state of every feature, so that values are read off it as nominals and references are
//! ([`geometry::value`]).

mod feature;
mod own;

use thiserror::Error;

use super::points::{ProbedPoint, Touch, Touches};
use crate::exercise::geometry::{self, Asked, FeatureState};
use crate::exercise::model::{Axis, Characteristic, Datum, Exercise, Quantity};
use crate::exercise::names::FeatureKey;
use crate::metrology::fit::FitError;
use crate::metrology::frame::{self, Datums, Frame, FrameError, Hit, Surface};
use crate::units::decimal_to_f64;

pub use feature::Measured;
pub(in crate::procedure) use feature::figure;

/// Hits on a plate, in the machine's frame and the exercise's unit.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Probed {
    /// On the primary, secondary and tertiary datum.
    pub datums: [Vec<Hit>; 3],
    /// On the features, in the order of the file.
    pub features: Vec<Vec<Hit>>,
}

/// Why touches do not give a figure.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ReduceError {
    /// Datums that their hits do not determine.
    #[error(transparent)]
    Frame(#[from] FrameError),
    /// A feature that its hits do not determine.
    #[error("{key}: {problem}")]
    Feature {
        /// Which feature.
        key: FeatureKey,
        /// What is wrong.
        problem: FitError,
    },
    /// A feature that the exercise does not have.
    #[error("the exercise has no feature {0}")]
    NoFeature(usize),
    /// A tip that is larger than what it was in.
    #[error("{key}: with this tip the {what} comes out as {value:.6}")]
    Tip {
        /// Which feature.
        key: FeatureKey,
        /// Which size.
        what: &'static str,
        /// What would be left.
        value: f64,
    },
}

/// A plate as its touches show it.
#[derive(Debug, Clone, PartialEq)]
pub struct Reduced {
    /// The frame.
    pub frame: Frame,
    /// Features in the part's frame, in the order of the file.
    pub features: Vec<Result<Measured, ReduceError>>,
}

impl Probed {
    /// Sorts a table of touches by what was touched. Touches of something else are left out.
    #[must_use]
    pub fn of(exercise: &Exercise, points: &[ProbedPoint]) -> Self {
        let named = |name: &str| -> Vec<Hit> {
            let mine = points.iter().filter(|p| p.feature == name);
            mine.map(|p| Hit {
                tip: p.tip,
                approach: Some(p.direction.map(|d| -d)),
            })
            .collect()
        };
        Self {
            datums: exercise.datum_frame.all().map(|d| named(&d.letter.to_string())),
            features: exercise.features.iter().map(|f| named(f.key.as_str())).collect(),
        }
    }

    /// The hits of a tip that stands off these surfaces by its radius.
    pub(in crate::procedure) fn standing_off(touches: &Touches, tip_radius: f64) -> Self {
        let hits = |list: &Vec<Touch>| list.iter().map(|t| t.hit(tip_radius)).collect();
        Self {
            datums: [0, 1, 2].map(|i| touches.datums.get(i).map(hits).unwrap_or_default()),
            features: touches.features.iter().map(hits).collect(),
        }
    }
}

/// Reduces hits of a tip of this radius. `nominal` are the features as printed.
///
/// # Errors
/// Datums that make no frame. A feature without a figure is an error of its own among the features.
pub fn reduce(
    exercise: &Exercise,
    nominal: &[FeatureState],
    probed: &Probed,
    tip_radius: f64,
) -> Result<Reduced, ReduceError> {
    let frame = frame_of(exercise, &probed.datums, tip_radius)?;
    let features = (0..exercise.features.len())
        .map(|i| {
            let hits = probed.features.get(i).map(Vec::as_slice).unwrap_or_default();
            let tips: Vec<[f64; 3]> = hits.iter().map(|h| frame.movement.to_part(h.tip)).collect();
            feature::measured(exercise, nominal, i, &tips, tip_radius)
        })
        .collect();
    Ok(Reduced { frame, features })
}

/// The frame that datum hits give.
pub(in crate::procedure) fn frame_of(
    exercise: &Exercise,
    hits: &[Vec<Hit>; 3],
    tip_radius: f64,
) -> Result<Frame, FrameError> {
    let datums = exercise.datum_frame.all();
    let [primary, secondary, tertiary] = [0, 1, 2].map(|i| surface(datums[i], &hits[i]));
    let faces = Datums::Faces {
        primary,
        secondary,
        tertiary,
    };
    frame::frame(&faces, tip_radius)
}

fn surface<'a>(datum: &Datum, hits: &'a [Hit]) -> Surface<'a> {
    let axis = match datum.sets {
        Axis::X => frame::Axis::X,
        Axis::Y => frame::Axis::Y,
        Axis::Z => frame::Axis::Z,
    };
    Surface {
        hits,
        axis,
        outward: datum.face.normal().1 > 0.0,
        at: decimal_to_f64(datum.at),
    }
}

impl Reduced {
    /// The value of a characteristic, or why there is none.
    ///
    /// # Errors
    /// That of the feature, or of the first of a pair that has one.
    pub fn value(
        &self,
        exercise: &Exercise,
        nominal: &[FeatureState],
        c: &Characteristic,
    ) -> Result<Option<f64>, ReduceError> {
        let own = exercise.features_of(c);
        let found = own.iter().map(|i| self.feature(*i)).collect::<Result<Vec<_>, _>>()?;
        if let ([first, second], Quantity::Parallelism | Quantity::Perpendicularity) = (found.as_slice(), c.of) {
            return Ok(Some(own::orientation(c.of, first, second.told, second.is_face)));
        }
        let mut states = nominal.to_vec();
        for (i, found) in own.into_iter().zip(found) {
            if let Some(state) = states.get_mut(i) {
                state.clone_from(&found.state);
            }
        }
        let (features, between) = (&exercise.features, &exercise.between);
        Ok(geometry::value(features, between, nominal, &states, Asked::from(c)))
    }

    fn feature(&self, index: usize) -> Result<&Measured, ReduceError> {
        match self.features.get(index) {
            Some(Ok(found)) => Ok(found),
            Some(Err(error)) => Err(error.clone()),
            None => Err(ReduceError::NoFeature(index)),
        }
    }
}

#[cfg(test)]
mod tests;
