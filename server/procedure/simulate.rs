//! What a pair would measure: the prediction of a procedure with the noise of an honest pair.

use super::edit::{Edit, FaultError};
use super::fault::Procedure;
use super::model::{Model, NoSuchPlate, PlateIndex};
use super::reads::Work;
use super::sampler::Sampler;
use crate::exercise::names::Serial;

/// How the noise is drawn. The default is that of an honest pair as declared; the rest is for stress tests.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// Factor on the frame's share.
    pub frame: f64,
    /// Factor on all noise of measuring, the frame's share included; the references' uncertainty stays.
    pub all: f64,
    /// Student's t with 4 degrees of freedom, scaled to the same standard deviation, on touches and values.
    pub heavy_tails: bool,
}

impl Default for Conditions {
    fn default() -> Self {
        Self {
            frame: 1.0,
            all: 1.0,
            heavy_tails: false,
        }
    }
}

impl Conditions {
    /// No noise of measuring; what remains is the uncertainty of the references.
    pub const NOISELESS: Self = Self {
        frame: 0.0,
        all: 0.0,
        heavy_tails: false,
    };

    fn draw(&self, sampler: &mut Sampler) -> f64 {
        if self.heavy_tails {
            sampler.t4()
        } else {
            sampler.normal()
        }
    }
}

/// Why nothing could be simulated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SimulateError {
    /// No such plate.
    #[error(transparent)]
    Plate(#[from] NoSuchPlate),
    /// A fault that does not fit the exercise.
    #[error(transparent)]
    Fault(#[from] FaultError),
}

/// Values of one report before they are rounded and before slips of single values, in sheet order, with the procedure
/// that they were taken with.
#[derive(Debug, Clone)]
pub struct Measured {
    /// Values as they would be written without rounding.
    pub values: Vec<f64>,
    /// The procedure, looked up.
    pub edit: Edit,
}

impl Model {
    /// What a pair with this procedure measures on the plate with this serial.
    ///
    /// Draws from the sampler, whatever the procedure: one number per touch of the datums, then for each characteristic
    /// in sheet order the plate's deviation from its reference and the pair's own noise. So one seed gives the same noise
    /// under every fault. Form and position are cut at 0. Noise enters before unit and writing. Where the plate is not
    /// established, the model's value stands for the reference.
    ///
    /// # Errors
    /// When the serial or something that a fault names does not exist.
    pub fn simulate(
        &self,
        serial: &Serial,
        procedure: &Procedure,
        conditions: Conditions,
        sampler: &mut Sampler,
    ) -> Result<Measured, SimulateError> {
        let plate = self.plate(serial)?;
        let edit = self.edit(procedure.faults())?;
        let mut work = Work::default();
        self.measured_into(plate, &edit, &mut work);
        let source = PlateIndex(edit.source.unwrap_or(plate.0));
        if let Some(noise) = self.noise(source) {
            self.disturb(noise, conditions, sampler, &mut work);
        }
        self.write_down(&edit, &mut work);
        Ok(Measured {
            values: work.values,
            edit,
        })
    }

    fn disturb(&self, noise: &super::noise::Noise, conditions: Conditions, sampler: &mut Sampler, work: &mut Work) {
        let mut shared = vec![0.0; self.lines.len()];
        for loads in &noise.touches {
            // A touch is always t(4) or normal itself, so that the frame's tails are those of its touches.
            let drawn = conditions.draw(sampler) * conditions.frame * conditions.all;
            for (sum, load) in shared.iter_mut().zip(loads) {
                *sum += drawn * load;
            }
        }
        for (i, line) in self.lines.iter().enumerate() {
            let reference = sampler.normal() * noise.reference.get(i).copied().flatten().unwrap_or(0.0);
            let own = conditions.draw(sampler) * noise.independent.get(i).copied().unwrap_or(0.0) * conditions.all;
            let sum = shared.get(i).copied().unwrap_or(0.0) + reference + own;
            if let Some(value) = work.values.get_mut(i) {
                *value += sum;
                if line.of.is_geometrical() {
                    *value = value.max(0.0);
                }
            }
            if let Some(value) = work.crossed.get_mut(i) {
                *value += sum;
            }
        }
    }
}
