//! What each plate really is: planted deviations, references, and the reference value of every characteristic.
//!
//! Nothing in this module may reach a student before the truth of the plate is released.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::geometry::{self, Asked, FeatureState};
use super::model::{Characteristic, Exercise, Owner, Quantity};
use super::names::{BalloonNo, ExerciseCode, FeatureKey, Serial};
use crate::units::{decimal_from_f64, decimal_to_f64};

/// The plates of one exercise, as a plates file holds them.
#[derive(Debug, Clone, PartialEq)]
pub struct Plates {
    /// Exercise that they are copies of.
    pub exercise: ExerciseCode,
    /// In the order of the file.
    pub plates: Vec<Plate>,
}

impl Plates {
    /// The plate with this serial.
    #[must_use]
    pub fn by_serial(&self, serial: &Serial) -> Option<&Plate> {
        self.plates.iter().find(|p| p.serial == *serial)
    }
}

/// One copy.
#[derive(Debug, Clone, PartialEq)]
pub struct Plate {
    /// Serial number.
    pub serial: Serial,
    /// Metal or numbers.
    pub kind: PlateKind,
    /// Seed that the deviations were proposed from, as written.
    pub seed: Option<Seed>,
    /// Expanded uncertainty, k = 2, of what the shop was asked to make.
    pub shop_uncertainty: Option<Decimal>,
    /// Deviations from nominal by feature (or pair) and quantity.
    pub planted: BTreeMap<FeatureKey, BTreeMap<Quantity, Decimal>>,
    /// What calibration found.
    pub references: BTreeMap<BalloonNo, Calibrated>,
}

/// Seed as the file states it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Seed {
    /// Hexadecimal text.
    Hex(String),
    /// An integer.
    Integer(i64),
}

/// Physical or virtual.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlateKind {
    /// A real part.
    Physical,
    /// Numbers only, exactly known.
    Virtual,
}

/// A calibrated value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Calibrated {
    /// Value in the unit of the characteristic.
    pub value: Decimal,
    /// Expanded uncertainty as stated.
    pub expanded: Decimal,
    /// Its coverage factor.
    pub k: Decimal,
}

/// What is known of one characteristic of one plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Reference {
    /// Value, never rounded before it is judged.
    pub value: Decimal,
    /// Twice the standard uncertainty.
    pub expanded: Decimal,
}

impl Reference {
    /// Standard uncertainty.
    #[must_use]
    pub fn standard(&self) -> f64 {
        decimal_to_f64(self.expanded) / 2.0
    }
}

/// The plate's features as far as planted deviations and references tell.
#[must_use]
pub fn true_states(exercise: &Exercise, plate: &Plate) -> Vec<FeatureState> {
    let mut states = geometry::nominal_states(exercise);
    for (i, feature) in exercise.features.iter().enumerate() {
        let Some(state) = states.get_mut(i) else { continue };
        for (quantity, deviation) in plate.planted.get(&feature.key).into_iter().flatten() {
            add(state, *quantity, decimal_to_f64(*deviation));
        }
    }
    // An orientation between two features is planted under the pair's key and carried by the first of them.
    for pair in &exercise.between {
        let Some(state) = states.get_mut(pair.features[0]) else {
            continue;
        };
        for (quantity, deviation) in plate.planted.get(&pair.key).into_iter().flatten() {
            state.own.insert(*quantity, decimal_to_f64(*deviation));
        }
    }
    for c in &exercise.characteristics {
        let (Owner::Feature(i), Some(found)) = (c.owner, plate.references.get(&c.no)) else {
            continue;
        };
        if let Some(state) = states.get_mut(i) {
            set(state, c.of, decimal_to_f64(found.value));
        }
    }
    states
}

fn add(state: &mut FeatureState, quantity: Quantity, by: f64) {
    match quantity {
        Quantity::X => state.at[0] += by,
        Quantity::Y => state.at[1] += by,
        Quantity::Z => state.at[2] += by,
        Quantity::Diameter => state.diameter += by,
        Quantity::Length => state.length += by,
        Quantity::Width => state.width += by,
        Quantity::Angle => state.angle += by,
        _ => *state.own.entry(quantity).or_insert(0.0) += by,
    }
}

fn set(state: &mut FeatureState, quantity: Quantity, to: f64) {
    match quantity {
        Quantity::X => state.at[0] = to,
        Quantity::Y => state.at[1] = to,
        Quantity::Z => state.at[2] = to,
        Quantity::Diameter => state.diameter = to,
        Quantity::Length => state.length = to,
        Quantity::Width => state.width = to,
        // Angles of lines and slots mean the same every half turn: keep the reading near the state.
        Quantity::Angle => state.angle += geometry::wrap_half_turn(to - state.angle),
        // A position says nothing of the direction in which the feature is off.
        Quantity::Position | Quantity::Coaxiality | Quantity::Distance => {}
        _ => {
            state.own.insert(quantity, to);
        }
    }
}

/// The reference of every characteristic in sheet order; `None` where the plate is not established.
///
/// Where calibration found no value it follows from nominal geometry, planted deviations and what other references
/// say of the same feature, with the shop's uncertainty (of an angle in proportion); a virtual plate is exact.
#[must_use]
pub fn references(exercise: &Exercise, plate: &Plate) -> Vec<Option<Reference>> {
    let nominal = geometry::nominal_states(exercise);
    let states = true_states(exercise, plate);
    exercise
        .characteristics
        .iter()
        .map(|c| reference(exercise, plate, &nominal, &states, c))
        .collect()
}

fn reference(
    exercise: &Exercise,
    plate: &Plate,
    nominal: &[FeatureState],
    states: &[FeatureState],
    c: &Characteristic,
) -> Option<Reference> {
    if let Some(found) = plate.references.get(&c.no) {
        let expanded = (found.expanded * Decimal::TWO).checked_div(found.k)?;
        // Angles of lines and slots mean the same every half turn: a calibrated 179.98 is judged as -0.02 where that
        // is nearer to the print.
        let value = if exercise.is_plan_direction(c) {
            geometry::at_nearest_half_turn(found.value, c.nominal)
        } else {
            found.value
        };
        return Some(Reference { value, expanded });
    }
    let expanded = match (plate.kind, plate.shop_uncertainty) {
        (PlateKind::Virtual, _) => Decimal::ZERO,
        (PlateKind::Physical, Some(shop)) if c.of.is_angle() => {
            let base = exercise.measurement.expanded_uncertainty;
            (shop * c.u_lab).checked_div(base).unwrap_or(shop)
        }
        (PlateKind::Physical, Some(shop)) => shop,
        (PlateKind::Physical, None) => return None,
    };
    let value = geometry::value(&exercise.features, &exercise.between, nominal, states, Asked::from(c))?;
    // A stated nominal may be the geometry's, rounded: what is planted is a deviation from the print.
    let value = decimal_from_f64(value)?;
    Some(Reference { value, expanded })
}
