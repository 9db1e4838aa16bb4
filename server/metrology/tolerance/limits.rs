//! From a nominal value and its tolerance to the limits that are printed and that decide.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::Tolerance;
use super::general::{GeneralClass, iso2768_angular_minutes, iso2768_linear};
use super::iso286::{IsoClass, IsoError};
use crate::units::{LengthUnit, round_down, round_up};

/// Smallest and largest allowed value, both allowed themselves; an absent one does not limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Limits {
    /// Smallest allowed value.
    pub lower: Option<Decimal>,
    /// Largest allowed value.
    pub upper: Option<Decimal>,
}

impl Limits {
    /// Two-sided limits.
    #[must_use]
    pub const fn between(lower: Decimal, upper: Decimal) -> Self {
        Self {
            lower: Some(lower),
            upper: Some(upper),
        }
    }

    /// A largest value alone.
    #[must_use]
    pub const fn at_most(upper: Decimal) -> Self {
        Self {
            lower: None,
            upper: Some(upper),
        }
    }

    /// Whether a value lies within, the limits included.
    #[must_use]
    pub fn contains(&self, value: Decimal) -> bool {
        self.lower.is_none_or(|lower| value >= lower) && self.upper.is_none_or(|upper| value <= upper)
    }

    /// The limits moved inwards by a guard band; what comes out may be empty ([`Limits::is_empty`]).
    #[must_use]
    pub fn drawn_in(&self, guard: Decimal) -> Self {
        Self {
            lower: self.lower.map(|lower| lower.saturating_add(guard)),
            upper: self.upper.map(|upper| upper.saturating_sub(guard)),
        }
    }

    /// The limits moved outwards by a guard band.
    #[must_use]
    pub fn widened(&self, guard: Decimal) -> Self {
        self.drawn_in(-guard)
    }

    /// The upper limit raised by a bonus of size.
    #[must_use]
    pub fn with_bonus(&self, bonus: Decimal) -> Self {
        Self {
            lower: self.lower,
            upper: self.upper.map(|upper| upper.saturating_add(bonus)),
        }
    }

    /// True when no value lies within.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.width().is_some_and(|width| width < Decimal::ZERO)
    }

    /// Upper less lower limit, where there are both.
    #[must_use]
    pub fn width(&self) -> Option<Decimal> {
        Some(self.upper?.saturating_sub(self.lower?))
    }

    /// Distance from a value to the nearest limit, whichever side it lies on; `None` without limits.
    #[must_use]
    pub fn distance_to_nearest(&self, value: Decimal) -> Option<Decimal> {
        [self.lower, self.upper]
            .into_iter()
            .flatten()
            .map(|limit| value.saturating_sub(limit).abs())
            .min()
    }
}

/// What a tolerance belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ToleranceKind {
    /// A size: diameter, length or width of a slot, distance of opposite faces.
    Size {
        /// True for an inside size (hole, slot), false for an outside one.
        inside: bool,
    },
    /// A coordinate.
    Coordinate,
    /// A distance that is no size: of centres, a step.
    Distance,
    /// An angle in degrees.
    Angle {
        /// The shorter of its sides, in the unit of the exercise; ISO 2768 needs it.
        shorter_side: Option<Decimal>,
    },
    /// Form, orientation or position: a largest value above zero.
    Geometrical,
    /// Position with a bonus of size, where `max 0` is allowed too (zero at maximum material, ISO 2692).
    GeometricalWithBonus,
}

/// What limits need to know besides the nominal value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SizeContext {
    /// Unit of the nominal value, of the tolerance and of the limits (angles are in degrees).
    pub unit: LengthUnit,
    /// Places of a report, to which limits from codes are rounded inwards.
    pub decimals: u32,
    /// What the tolerance belongs to.
    pub kind: ToleranceKind,
}

