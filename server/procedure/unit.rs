//! The unit in which all values were taken.

use super::edit::{Edit, FaultError, finite};
use super::fault::Fault;
use super::model::Model;
use super::reads::Work;

/// **wrong-unit**: every length times factor (25.4 or 1/25.4), then written with the exercise's decimals. Acts on the
/// whole value, noise included; angles stay.
pub(super) fn read(faults: &[Fault]) -> Result<f64, FaultError> {
    let mut unit = 1.0;
    for fault in faults {
        if let Fault::WrongUnit { factor } = fault {
            if finite("factor", *factor)? <= 0.0 {
                return Err(FaultError::Parameter {
                    parameter: "factor",
                    value: *factor,
                    wanted: "25.4 or 1/25.4",
                });
            }
            unit *= factor;
        }
    }
    Ok(unit)
}

pub(super) fn apply(model: &Model, edit: &Edit, work: &mut Work) {
    if edit.unit.to_bits() == 1.0_f64.to_bits() {
        return;
    }
    for (line, value) in model.lines.iter().zip(&mut work.values) {
        if !line.of.is_angle() {
            *value *= edit.unit;
        }
    }
    // Only coordinates are ever crossed, and those are lengths.
    for value in &mut work.crossed {
        *value *= edit.unit;
    }
}
