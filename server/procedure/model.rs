//! An exercise and its plates, prepared once for many predictions.

use std::collections::BTreeMap;

use super::edit::{Edit, FaultError};
use super::fault::Fault;
use super::frame::{DatumSetting, FrameError, settings};
use super::noise::{Noise, TouchNoise};
use super::reads::{Kind, Part, Read, Work, compile, evaluate};
use crate::exercise::geometry::{self, Asked, FeatureState, wrap_half_turn};
use crate::exercise::model::{Axis, Exercise, Owner, Quantity};
use crate::exercise::names::{BalloonNo, FeatureKey, Serial};
use crate::exercise::plate::{self, Plate};
use crate::units::decimal_to_f64;

/// One characteristic, ready to be evaluated.
#[derive(Debug, Clone)]
pub(super) struct Line {
    pub(super) owner: Owner,
    pub(super) of: Quantity,
    pub(super) datum: Option<char>,
    pub(super) nominal: f64,
    pub(super) u_lab: f64,
    pub(super) read: Read,
    /// For x and y of a feature: where the sheet has the other one of the two.
    pub(super) partner: Option<usize>,
}

impl Line {
    /// The axis of a coordinate.
    pub(super) const fn axis(&self) -> Option<Axis> {
        self.of.axis()
    }
}

/// What one plate is, ready for predictions.
#[derive(Debug, Clone)]
pub(super) struct Truth {
    pub(super) serial: Serial,
    /// True place of every feature in the part frame.
    pub(super) at: Vec<[f64; 3]>,
    /// Model value of every characteristic that no procedure's place enters: sizes, form, angles, distances of faces.
    pub(super) own: Vec<f64>,
    /// Model value of every characteristic under the perfect procedure.
    pub(super) perfect: Vec<f64>,
    /// Reference of every characteristic, the model's value where the plate is not established.
    pub(super) base: Vec<f64>,
    pub(super) noise: Noise,
}

/// An exercise and its plates, prepared. Values are in sheet order, in the exercise's unit, angles in degrees.
#[derive(Debug, Clone)]
pub struct Model {
    pub(super) decimals: u32,
    pub(super) tip: f64,
    /// By the axis that they set.
    pub(super) datums: [DatumSetting; 3],
    pub(super) outline: Vec<[f64; 2]>,
    pub(super) mistaken: Vec<(char, String, f64)>,
    pub(super) keys: Vec<FeatureKey>,
    pub(super) parts: Vec<Part>,
    pub(super) lines: Vec<Line>,
    pub(super) by_no: BTreeMap<BalloonNo, usize>,
    pub(super) plates: Vec<Truth>,
    pub(super) touches: TouchNoise,
}

/// An exercise that the model cannot work with.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ModelError {
    /// The datum frame is not one of three axes.
    #[error(transparent)]
    Frame(#[from] FrameError),
    /// A characteristic asks for something that its feature does not have.
    #[error("characteristic {no} has no value on this feature; `check` says which quantities the feature has")]
    NoValue {
        /// Balloon number.
        no: BalloonNo,
    },
}

/// A plate that is not in the model.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("there is no plate {0} in this exercise's plates file")]
pub struct NoSuchPlate(pub Serial);

/// Place of a plate in a [`Model`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlateIndex(pub(super) usize);

impl Model {
    /// Prepares an exercise with the plates that its reports may be of.
    ///
    /// # Errors
    /// When the datum touches fix no frame, or a characteristic has no value on its feature; a checked exercise has
    /// neither.
    pub fn new(exercise: &Exercise, plates: &[Plate]) -> Result<Self, ModelError> {
        let datums = settings(&exercise.datum_frame)?;
        let repeatability = decimal_to_f64(exercise.measurement.repeatability);
        let nominal = geometry::nominal_states(exercise);
        let mut model = Self {
            decimals: exercise.decimals,
            tip: decimal_to_f64(exercise.measurement.tip_diameter),
            datums,
            outline: exercise.body.outline.iter().map(|p| p.map(decimal_to_f64)).collect(),
            mistaken: exercise
                .mistaken_surfaces
                .iter()
                .map(|m| (m.instead_of, m.name.clone(), decimal_to_f64(m.at)))
                .collect(),
            keys: exercise.features.iter().map(|f| f.key.clone()).collect(),
            parts: exercise
                .features
                .iter()
                .zip(&nominal)
                .map(|(f, s)| Part::new(f, s))
                .collect(),
            lines: lines(exercise, &nominal),
            by_no: exercise
                .characteristics
                .iter()
                .enumerate()
                .map(|(i, c)| (c.no.clone(), i))
                .collect(),
            plates: Vec::with_capacity(plates.len()),
            touches: TouchNoise::new(&exercise.datum_frame, repeatability)?,
        };
        for plate in plates {
            let truth = model.truth(exercise, &nominal, plate)?;
            model.plates.push(truth);
        }
        Ok(model)
    }

