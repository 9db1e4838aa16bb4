//! Where the uncertainty of a characteristic comes from.

use super::reads::{Part, Read, Reads, reads};
use super::sensitivity::{Raw, Sensitivities, Slopes};
use super::{COVERAGE, Conditions, PlanError};
use crate::exercise::model::{Characteristic, Exercise, Shape};
use crate::units::decimal_to_f64;

/// Standard uncertainties, in the unit of the characteristic, each from one source.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Budget {
    /// From the touches of its feature, or of the first and the second of a pair.
    pub points: [f64; 2],
    /// From the touches of the primary, secondary and tertiary datum.
    pub frame: [f64; 3],
    /// From the diameter of the tip.
    pub tip: f64,
    /// From the machine's error that grows with length.
    pub length: f64,
    /// From temperature and expansion.
    pub temperature: f64,
}

impl Budget {
    /// From the touches of its features.
    #[must_use]
    pub fn from_points(&self) -> f64 {
        root(&self.points)
    }

    /// From the frame.
    #[must_use]
    pub fn from_frame(&self) -> f64 {
        root(&self.frame)
    }

    /// All together.
    #[must_use]
    pub fn standard(&self) -> f64 {
        root(&[
            self.from_points(),
            self.from_frame(),
            self.tip,
            self.length,
            self.temperature,
        ])
    }

    /// Expanded, k = 2.
    #[must_use]
    pub fn expanded(&self) -> f64 {
        COVERAGE * self.standard()
    }
}

fn root(parts: &[f64]) -> f64 {
    parts.iter().fold(0.0, |sum: f64, part| sum.hypot(*part))
}

/// Standard uncertainties of the inputs.
struct Inputs {
    touch: f64,
    tip: f64,
    length: f64,
    expansion: f64,
}

pub(super) fn budget(
    exercise: &Exercise,
    conditions: &Conditions,
    c: &Characteristic,
    all: &Sensitivities,
) -> Result<Budget, PlanError> {
    let inputs = Inputs {
        touch: decimal_to_f64(exercise.measurement.repeatability),
        tip: conditions.tip_of(exercise),
        length: decimal_to_f64(exercise.measurement.per_length) / COVERAGE,
        expansion: conditions.expansion(exercise),
    };
    let mut parts = Vec::new();
    for i in exercise.features_of(c) {
        let (Some(feature), Some(printed), Some(slopes)) =
            (exercise.features.get(i), all.states.get(i), all.features.get(&i))
        else {
            continue;
        };
        parts.push(Part {
            shape: &feature.shape,
            printed,
            slopes: slopes.as_ref().map_err(Clone::clone)?,
        });
    }
    let Some(first) = parts.first() else {
        return Ok(Budget::default());
    };
    if c.of.is_form() {
        shows_form(first.shape, first.slopes.own.len())?;
    }
    let slopes: Vec<&Slopes> = parts.iter().map(|p| p.slopes).collect();
    match reads(c, &exercise.datum_frame, first, parts.get(1)) {
        Reads::MeanOf(reads) => Ok(mean(reads.iter().map(|read| inputs.through(read, &slopes)))),
        Reads::OneOf(reads) => Ok(largest(reads.iter().map(|read| inputs.through(read, &slopes)))),
        Reads::Around(a, b) => Ok(inputs.through(&worst(&a, &b, &inputs, &slopes), &slopes)),
    }
}

fn largest(budgets: impl Iterator<Item = Budget>) -> Budget {
    budgets
        .max_by(|a, b| a.standard().total_cmp(&b.standard()))
        .unwrap_or_default()
}

/// Mean variances of the touches, which are all that these have.
fn mean(budgets: impl Iterator<Item = Budget>) -> Budget {
    let (mut sum, mut count) = (0.0, 0.0);
    for budget in budgets {
        sum += budget.from_points().powi(2);
        count += 1.0;
    }
    Budget {
        points: [if count > 0.0 { (sum / count).sqrt() } else { 0.0 }, 0.0],
        ..Budget::default()
    }
}

