//! Fits: what a hole and a shaft of the same nominal size make together (ISO 286-1, clause 3).

use rust_decimal::Decimal;
use serde::Serialize;

use super::{IsoClass, IsoDeviations, IsoError};

/// The kind of a fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FitKind {
    /// The hole is never smaller than the shaft; equal in the extreme.
    Clearance,
    /// Either may be the larger.
    Transition,
    /// The hole is never larger than the shaft; equal in the extreme.
    Interference,
}

/// Clearances in micrometres; a negative one is an interference.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Fit {
    /// Smallest hole less largest shaft.
    pub min_clearance_um: Decimal,
    /// Largest hole less smallest shaft.
    pub max_clearance_um: Decimal,
    /// What that makes.
    pub kind: FitKind,
}

impl Fit {
    /// The fit of two sets of deviations from one nominal size.
    #[must_use]
    pub fn of(hole: IsoDeviations, shaft: IsoDeviations) -> Self {
        let min_clearance_um = hole.lower_um - shaft.upper_um;
        let max_clearance_um = hole.upper_um - shaft.lower_um;
        let kind = if min_clearance_um >= Decimal::ZERO {
            FitKind::Clearance
        } else if max_clearance_um <= Decimal::ZERO {
            FitKind::Interference
        } else {
            FitKind::Transition
        };
        Self {
            min_clearance_um,
            max_clearance_um,
            kind,
        }
    }

    /// The fit of two classes at a nominal size in mm.
    ///
    /// # Errors
    /// What [`IsoClass::deviations`] says of either, and [`IsoError::NotAFit`] unless the first is a hole and the second
    /// a shaft.
    pub fn of_classes(nominal_mm: Decimal, hole: IsoClass, shaft: IsoClass) -> Result<Self, IsoError> {
        if !hole.is_inside() || shaft.is_inside() {
            return Err(IsoError::NotAFit { hole, shaft });
        }
        Ok(Self::of(hole.deviations(nominal_mm)?, shaft.deviations(nominal_mm)?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn touching_limits_still_make_a_clearance_or_an_interference() {
        let fit = |hole: &str, shaft: &str| {
            Fit::of_classes(Decimal::from(25), hole.parse().unwrap(), shaft.parse().unwrap()).map(|fit| fit.kind)
        };
        assert_eq!(fit("H7", "h6"), Ok(FitKind::Clearance));
        assert_eq!(fit("H7", "k6"), Ok(FitKind::Transition));
        // Largest hole 25.021, smallest shaft 25.022.
        assert_eq!(fit("H7", "p6"), Ok(FitKind::Interference));
        // ES = 0 of N9 against ei = 0 of k8: equal in the extreme.
        assert_eq!(fit("N9", "k8"), Ok(FitKind::Interference));
        assert!(matches!(fit("h7", "g6"), Err(IsoError::NotAFit { .. })));
        assert!(matches!(fit("H7", "G6"), Err(IsoError::NotAFit { .. })));
    }
}
