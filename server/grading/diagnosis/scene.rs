//! What is looked at: a report laid over the forward model of its plate.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

use crate::exercise::model::{Exercise, Owner, Quantity};
use crate::exercise::names::{BalloonNo, Serial};
use crate::grading::measurement::has_plan_direction;
use crate::procedure::fault::Fault;
use crate::procedure::model::{Model, PlateIndex};
use crate::procedure::noise::FRAME_PARAMETERS;
use crate::procedure::reads::Work;
use crate::report::model::Report;
use crate::report::setup_record::SetUp;
use crate::units::{Reading, decimal_to_f64};

use super::priors::Priors;
use super::world::Slopes;

/// Values beyond this are as wrong as this: squares stay finite.
const FAR_OUT: f64 = 1e12;

/// Slopes by the faults that they are beside, each with its key and amount.
type Known = BTreeMap<Vec<(u64, u64)>, Rc<Slopes>>;

/// A report, its plate and all that every hypothesis needs of them, in sheet order and in the exercise's unit.
pub(super) struct Scene<'a> {
    pub(super) exercise: &'a Exercise,
    pub(super) model: &'a Model,
    pub(super) plate: PlateIndex,
    pub(super) serial: &'a Serial,
    /// Serials of the exercise's plates that are in the model.
    pub(super) serials: &'a [Serial],
    pub(super) priors: &'a Priors,
    /// What the pair says of its set-up, where it says anything.
    pub(super) record: Option<&'a SetUp>,
    pub(super) readings: Vec<Option<Reading>>,
    /// Value as written; 0 where there is none.
    pub(super) y: Vec<f64>,
    /// Whether there is a value and the plate is established.
    pub(super) seen: Vec<bool>,
    pub(super) half_turn: Vec<bool>,
    pub(super) u: Vec<f64>,
    pub(super) nominal: Vec<f64>,
    /// Reference values.
    pub(super) base: Vec<f64>,
    /// Variance of the independent part, and of the reference.
    pub(super) own: Vec<f64>,
    pub(super) reference: Vec<f64>,
    pub(super) frame: Vec<[f64; FRAME_PARAMETERS]>,
    /// One unit of the last place of a report.
    pub(super) step: f64,
    /// Exercise units in one mm.
    pub(super) mm: f64,
    /// Slopes of what is measured, by the faults of measuring that they are beside: made when first asked for.
    pub(super) slopes: RefCell<Known>,
    /// Buffers of predictions.
    pub(super) work: RefCell<Work>,
}

impl<'a> Scene<'a> {
    pub(super) fn new(
        (exercise, model, serials): (&'a Exercise, &'a Model, &'a [Serial]),
        (plate, serial): (PlateIndex, &'a Serial),
        report: &Report,
        priors: &'a Priors,
    ) -> Option<Self> {
        let noise = model.noise(plate)?;
        let cs = &exercise.characteristics;
        let readings: Vec<Option<Reading>> = cs
            .iter()
            .map(|c| report.item(&c.no).and_then(|i| i.measured.clone()))
            .collect();
        let y = |r: &Option<Reading>| r.as_ref().map_or(0.0, |r| r.approx().clamp(-FAR_OUT, FAR_OUT));
        let known =
            |(i, r): (usize, &Option<Reading>)| r.is_some() && noise.reference.get(i).is_some_and(Option::is_some);
        let half_turn = cs.iter().map(|c| c.of == Quantity::Angle && is_plan(exercise, c.owner));
        let places = i32::try_from(exercise.decimals).unwrap_or(0);
        let mut work = Work::default();
        model.predict_into(plate, &model.edit(&[]).ok()?, &mut work);
        Some(Self {
            y: readings.iter().map(y).collect(),
            seen: readings.iter().enumerate().map(known).collect(),
            half_turn: half_turn.collect(),
            u: cs.iter().map(|c| decimal_to_f64(c.u_lab)).collect(),
            nominal: cs.iter().map(|c| decimal_to_f64(c.nominal)).collect(),
            base: work.values,
            own: noise.independent.iter().map(|s| s * s).collect(),
            reference: noise.reference.iter().map(|u| u.map_or(0.0, |u| u * u)).collect(),
            frame: noise.frame.clone(),
            step: 10.0_f64.powi(-places),
            mm: 1.0 / exercise.units.mm_per_unit_f64(),
            readings,
            exercise,
            model,
            plate,
            serial,
            serials,
            priors,
            record: None,
            slopes: RefCell::default(),
            work: RefCell::default(),
        })
    }

    /// Number of lines of the sheet.
    pub(super) const fn len(&self) -> usize {
        self.y.len()
    }

    /// Lines that say something.
    pub(super) fn lines(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.len()).filter(|i| self.seen[*i])
    }

    /// Whether every x stands beside a y of the same feature, so that exchanged columns carry nothing else.
    pub(super) fn has_both_columns(&self) -> bool {
        let all = &self.exercise.characteristics;
        all.iter().all(|c| {
            let other = match c.of {
                Quantity::X => Quantity::Y,
                Quantity::Y => Quantity::X,
                _ => return true,
            };
            all.iter().any(|o| o.owner == c.owner && o.of == other)
        })
    }

    pub(super) fn no(&self, line: usize) -> BalloonNo {
        self.exercise.characteristics[line].no.clone()
    }

    pub(super) fn line_of(&self, no: &BalloonNo) -> Option<usize> {
        self.exercise.characteristic(no).map(|(i, _)| i)
    }

    /// Variance of the rounding to the report's places (uniform distribution; JCGM 100, 4.3.7).
    pub(super) fn rounding(&self) -> f64 {
        self.step * self.step / 12.0
    }

    /// Whether the value as written is a whole multiple of 10^`power` units of the last place of a report.
    pub(super) fn ends_at(&self, line: usize, power: i32) -> bool {
        let units = self.y[line] / (self.step * 10.0_f64.powi(power));
        (units - units.round()).abs() < 1e-6 * units.abs().max(1.0)
    }

    /// What the faults lead to, or nothing where the model refuses them.
    pub(super) fn predict(&self, faults: &[Fault]) -> Option<Vec<f64>> {
        let edit = self.model.edit(faults).ok()?;
        let mut work = self.work.borrow_mut();
        self.model.predict_into(self.plate, &edit, &mut work);
        work.values.iter().all(|v| v.is_finite()).then(|| work.values.clone())
    }

    /// `value` less `predicted` on a line; in-plane angles modulo 180.
    pub(super) fn difference(&self, line: usize, value: f64, predicted: f64) -> f64 {
        let d = value - predicted;
        if self.half_turn[line] && d.abs() > 90.0 {
            crate::exercise::geometry::wrap_half_turn(d)
        } else {
            d
        }
    }
}

fn is_plan(exercise: &Exercise, owner: Owner) -> bool {
    match owner {
        Owner::Feature(i) => exercise.features.get(i).is_some_and(|f| has_plan_direction(&f.shape)),
        Owner::Between(_) => false,
    }
}

/// A number of things as a double.
pub(super) fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::from(u32::MAX), f64::from)
}
