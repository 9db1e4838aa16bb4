//! What each feature does when one touch, the tip or the scale is moved by a little.

use std::collections::BTreeMap;

use super::PlanError;
use crate::exercise::geometry::{self, FeatureState};
use crate::exercise::model::Exercise;
use crate::metrology::frame::{Frame, Hit};
use crate::procedure::points::{Touch, Touches, touches};
use crate::procedure::reduce::{Measured, Probed, ReduceError, figure, frame_of};
use crate::units::decimal_to_f64;

/// Entries of what is read off a feature: its place, then the direction it is told by, then sizes and angle, then the
/// coordinates of its tip centres and their residuals.
pub(super) const AT: usize = 0;
pub(super) const TOLD: usize = 3;
pub(super) const DIAMETER: usize = 6;
pub(super) const LENGTH: usize = 7;
pub(super) const WIDTH: usize = 8;
pub(super) const ANGLE: usize = 9;
pub(super) const TIPS: usize = 10;

/// Everything that is read off a feature.
pub(super) type Raw = Vec<f64>;

fn raw(found: &Measured) -> Raw {
    let s = &found.state;
    let told = found.told();
    let mut raw = vec![
        s.at[0], s.at[1], s.at[2], told[0], told[1], told[2], s.diameter, s.length, s.width, s.angle,
    ];
    raw.extend(found.tips.iter().flatten());
    raw.extend(&found.residuals);
    raw
}

/// A feature at its nominal, and what it does per unit of each input.
#[derive(Debug, Clone)]
pub(super) struct Slopes {
    pub(super) nominal: Measured,
    /// By its own touches: along the surface normal, out of the material.
    pub(super) own: Vec<Raw>,
    /// By the touches of each datum.
    pub(super) datums: [Vec<Raw>; 3],
    /// By the diameter of the tip: used less true.
    pub(super) tip: Raw,
    /// By a scale that is too large.
    pub(super) scale: Raw,
}

/// The slopes of features by their place in the file.
pub(super) struct Sensitivities {
    pub(super) features: BTreeMap<usize, Result<Slopes, PlanError>>,
    pub(super) states: Vec<FeatureState>,
}

/// Steps of the central differences, in mm: far below any radius, far above the rounding of a fit.
const STEP: f64 = 1e-3;
/// The same for the scale.
const SCALE_STEP: f64 = 1e-6;

impl Sensitivities {
    /// Of some features, or of all.
    ///
    /// # Errors
    /// Datum touches that make no frame.
    pub(super) fn of(exercise: &Exercise, only: Option<&[usize]>) -> Result<Self, PlanError> {
        let states = geometry::nominal_states(exercise);
        let all = touches(exercise, &states, &states);
        let bench = Bench {
            exercise,
            states: &states,
            radius: decimal_to_f64(exercise.measurement.tip_diameter) / 2.0,
            step: exercise.units.from_mm_f64(STEP),
        };
        let poses = Poses::of(&bench, &all)?;
        let wanted = |i: &usize| only.is_none_or(|only| only.contains(i));
        let features = (0..exercise.features.len())
            .filter(wanted)
            .map(|i| (i, bench.slopes(i, &all, &poses).map_err(PlanError::from)))
            .collect();
        Ok(Self { features, states })
    }
}

/// The reduction with everything that stays as it is.
struct Bench<'a> {
    exercise: &'a Exercise,
    states: &'a [FeatureState],
    radius: f64,
    step: f64,
}

/// Frames with nothing moved, and with each input moved up and down.
struct Poses {
    still: Frame,
    datums: [Vec<[Frame; 2]>; 3],
    tip: [Frame; 2],
    scale: [Frame; 2],
}

const BOTH: [f64; 2] = [1.0, -1.0];