/// Why a tolerance gives no limits.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ToleranceError {
    /// No room between the limits.
    #[error("the tolerance {0} leaves no room; its width must be above zero")]
    NoWidth(Tolerance),
    /// Limits or deviations the wrong way round.
    #[error("the lower end {lower} of the tolerance is above its upper end {upper}; change their order")]
    Reversed {
        /// What stands as lower.
        lower: Decimal,
        /// What stands as upper.
        upper: Decimal,
    },
    /// Something else than `max` on a geometrical characteristic.
    #[error(
        "the tolerance {0} cannot stand on form, orientation or position, which have a largest value alone; write it as max 0.1"
    )]
    OnlyMax(Tolerance),
    /// `max` below the nominal value.
    #[error("the nominal value {nominal} is above {tolerance}; max states the largest value itself, not a deviation")]
    MaxBelowNominal {
        /// The tolerance.
        tolerance: Tolerance,
        /// The nominal value.
        nominal: Decimal,
    },
    /// A class of ISO 286 on something that is no size.
    #[error(
        "{0} is a class of ISO 286-1, which is for sizes (diameter, length, width, distance of opposite faces); write \u{b1}0.05 or another form here"
    )]
    ClassNotOnSize(IsoClass),
    /// The class of a shaft on a hole.
    #[error(
        "{found} has small letters, which are for outside sizes, and this is an inside one; write {meant} if that was meant"
    )]
    ShaftClassOnHole {
        /// What was written.
        found: IsoClass,
        /// The same in capital letters.
        meant: IsoClass,
    },
    /// The class of a hole on a shaft.
    #[error(
        "{found} has capital letters, which are for inside sizes, and this is an outside one; write {meant} if that was meant"
    )]
    HoleClassOnShaft {
        /// What was written.
        found: IsoClass,
        /// The same in small letters.
        meant: IsoClass,
    },
    /// ISO 286-1 has no value.
    #[error(transparent)]
    Class(#[from] IsoError),
    /// ISO 2768-1 has no value for a length.
    #[error(
        "ISO 2768-{class} gives nothing for {nominal_mm} mm (its table goes from 0.5 to 4000 mm, f to 2000 mm, v from above 3 mm); write the tolerance itself, as in \u{b1}0.1"
    )]
    General {
        /// The class.
        class: GeneralClass,
        /// The length.
        nominal_mm: Decimal,
    },
    /// ISO 2768-1 needs a length for an angle.
    #[error(
        "ISO 2768-{0} goes by the shorter side of an angle, and this angle has none; write the tolerance in degrees, as in \u{b1}0.5"
    )]
    NoShorterSide(GeneralClass),
    /// Rounding to the places of the report leaves nothing.
    #[error(
        "{tolerance} at {nominal} leaves no room when its limits are rounded inwards to {decimals} decimal places; the exercise needs more decimals"
    )]
    LostInRounding {
        /// The tolerance.
        tolerance: Tolerance,
        /// The nominal value.
        nominal: Decimal,
        /// Places of a report.
        decimals: u32,
    },
    /// Numbers beyond what can be added.
    #[error("the tolerance {0} and its nominal value are too large to be added")]
    TooLarge(Tolerance),
}

impl Tolerance {
    /// The limits of a value: exact for tolerances that are written out; those from codes are worked out in mm,
    /// converted exactly and rounded inwards to the places of a report.
    ///
    /// # Errors
    /// A [`ToleranceError`] that says in words what does not go together.
    pub fn limits(&self, nominal: Decimal, context: &SizeContext) -> Result<Limits, ToleranceError> {
        if matches!(
            context.kind,
            ToleranceKind::Geometrical | ToleranceKind::GeometricalWithBonus
        ) {
            return self.geometrical(context.kind);
        }
        match *self {
            Self::PlusMinus(amount) => self.around(nominal, -amount, amount),
            Self::Deviations { upper, lower } => self.around(nominal, lower, upper),
            Self::Limits { lower, upper } => self.ordered(lower, upper),
            Self::Max(upper) if nominal > upper => Err(ToleranceError::MaxBelowNominal {
                tolerance: *self,
                nominal,
            }),
            Self::Max(upper) => Ok(Limits::at_most(upper)),
            Self::IsoClass(class) => self.by_class(class, nominal, context),
            Self::General(class) => self.by_general(class, nominal, context),
        }
    }