    fn truth(&self, exercise: &Exercise, nominal: &[FeatureState], plate: &Plate) -> Result<Truth, ModelError> {
        let states = plate::true_states(exercise, plate);
        let references = plate::references(exercise, plate);
        let mut own = Vec::with_capacity(self.lines.len());
        for c in &exercise.characteristics {
            let value = geometry::value(&exercise.features, &exercise.between, nominal, &states, Asked::from(c));
            own.push(value.ok_or_else(|| ModelError::NoValue { no: c.no.clone() })?);
        }
        let mut truth = Truth {
            serial: plate.serial.clone(),
            at: states.iter().map(|s| s.at).collect(),
            own,
            perfect: Vec::new(),
            base: Vec::new(),
            noise: Noise::default(),
        };
        let mut work = Work::default();
        evaluate(self, &truth, &Edit::none(), &mut work);
        let known = references.iter().map(|r| r.as_ref().map(|r| decimal_to_f64(r.value)));
        truth.base = known
            .zip(&work.values)
            .map(|(reference, model)| reference.unwrap_or(*model))
            .collect();
        truth.perfect = work.values;
        let standard = references
            .iter()
            .map(|r| r.as_ref().map(plate::Reference::standard))
            .collect();
        truth.noise = Noise::new(self, &truth, standard);
        Ok(truth)
    }

    /// Where the plate with this serial is.
    ///
    /// # Errors
    /// When there is none.
    pub fn plate(&self, serial: &Serial) -> Result<PlateIndex, NoSuchPlate> {
        let found = self.plates.iter().position(|p| p.serial == *serial).map(PlateIndex);
        found.ok_or_else(|| NoSuchPlate(serial.clone()))
    }

    /// Serials of all plates in the order of their file.
    pub fn serials(&self) -> impl Iterator<Item = &Serial> {
        self.plates.iter().map(|p| &p.serial)
    }

    /// Number of characteristics.
    #[must_use]
    pub fn len(&self) -> usize {
        self.lines.len()
    }

