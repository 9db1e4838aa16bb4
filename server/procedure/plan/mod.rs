//! What a measuring plan can achieve before anyone measures: the expanded uncertainty of every characteristic, where it
//! comes from, and what to touch more often where it is more than the exercise states.
//!
//! The law of propagation (JCGM 100:2008, 5.1.2) through the reduction itself: every touch, the tip and the scale are
//! moved by a little, and the same frame and fits that reduce a plate's points say what each characteristic does. So the
//! frame's shared noise, correlations within a feature and between two, and the places of the touches are all in it.

mod advice;
mod budget;
mod reads;
mod sensitivity;
mod words;

pub use advice::{Advice, Change};
pub use budget::Budget;
pub use words::places;

use budget::budget;
use sensitivity::Sensitivities;

use super::reduce::ReduceError;
use crate::exercise::model::{Characteristic, Exercise, Quantity};
use crate::exercise::names::BalloonNo;
use crate::units::decimal_to_f64;

/// Coverage factor of what a plan achieves, as that of what an exercise states.
pub const COVERAGE: f64 = 2.0;

/// Share by which a plan may miss the stated uncertainty and still be said to reach it.
const SLACK: f64 = 1.02;

/// What is known of tip and temperature, which an exercise does not state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// Standard uncertainty of the tip's diameter in the exercise's unit. Without it that of a tip which was qualified
    /// with four touches around a reference ball and one on top: twice the radius from four touches, which is the
    /// repeatability.
    pub tip: Option<f64>,
    /// Temperature of the part in degrees Celsius, for which lengths are corrected to 20 (ISO 1).
    pub temperature: f64,
    /// How far it may be from that, kelvin; every temperature within is equally likely.
    pub within: f64,
    /// How far the coefficient of expansion may be from the stated one, as a share of it; equally likely within.
    pub expansion_within: f64,
}

impl Default for Conditions {
    /// A measuring room that holds 20 degrees within half a kelvin, and a coefficient good to a tenth (common practice, no
    /// published source).
    fn default() -> Self {
        Self {
            tip: None,
            temperature: 20.0,
            within: 0.5,
            expansion_within: 0.1,
        }
    }
}

impl Conditions {
    /// Standard uncertainty of the tip's diameter.
    #[must_use]
    pub fn tip_of(&self, exercise: &Exercise) -> f64 {
        self.tip
            .unwrap_or_else(|| decimal_to_f64(exercise.measurement.repeatability))
    }

    /// Standard uncertainty of the temperature's share of a length.
    fn expansion(&self, exercise: &Exercise) -> f64 {
        let alpha = exercise.body.material.expansion();
        let of_temperature = self.within / 3.0_f64.sqrt();
        let of_coefficient = (self.temperature - 20.0) * self.expansion_within / 3.0_f64.sqrt();
        alpha * of_temperature.hypot(of_coefficient)
    }
}

/// A plan's characteristics in sheet order, and what to do first.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// One for each characteristic.
    pub lines: Vec<Line>,
    /// The one change that does most: it mends the most lines, or eases the tightest where none needs mending.
    pub first: Option<Advice>,
}

/// One characteristic.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Balloon number.
    pub no: BalloonNo,
    /// Quantity.
    pub of: Quantity,
    /// What it belongs to, for people.
    pub owner: String,
    /// Where its uncertainty comes from, or why there is none.
    pub budget: Result<Budget, PlanError>,
    /// What the exercise states, k = 2.
    pub stated: f64,
    /// What would bring it there, where it is not.
    pub advice: Option<Advice>,
}

/// Why the plan says nothing of a characteristic.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// Touches that determine no figure.
    #[error(transparent)]
    Undetermined(#[from] ReduceError),
    /// Touches that any figure goes through.
    #[error("{given} touches always lie on such a figure, so that they show no form; take {needed} or more")]
    NoForm {
        /// How many there are.
        given: u32,
        /// How many show some.
        needed: u32,
    },
}

impl Line {
    /// U over what is stated; none where there is no U or nothing is stated.
    #[must_use]
    pub fn share(&self) -> Option<f64> {
        let budget = self.budget.as_ref().ok()?;
        (self.stated > 0.0).then(|| budget.expanded() / self.stated)
    }

    /// Whether the plan reaches what is stated.
    #[must_use]
    pub fn is_reached(&self) -> bool {
        self.share().is_some_and(|share| share <= SLACK)
    }
}

/// Works out a plan.
#[must_use]
pub fn plan(exercise: &Exercise, conditions: &Conditions) -> Plan {
    let mut lines = lines(exercise, conditions);
    for (line, c) in lines.iter_mut().zip(&exercise.characteristics) {
        if !line.is_reached() {
            line.advice = advice::reaching(exercise, conditions, c, line);
        }
    }
    let first = advice::first(exercise, conditions, &lines);
    Plan { lines, first }
}

/// What the plan achieves, without advice: that takes many plans.
#[must_use]
pub fn lines(exercise: &Exercise, conditions: &Conditions) -> Vec<Line> {
    let all = Sensitivities::of(exercise, None);
    let line = |c: &Characteristic| Line {
        no: c.no.clone(),
        of: c.of,
        owner: exercise.owner_name(c),
        budget: all
            .as_ref()
            .map_err(Clone::clone)
            .and_then(|s| budget(exercise, conditions, c, s)),
        stated: decimal_to_f64(c.u_lab),
        advice: None,
    };
    exercise.characteristics.iter().map(line).collect()
}

#[cfg(test)]
mod tests;
