//! What is expected before a report is seen: the one file of priors, shown to the instructor.
//!
//! Weights of families are relative (our own judgement, as the project's page of diagnosis states them; no published
//! source). Amounts are in mm, degrees and 1e-6 and turned into the exercise's unit where they are used.

use crate::procedure::fault::Family;

/// One way in which the noise of a pair may be, beside the declared one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseKind {
    /// Factor on all noise of measuring.
    pub all: f64,
    /// Further factor on the frame's share.
    pub frame: f64,
    /// Student's t with four degrees of freedom on the values, scaled to the same standard deviation.
    pub heavy_tails: bool,
    /// Prior probability.
    pub weight: f64,
}

impl NoiseKind {
    /// As declared.
    pub const AS_DECLARED: Self = Self {
        all: 1.0,
        frame: 1.0,
        heavy_tails: false,
        weight: 1.0,
    };
}

/// What a pair's set-up record does to the prior odds of the families that it speaks of (our own judgement, no published
/// source). Modest, because a tick is quickly made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RecordFactors {
    /// Factor where the record says what the print says: a pair that looked is wrong there less often.
    pub agrees: f64,
    /// Factor where it says otherwise.
    pub differs: f64,
    /// A temperature this many kelvin or less from 20 degrees Celsius agrees.
    pub kelvin: f64,
}

/// All priors.
#[derive(Debug, Clone, PartialEq)]
pub struct Priors {
    /// Probability of no fault, one, two and three.
    pub count: [f64; 4],
    /// Probability that a report follows none of the hypotheses.
    pub unexplained: f64,
    /// Relative weight of each family, in the order of [`Family::ALL`].
    pub weights: [f64; 23],
    /// Standard deviation of an origin shift, mm.
    pub shift_mm: f64,
    /// Standard deviation of a wrong tip diameter, mm.
    pub tip_mm: f64,
    /// Standard deviation of the angle of a skewed datum, degrees.
    pub angle_deg: f64,
    /// Standard deviation of a thermal growth, 1e-6.
    pub ppm: f64,
    /// Smallest gross error in units of `U_lab`.
    pub gross_from: f64,
    /// Largest gross error, mm, or this many times `U_lab` where that is more.
    pub gross_to: (f64, f64),
    /// How the noise may be; the first is as declared.
    pub noise: Vec<NoiseKind>,
    /// Posterior probability from which a set is stated, and from which it is suspected.
    pub stated: f64,
    /// See `stated`.
    pub suspected: f64,
    /// What a set-up record changes.
    pub record: RecordFactors,
    /// A free amount below this many of its standard deviations, or an exchange of digits below this many of the
    /// value's, is too small to be told by name: it is a nuisance beside other faults.
    pub identifiable: f64,
}

impl Default for Priors {
    fn default() -> Self {
        let kind = |all, frame, heavy_tails, weight| NoiseKind {
            all,
            frame,
            heavy_tails,
            weight,
        };
        Self {
            count: [0.75, 0.25 * 0.85, 0.25 * 0.15 * 0.95, 0.25 * 0.15 * 0.05],
            unexplained: 1e-4,
            weights: Family::ALL.map(|(_, family)| weight(family)),
            shift_mm: 2.0,
            tip_mm: 1.0,
            angle_deg: 0.5,
            ppm: 60.0,
            gross_from: 10.0,
            gross_to: (5.0, 30.0),
            noise: vec![
                kind(1.0, 1.0, false, 0.67),
                kind(1.0, 2.2, false, 0.08),
                kind(1.0, 1.5, true, 0.05),
                kind(1.5, 1.0, false, 0.08),
                kind(2.1, 1.0, false, 0.07),
                kind(2.1, 1.5, true, 0.03),
                kind(3.5, 1.0, true, 0.02),
            ],
            stated: 0.90,
            suspected: 0.50,
            record: RecordFactors {
                agrees: 0.5,
                differs: 4.0,
                kelvin: 2.0,
            },
            identifiable: 7.0,
        }
    }
}

const fn weight(family: Family) -> f64 {
    match family {
        Family::TipIgnoredOnDatum | Family::TipIgnoredOnSize | Family::TipIgnoredOnSurface | Family::TipWrong => 1.5,
        Family::MistakenSurface | Family::GrossError => 2.0,
        Family::WrongUnit
        | Family::WrongPlate
        | Family::NominalsCopied
        | Family::OppositeCorner
        | Family::PartTurned
        | Family::AxesExchanged
        | Family::AxisReversed => 0.5,
        _ => 1.0,
    }
}

impl Priors {
    /// Relative weight of a family.
    #[must_use]
    pub fn weight(&self, family: Family) -> f64 {
        let place = Family::ALL.iter().position(|(_, f)| *f == family);
        place.and_then(|i| self.weights.get(i)).copied().unwrap_or(0.0)
    }
}