    fn geometrical(&self, kind: ToleranceKind) -> Result<Limits, ToleranceError> {
        match *self {
            Self::Max(most) if most > Decimal::ZERO => Ok(Limits::at_most(most)),
            Self::Max(most) if most.is_zero() && kind == ToleranceKind::GeometricalWithBonus => {
                Ok(Limits::at_most(most))
            }
            Self::Max(_) => Err(ToleranceError::NoWidth(*self)),
            _ => Err(ToleranceError::OnlyMax(*self)),
        }
    }

    fn ordered(&self, lower: Decimal, upper: Decimal) -> Result<Limits, ToleranceError> {
        match lower.cmp(&upper) {
            std::cmp::Ordering::Less => Ok(Limits::between(lower, upper)),
            std::cmp::Ordering::Equal => Err(ToleranceError::NoWidth(*self)),
            std::cmp::Ordering::Greater => Err(ToleranceError::Reversed { lower, upper }),
        }
    }

    fn around(&self, nominal: Decimal, lower: Decimal, upper: Decimal) -> Result<Limits, ToleranceError> {
        self.ordered(lower, upper)?;
        let sum = |deviation: Decimal| nominal.checked_add(deviation).ok_or(ToleranceError::TooLarge(*self));
        Ok(Limits::between(sum(lower)?, sum(upper)?))
    }

    fn by_class(&self, class: IsoClass, nominal: Decimal, context: &SizeContext) -> Result<Limits, ToleranceError> {
        let ToleranceKind::Size { inside } = context.kind else {
            return Err(ToleranceError::ClassNotOnSize(class));
        };
        let meant = class.counterpart();
        match (inside, class.is_inside()) {
            (true, false) => return Err(ToleranceError::ShaftClassOnHole { found: class, meant }),
            (false, true) => return Err(ToleranceError::HoleClassOnShaft { found: class, meant }),
            _ => {}
        }
        let nominal_mm = context.unit.to_mm(nominal);
        let deviations = class.deviations(nominal_mm)?;
        let limit = |um: Decimal| context.unit.from_mm(nominal_mm + um * Decimal::new(1, 3));
        self.rounded_inwards(limit(deviations.lower_um), limit(deviations.upper_um), nominal, context)
    }

    fn by_general(
        &self,
        class: GeneralClass,
        nominal: Decimal,
        context: &SizeContext,
    ) -> Result<Limits, ToleranceError> {
        if let ToleranceKind::Angle { shorter_side } = context.kind {
            let side = shorter_side.ok_or(ToleranceError::NoShorterSide(class))?;
            let minutes =
                iso2768_angular_minutes(context.unit.to_mm(side), class).ok_or(ToleranceError::NoShorterSide(class))?;
            let degrees = Decimal::from(minutes) / Decimal::from(60);
            let limits = self.around(nominal, -degrees, degrees)?;
            return self.both_rounded(limits, nominal, context);
        }
        let nominal_mm = context.unit.to_mm(nominal);
        let amount = iso2768_linear(nominal_mm.abs(), class).ok_or(ToleranceError::General {
            class,
            nominal_mm: nominal_mm.normalize(),
        })?;
        let limit = |mm: Decimal| context.unit.from_mm(nominal_mm + mm);
        self.rounded_inwards(limit(-amount), limit(amount), nominal, context)
    }

    fn both_rounded(&self, exact: Limits, nominal: Decimal, context: &SizeContext) -> Result<Limits, ToleranceError> {
        match (exact.lower, exact.upper) {
            (Some(lower), Some(upper)) => self.rounded_inwards(lower, upper, nominal, context),
            _ => Ok(exact),
        }
    }

    fn rounded_inwards(
        &self,
        lower: Decimal,
        upper: Decimal,
        nominal: Decimal,
        context: &SizeContext,
    ) -> Result<Limits, ToleranceError> {
        let decimals = context.decimals;
        let (lower, upper) = (round_up(lower, decimals), round_down(upper, decimals));
        if lower >= upper {
            return Err(ToleranceError::LostInRounding {
                tolerance: *self,
                nominal,
                decimals,
            });
        }
        Ok(Limits::between(lower, upper))
    }
}

#[cfg(test)]
mod tests;
