//! Tolerances as a drawing states them, and the limits that follow from them.
//!
//! Everything here is exact decimal arithmetic, because a limit decides a mark. Values and limits are in the unit of
//! the exercise (`mm` or `inch`), those of angles in decimal degrees.

mod fits;
mod general;
mod iso286;
mod limits;
mod position;
mod temperature;
mod text;

pub use fits::{Fit, FitKind};
pub use general::{GeneralClass, iso2768_angular_minutes, iso2768_linear, iso2768_radius};
pub use iso286::{Grade, IsoClass, IsoDeviations, IsoError, Letter};
pub use limits::{Limits, SizeContext, ToleranceError, ToleranceKind};
pub use position::{MaterialCondition, bonus, position, virtual_condition, within_zone};
pub use temperature::{LengthAt20, Thermal, length_at_20};
pub use text::{TextProblem, ToleranceTextError};

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// A tolerance, as it is written beside a nominal value. `FromStr` reads every form of the exercise file, `Display`
/// writes text that reads back to the same value; serde uses that text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Tolerance {
    /// `±0.05`: the same to either side.
    PlusMinus(Decimal),
    /// `+0.02/-0.01`: two deviations from the nominal, both with their sign.
    Deviations {
        /// The larger one.
        upper: Decimal,
        /// The smaller one.
        lower: Decimal,
    },
    /// `32.00..32.05`: the limits themselves.
    Limits {
        /// Smallest allowed value.
        lower: Decimal,
        /// Largest allowed value.
        upper: Decimal,
    },
    /// `max 0.1`: a largest value alone, as all geometrical tolerances have it.
    Max(Decimal),
    /// `H7`: a tolerance class of ISO 286-1.
    IsoClass(IsoClass),
    /// `ISO 2768-m`: the general tolerances of ISO 2768-1.
    General(GeneralClass),
}
