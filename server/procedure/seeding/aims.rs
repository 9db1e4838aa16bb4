//! What plates are wanted, and the seed that they grow from.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;

use crate::exercise::model::{Characteristic, Exercise};
use crate::exercise::plate::PlateKind;
use crate::procedure::sampler::Sampler;
use crate::units::LengthUnit;

/// Most copies that are proposed at once.
pub const MOST_COPIES: usize = 200;

/// 128 bits that decide everything about a proposal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlateSeed(pub u128);

/// A text that is no seed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("a seed is 1 to 32 hexadecimal digits, as in 9f1c0a7be2d44c51")]
pub struct SeedError;

impl FromStr for PlateSeed {
    type Err = SeedError;

    fn from_str(text: &str) -> Result<Self, SeedError> {
        if text.is_empty() || text.len() > 32 || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
            return Err(SeedError);
        }
        u128::from_str_radix(text, 16).map(Self).map_err(|_| SeedError)
    }
}

impl fmt::Display for PlateSeed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:032x}", self.0)
    }
}

impl PlateSeed {
    /// The stream of the seed for one try: the lower half keys the generator, the upper half and the number of the try
    /// stand in its label.
    pub(super) fn stream(self, attempt: u32) -> Sampler {
        let bytes = self.0.to_be_bytes();
        let (high, low) = bytes.split_at(8);
        let number = |half: &[u8]| <[u8; 8]>::try_from(half).map_or(0, u64::from_be_bytes);
        let label = format!("{:016x}plate{attempt:03}", number(high));
        Sampler::new(number(low), &label)
    }
}

/// What plates are wanted.
#[derive(Debug, Clone, PartialEq)]
pub struct Aims {
    /// How many.
    pub copies: usize,
    /// Nonconforming characteristics on each, by the limits as printed (with the bonus of the size).
    pub nonconforming: usize,
    /// Characteristics close to a limit on each, inside and outside together.
    pub close: usize,
    /// What close is: a share of half the tolerance (of the whole of a one-sided one), 0 to 1.
    pub share: Decimal,
    /// Characteristics in which two copies differ by more than 3 U.
    pub apart: usize,
    /// Smallest step of a length that the shop makes.
    pub step: Decimal,
    /// Smallest step of an angle in degrees.
    pub angle_step: Decimal,
    /// Thinnest wall.
    pub wall: Decimal,
    /// Metal or numbers.
    pub kind: PlateKind,
    /// Expanded uncertainty, k = 2, of what the shop makes, where it is trusted.
    pub shop_uncertainty: Option<Decimal>,
}

impl Aims {
    /// What is usual for an exercise: three nonconforming and two close, a step of the report's last place, angles by
    /// hundredths of a degree (thousandths where a tolerance is narrow), walls of 1 mm or 0.04 in (common practice, no published source).
    #[must_use]
    pub fn usual(exercise: &Exercise, copies: usize) -> Self {
        let count = exercise.characteristics.len();
        let last_place = Decimal::new(1, exercise.decimals);
        let share = Decimal::new(15, 2);
        let narrow = |c: &Characteristic| {
            let half = c.limits.width().unwrap_or(Decimal::ONE) / Decimal::TWO;
            c.of.is_angle() && share * half < Decimal::new(1, 2)
        };
        let fine = exercise.characteristics.iter().any(narrow);
        let wall = match exercise.units {
            LengthUnit::Mm => Decimal::ONE,
            LengthUnit::Inch => Decimal::new(4, 2),
        };
        Self {
            copies,
            nonconforming: count.min(3),
            close: count.saturating_sub(3).min(2),
            share,
            apart: count.min(3),
            step: last_place,
            angle_step: if fine { Decimal::new(1, 3) } else { Decimal::new(1, 2) },
            wall,
            kind: PlateKind::Physical,
            shop_uncertainty: None,
        }
    }
}