impl Poses {
    fn of(bench: &Bench<'_>, all: &Touches) -> Result<Self, PlanError> {
        let hits = Probed::standing_off(all, bench.radius).datums;
        let frame = |hits: &[Vec<Hit>; 3], radius: f64| {
            frame_of(bench.exercise, hits, radius).map_err(|e| PlanError::from(ReduceError::from(e)))
        };
        let moved = |datum: usize, touch: usize, by: f64| {
            let mut hits = hits.clone();
            if let (Some(hit), Some(touch)) = (hits[datum].get_mut(touch), all.datums[datum].get(touch)) {
                *hit = touch.hit(bench.radius + by);
            }
            frame(&hits, bench.radius)
        };
        let of_datum = |datum: usize| -> Result<Vec<[Frame; 2]>, PlanError> {
            (0..hits[datum].len())
                .map(|touch| both(|sign| moved(datum, touch, sign * bench.step)))
                .collect()
        };
        let tip = both(|sign| frame(&hits, bench.radius + 0.5 * sign * bench.step))?;
        let scale = both(|sign| {
            let grown = grown(all, 1.0 + sign * SCALE_STEP);
            frame(&Probed::standing_off(&grown, bench.radius).datums, bench.radius)
        })?;
        Ok(Self {
            still: frame(&hits, bench.radius)?,
            datums: [of_datum(0)?, of_datum(1)?, of_datum(2)?],
            tip,
            scale,
        })
    }
}

fn both<T, E>(of: impl Fn(f64) -> Result<T, E>) -> Result<[T; 2], E> {
    let [up, down] = BOTH.map(of);
    Ok([up?, down?])
}

/// All touches on a part that is larger by a factor.
fn grown(all: &Touches, factor: f64) -> Touches {
    let grow = |list: &Vec<Touch>| -> Vec<Touch> {
        list.iter()
            .map(|t| Touch {
                at: t.at.map(|c| c * factor),
                normal: t.normal,
            })
            .collect()
    };
    Touches {
        datums: all.datums.iter().map(grow).collect(),
        features: all.features.iter().map(grow).collect(),
    }
}

impl Bench<'_> {
    fn tips(&self, touched: &[Touch]) -> Vec<[f64; 3]> {
        touched.iter().map(|t| t.off(self.radius)).collect()
    }

    /// The feature from tip centres in the machine, seen from a frame, with the tip that is thought to be used.
    fn seen(&self, feature: usize, frame: &Frame, tips: &[[f64; 3]], radius: f64) -> Result<Measured, ReduceError> {
        let tips: Vec<[f64; 3]> = tips.iter().map(|tip| frame.movement.to_part(*tip)).collect();
        figure(self.exercise, self.states, feature, &tips, radius)
    }

    fn slopes(&self, feature: usize, all: &Touches, poses: &Poses) -> Result<Slopes, ReduceError> {
        let touched = all.features.get(feature).ok_or(ReduceError::NoFeature(feature))?;
        let tips = self.tips(touched);
        let own = |touch: usize| {
            slope(self.step, |sign| {
                let mut tips = tips.clone();
                tips[touch] = touched[touch].off(self.radius + sign * self.step);
                self.seen(feature, &poses.still, &tips, self.radius)
            })
        };
        let by_frame = |frames: &[Frame; 2]| {
            slope(self.step, |sign| {
                let frame = if sign > 0.0 { &frames[0] } else { &frames[1] };
                self.seen(feature, frame, &tips, self.radius)
            })
        };
        let by_datum = |datum: usize| {
            poses.datums[datum]
                .iter()
                .map(by_frame)
                .collect::<Result<Vec<Raw>, _>>()
        };
        let tip = slope(self.step, |sign| {
            let frame = if sign > 0.0 { &poses.tip[0] } else { &poses.tip[1] };
            self.seen(feature, frame, &tips, self.radius + 0.5 * sign * self.step)
        })?;
        let scale = slope(SCALE_STEP, |sign| {
            let frame = if sign > 0.0 { &poses.scale[0] } else { &poses.scale[1] };
            let grown = grown(all, 1.0 + sign * SCALE_STEP);
            let touched = grown.features.get(feature).map(Vec::as_slice).unwrap_or_default();
            self.seen(feature, frame, &self.tips(touched), self.radius)
        })?;
        Ok(Slopes {
            nominal: self.seen(feature, &poses.still, &tips, self.radius)?,
            own: (0..touched.len()).map(own).collect::<Result<_, _>>()?,
            datums: [by_datum(0)?, by_datum(1)?, by_datum(2)?],
            tip,
            scale,
        })
    }
}

/// Central difference over one step either way.
fn slope(step: f64, at: impl Fn(f64) -> Result<Measured, ReduceError>) -> Result<Raw, ReduceError> {
    let [up, down] = both(|sign| at(sign).map(|found| raw(&found)))?;
    Ok(up.iter().zip(&down).map(|(u, d)| (u - d) / (2.0 * step)).collect())
}
