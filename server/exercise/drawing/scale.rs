//! Scales of drawings.

use std::fmt;

use crate::units::LengthUnit;

/// A scale as a drawing states it: `paper : part`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scale {
    /// Length on paper.
    pub paper: u32,
    /// Length of the part.
    pub part: u32,
}

const fn scale(paper: u32, part: u32) -> Scale {
    Scale { paper, part }
}

/// Scales of ISO 5455, largest first.
const MM: [Scale; 11] = [
    scale(20, 1),
    scale(10, 1),
    scale(5, 1),
    scale(2, 1),
    scale(1, 1),
    scale(1, 2),
    scale(1, 5),
    scale(1, 10),
    scale(1, 20),
    scale(1, 50),
    scale(1, 100),
];

/// Scales of inch drawings, largest first (common practice, no published source).
const INCH: [Scale; 11] = [
    scale(20, 1),
    scale(10, 1),
    scale(4, 1),
    scale(2, 1),
    scale(1, 1),
    scale(1, 2),
    scale(1, 4),
    scale(1, 8),
    scale(1, 16),
    scale(1, 32),
    scale(1, 64),
];

impl Scale {
    /// The scales that a drawing in this unit may have, largest first.
    pub(super) const fn all(unit: LengthUnit) -> &'static [Self] {
        match unit {
            LengthUnit::Mm => &MM,
            LengthUnit::Inch => &INCH,
        }
    }

    /// Paper over part.
    #[must_use]
    pub fn factor(self) -> f64 {
        f64::from(self.paper) / f64::from(self.part)
    }
}

impl fmt::Display for Scale {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.paper, self.part)
    }
}