    /// Whether the exercise has no characteristic.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.lines.is_empty()
    }

    /// Places behind the point that a report carries.
    #[must_use]
    pub const fn decimals(&self) -> u32 {
        self.decimals
    }

    /// What the faults do, looked up once; an [`Edit`] can be applied to any plate of the model.
    ///
    /// # Errors
    /// When a fault names an item, feature, datum, surface or serial that the exercise does not have.
    pub fn edit(&self, faults: &[Fault]) -> Result<Edit, FaultError> {
        Edit::new(self, faults)
    }

    /// What the procedure with these faults reports on the plate, without noise and without rounding, in sheet order.
    /// `None` where the plate is not established, and where a gross error of unknown size stands. Without faults these
    /// are the reference values. Exchanged digits are those of the value rounded to the report's places.
    ///
    /// # Errors
    /// As [`Model::edit`].
    pub fn predict(&self, plate: PlateIndex, faults: &[Fault]) -> Result<Vec<Option<f64>>, FaultError> {
        let edit = self.edit(faults)?;
        let mut work = Work::default();
        self.predict_into(plate, &edit, &mut work);
        Ok((0..self.len())
            .map(|i| {
                self.known(plate, &edit, i)
                    .then(|| work.values.get(i).copied())
                    .flatten()
            })
            .collect())
    }

    /// Whether the model can say anything of a characteristic under the edit.
    #[must_use]
    pub fn known(&self, plate: PlateIndex, edit: &Edit, line: usize) -> bool {
        let source = self.plates.get(edit.source.unwrap_or(plate.0));
        let established = source.is_some_and(|t| t.noise.reference.get(line).is_some_and(Option::is_some));
        established && !edit.slips.iter().any(|s| s.is_unknown(line))
    }

    /// As [`Model::predict`] without allocation: the values are left in `work.values`, also where nothing is
    /// established ([`Model::known`] tells).
    pub fn predict_into(&self, plate: PlateIndex, edit: &Edit, work: &mut Work) {
        self.measured_into(plate, edit, work);
        self.write_down(edit, work);
        for slip in &edit.slips {
            slip.predict(&mut work.values, self.decimals);
        }
    }

    /// The values as measured: after placing, frame, tip and temperature, before unit and writing.
    pub(super) fn measured_into(&self, plate: PlateIndex, edit: &Edit, work: &mut Work) {
        let Some(truth) = self.plates.get(edit.source.unwrap_or(plate.0)) else {
            return;
        };
        if edit.moves_nothing() {
            work.values.clear();
            work.values.extend_from_slice(&truth.base);
            work.crossed.clear();
            if edit.exchanges_axes() {
                evaluate_crossed(self, truth, edit, work);
            }
            return;
        }
        evaluate(self, truth, edit, work);
        for (i, line) in self.lines.iter().enumerate() {
            let (Some(value), Some(perfect), Some(base)) =
                (work.values.get_mut(i), truth.perfect.get(i), truth.base.get(i))
            else {
                continue;
            };
            let change = *value - perfect;
            let change = if matches!(line.read.kind, Kind::PlanAngle) {
                wrap_half_turn(change)
            } else {
                change
            };
            *value = base + change;
            if line.of.is_geometrical() {
                *value = value.max(0.0);
            }
        }
        if edit.exchanges_axes() {
            evaluate_crossed(self, truth, edit, work);
        }
    }

    /// Unit and bulk writing on values as measured.
    pub(super) fn write_down(&self, edit: &Edit, work: &mut Work) {
        super::unit::apply(self, edit, work);
        super::writing::apply(self, edit, work);
    }

    /// The noise of an honest pair on this plate. `None` for a plate that is not in the model.
    #[must_use]
    pub fn noise(&self, plate: PlateIndex) -> Option<&Noise> {
        self.plates.get(plate.0).map(|truth| &truth.noise)
    }

    /// Place on the sheet of a balloon number.
    #[must_use]
    pub fn line_of(&self, no: &BalloonNo) -> Option<usize> {
        self.by_no.get(no).copied()
    }
}

/// What x and y of a feature would be if the sheet's columns were exchanged and the other one is not on the sheet.
fn evaluate_crossed(model: &Model, truth: &Truth, edit: &Edit, work: &mut Work) {
    super::reads::place_all(model, truth, edit, work);
    work.crossed.clear();
    for line in &model.lines {
        let other = match (line.owner, line.axis()) {
            (Owner::Feature(i), Some(Axis::X)) => work.places.get(i).map(|p| p[1]),
            (Owner::Feature(i), Some(Axis::Y)) => work.places.get(i).map(|p| p[0]),
            _ => None,
        };
        work.crossed.push(other.unwrap_or(0.0));
    }
}

fn lines(exercise: &Exercise, nominal: &[FeatureState]) -> Vec<Line> {
    let partner = |owner: Owner, of: Quantity| {
        let other = match of {
            Quantity::X => Quantity::Y,
            Quantity::Y => Quantity::X,
            _ => return None,
        };
        exercise
            .characteristics
            .iter()
            .position(|c| c.owner == owner && c.of == other)
    };
    exercise
        .characteristics
        .iter()
        .map(|c| Line {
            owner: c.owner,
            of: c.of,
            datum: c.datum,
            nominal: decimal_to_f64(c.nominal),
            u_lab: decimal_to_f64(c.u_lab),
            read: compile(exercise, nominal, c),
            partner: partner(c.owner, c.of),
        })
        .collect()
}
