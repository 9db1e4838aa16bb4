//! What can be planted, in whole steps of the shop, and which characteristics each of it moves.

use std::collections::BTreeMap;

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy};

use super::aims::Aims;
use super::room::{self, Room};
use crate::exercise::file::plantable;
use crate::exercise::geometry::nominal_states;
use crate::exercise::model::{Datum, Exercise, Owner, Quantity};
use crate::exercise::names::{FeatureKey, Serial};
use crate::exercise::plate::{Plate, PlateKind};
use crate::units::decimal_to_f64;

/// One thing that can be planted.
#[derive(Debug, Clone)]
pub(super) struct Knob {
    pub(super) key: FeatureKey,
    pub(super) feature: usize,
    pub(super) of: Quantity,
    pub(super) step: Decimal,
    /// Characteristics that it moves.
    pub(super) moves: Vec<usize>,
    /// The characteristic that is this quantity itself.
    pub(super) own: Option<usize>,
    /// Most steps from nominal.
    pub(super) reach: i64,
}

impl Knob {
    /// Whole steps in a length, rounded as told; 0 for what no plate has.
    pub(super) fn steps(&self, length: Decimal, rounding: RoundingStrategy) -> i64 {
        let steps = length.checked_div(self.step).unwrap_or_default();
        steps.round_dp_with_strategy(0, rounding).to_i64().unwrap_or(0)
    }

    /// The least that can be planted: form and orientation are never below zero.
    pub(super) const fn least(&self) -> i64 {
        if self.of.is_geometrical() { 0 } else { -self.reach }
    }
}

/// Deviations in steps as a plate that is exactly what was planted.
pub(super) fn plate(knobs: &[Knob], steps: &[i64], serial: Serial) -> Plate {
    let mut planted: BTreeMap<FeatureKey, BTreeMap<Quantity, Decimal>> = BTreeMap::new();
    for (knob, steps) in knobs.iter().zip(steps).filter(|(_, s)| **s != 0) {
        let by = (knob.step * Decimal::from(*steps)).normalize();
        planted.entry(knob.key.clone()).or_default().insert(knob.of, by);
    }
    Plate {
        serial,
        kind: PlateKind::Virtual,
        seed: None,
        shop_uncertainty: None,
        planted,
        references: BTreeMap::new(),
    }
}

/// Everything that can be planted and moves a characteristic.
pub(super) fn knobs(exercise: &Exercise, aims: &Aims, rooms: &[Option<Room>], blank: &Serial) -> Vec<Knob> {
    let nominal = room::values(exercise, &plate(&[], &[], blank.clone()));
    let mut knobs = Vec::new();
    for (key, quantities) in plantable(exercise) {
        let Some((feature, _)) = exercise.feature(&key) else {
            continue;
        };
        for of in quantities {
            let own = exercise
                .characteristics
                .iter()
                .position(|c| c.owner == Owner::Feature(feature) && c.of == of);
            if held_by_frame(exercise, feature, of, own.is_some()) {
                continue;
            }
            let step = if of.is_angle() { aims.angle_step } else { aims.step };
            let mut knob = Knob {
                key: key.clone(),
                feature,
                of,
                step,
                moves: Vec::new(),
                own,
                reach: 0,
            };
            knob.moves = moved(exercise, &knob, &nominal, blank);
            let reach = |i: &usize| rooms.get(*i)?.as_ref().map(|r| r.half * Decimal::TWO + r.furthest);
            let reach = knob.moves.iter().filter_map(reach).max().unwrap_or_default();
            knob.reach = knob.steps(reach, RoundingStrategy::ToZero);
            if knob.reach > 0 {
                knobs.push(knob);
            }
        }
    }
    knobs
}

/// A feature on a datum face is where the frame says, whatever is made: it has errors of form, and of orientation where the
/// print asks for them.
fn held_by_frame(exercise: &Exercise, feature: usize, of: Quantity, asked: bool) -> bool {
    let (Some(feature), Some(state)) = (
        exercise.features.get(feature),
        nominal_states(exercise).into_iter().nth(feature),
    ) else {
        return false;
    };
    let on = |datum: &Datum| {
        let (axis, sign) = datum.face.normal();
        let faces = feature
            .shape
            .normal()
            .is_some_and(|n| n[axis.index()] * sign > 1.0 - 1e-6);
        faces && (state.at[axis.index()] - decimal_to_f64(datum.at)).abs() < 1e-6
    };
    exercise.datum_frame.all().into_iter().any(on) && !of.is_form() && !(asked && of.is_geometrical())
}

/// Characteristics whose value changes when this is planted, and positions whose bonus does.
fn moved(exercise: &Exercise, knob: &Knob, nominal: &[Option<Decimal>], blank: &Serial) -> Vec<usize> {
    let tried = plate(std::slice::from_ref(knob), &[16], blank.clone());
    let values = room::values(exercise, &tried);
    let differs = |i: &usize| values.get(*i) != nominal.get(*i);
    let mut moved: Vec<usize> = (0..exercise.characteristics.len()).filter(differs).collect();
    for (i, c) in exercise.characteristics.iter().enumerate() {
        let bonus = c.maximum_material && exercise.size_of(c).is_some_and(|(size, _)| moved.contains(&size));
        if bonus && !moved.contains(&i) {
            moved.push(i);
        }
    }
    moved
}
