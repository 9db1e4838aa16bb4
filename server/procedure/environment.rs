//! The environment: what temperature does to lengths.

use super::edit::{FaultError, finite};
use super::fault::Fault;

/// **temperature**: every length times (1 + ppm 1e-6). Angles stay; position is computed after it.
pub(super) fn read(faults: &[Fault]) -> Result<f64, FaultError> {
    let mut scale = 1.0;
    for fault in faults {
        if let Fault::Temperature { ppm } = fault {
            scale *= 1.0 + finite("ppm", *ppm)? * 1e-6;
        }
    }
    Ok(scale)
}