/// Form needs a touch more than fixes the figure.
fn shows_form(shape: &Shape, touches: usize) -> Result<(), PlanError> {
    let parameters = match shape {
        Shape::Point { .. } => 1,
        Shape::Line { .. } => 2,
        Shape::Plane { .. } | Shape::Circle { .. } => 3,
        Shape::Sphere { .. } => 4,
        Shape::Slot { .. } | Shape::Cylinder { .. } => 5,
        Shape::Cone { .. } => 6,
    };
    let given = u32::try_from(touches).unwrap_or(u32::MAX);
    if given > parameters {
        return Ok(());
    }
    Err(PlanError::NoForm {
        given,
        needed: parameters + 1,
    })
}

impl Inputs {
    /// The budget of one slope.
    fn through(&self, read: &Read, slopes: &[&Slopes]) -> Budget {
        let mut budget = Budget::default();
        for ((share, read), slopes) in budget.points.iter_mut().zip(read).zip(slopes) {
            let each: Vec<f64> = slopes.own.iter().map(|raw| dot(read, raw)).collect();
            *share = self.touch * root(&each);
        }
        for (datum, share) in budget.frame.iter_mut().enumerate() {
            *share = self.touch * root(&shared(read, slopes, |s| &s.datums[datum]));
        }
        let alone = |of: fn(&Slopes) -> &Raw| {
            let parts = read.iter().zip(slopes).map(|(read, s)| dot(read, of(s)));
            parts.sum::<f64>().abs()
        };
        let scale = alone(|s| &s.scale);
        Budget {
            tip: self.tip * alone(|s| &s.tip),
            length: self.length * scale,
            temperature: self.expansion * scale,
            ..budget
        }
    }

    /// All effects of single inputs, one after the other: their squares add up to the variance.
    fn effects(&self, read: &Read, slopes: &[&Slopes]) -> Vec<f64> {
        let mut all = Vec::new();
        for (read, s) in read.iter().zip(slopes) {
            all.extend(s.own.iter().map(|raw| self.touch * dot(read, raw)));
        }
        for datum in 0..3 {
            let effects = shared(read, slopes, |s| &s.datums[datum]);
            all.extend(effects.into_iter().map(|e| self.touch * e));
        }
        let mut alone = |u: f64, of: fn(&Slopes) -> &Raw| {
            all.push(u * read.iter().zip(slopes).map(|(read, s)| dot(read, of(s))).sum::<f64>());
        };
        alone(self.tip, |s| &s.tip);
        alone(self.length.hypot(self.expansion), |s| &s.scale);
        all
    }
}

/// Effects of inputs that both features share.
fn shared(read: &Read, slopes: &[&Slopes], of: impl Fn(&Slopes) -> &Vec<Raw>) -> Vec<f64> {
    let count = slopes.first().map_or(0, |s| of(s).len());
    let effect = |touch: usize| {
        let parts = read.iter().zip(slopes);
        parts
            .map(|(read, s)| of(s).get(touch).map_or(0.0, |raw| dot(read, raw)))
            .sum()
    };
    (0..count).map(effect).collect()
}

fn dot(read: &[(usize, f64)], raw: &Raw) -> f64 {
    read.iter()
        .map(|(entry, factor)| raw.get(*entry).map_or(0.0, |value| factor * value))
        .sum()
}

/// The direction between two slopes in which the variance is largest: the first principal axis.
fn worst(a: &Read, b: &Read, inputs: &Inputs, slopes: &[&Slopes]) -> Read {
    let (of_a, of_b) = (inputs.effects(a, slopes), inputs.effects(b, slopes));
    let product = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(x, y)| x * y).sum::<f64>();
    let (aa, ab, bb) = (product(&of_a, &of_a), product(&of_a, &of_b), product(&of_b, &of_b));
    let (sin, cos) = (0.5 * (2.0 * ab).atan2(aa - bb)).sin_cos();
    let mixed = |part: usize| {
        let scaled =
            |read: &Read, by: f64| -> Vec<(usize, f64)> { read[part].iter().map(|(e, f)| (*e, f * by)).collect() };
        let mut both = scaled(a, cos);
        both.extend(scaled(b, sin));
        both
    };
    [mixed(0), mixed(1)]
}
