//! Where the value of a characteristic may lie, and what it then is: conforming or not, close to a limit or clear.

use rust_decimal::Decimal;

use super::aims::Aims;
use crate::exercise::model::{Characteristic, Exercise, Owner, Side};
use crate::exercise::plate::{self, Plate, PlateKind, Reference};
use crate::report::judge::{BonusSize, judged_limits};

/// Places that values are rounded to before they are held against a limit. The one evaluation ends in roots and sines
/// whose last digit a platform may make its own; far above that and far below any limit, so nothing is decided by it.
const PLACES: u32 = 8;

/// What a value is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// Conforming and clear of the limits.
    Inside,
    /// Conforming, close to a limit.
    CloseInside,
    /// Nonconforming, close to a limit.
    CloseOutside,
    /// Nonconforming, clear of the limits.
    Outside,
    /// Neither close nor clear, or further out than a plate should be.
    Between,
}

impl Place {
    /// Whether it is out of limits.
    #[must_use]
    pub const fn is_nonconforming(self) -> bool {
        matches!(self, Self::CloseOutside | Self::Outside)
    }

    /// Whether it is close to a limit.
    #[must_use]
    pub const fn is_close(self) -> bool {
        matches!(self, Self::CloseInside | Self::CloseOutside)
    }
}

/// The room of one characteristic.
#[derive(Debug, Clone)]
pub(super) struct Room {
    /// Nominal.
    pub(super) nominal: Decimal,
    /// Half the tolerance; the whole of a one-sided one.
    pub(super) half: Decimal,
    /// Close to a limit is within this of it.
    pub(super) close: Decimal,
    /// Conforming and clear is at least this from the limits.
    pub(super) clear_in: Decimal,
    /// Nonconforming and clear is at least this beyond a limit.
    pub(super) clear_out: Decimal,
    /// Furthest beyond a limit.
    pub(super) furthest: Decimal,
    /// Form and position start at zero.
    pub(super) from_zero: bool,
}

impl Room {
    /// `None` where no limit leaves any room.
    pub(super) fn of(c: &Characteristic, aims: &Aims) -> Option<Self> {
        let limits = &c.limits;
        let half = match (limits.lower, limits.upper) {
            (Some(lower), Some(upper)) => (upper - lower) / Decimal::TWO,
            (None, Some(upper)) if c.of.is_geometrical() => upper,
            (None, Some(upper)) => (upper - c.nominal).abs(),
            (Some(lower), None) => (c.nominal - lower).abs(),
            (None, None) => return None,
        };
        if half <= Decimal::ZERO {
            return None;
        }
        let close = aims.share * half;
        // Clear of the limits is clear of doubt too, as long as that leaves room inside.
        let doubt = c.u_lab;
        let clear_in = if doubt <= half * Decimal::new(6, 1) {
            close.max(doubt)
        } else {
            close
        };
        let clear_out = close.max(doubt);
        Some(Self {
            nominal: c.nominal,
            half,
            close,
            clear_in,
            clear_out,
            furthest: clear_out + half,
            from_zero: c.of.is_geometrical(),
        })
    }

    /// What a value is, `distance` inside of the nearest limit (below zero: beyond it).
    fn place(&self, distance: Decimal, size_out: bool) -> Place {
        let off = distance.abs();
        if off <= self.close {
            return if distance < Decimal::ZERO || size_out {
                Place::CloseOutside
            } else {
                Place::CloseInside
            };
        }
        if size_out {
            return Place::Outside;
        }
        if distance > Decimal::ZERO {
            return if off >= self.clear_in {
                Place::Inside
            } else {
                Place::Between
            };
        }
        if off >= self.clear_out && off <= self.furthest {
            Place::Outside
        } else {
            Place::Between
        }
    }
}

/// Values of all characteristics, rounded as they are judged: references where there are any, what was planted elsewhere,
/// whether or not the shop is trusted to have made it so.
pub(super) fn values(exercise: &Exercise, plate: &Plate) -> Vec<Option<Decimal>> {
    let made = Plate {
        kind: PlateKind::Virtual,
        ..plate.clone()
    };
    let rounded = |r: Option<Reference>| r.map(|r| r.value.round_dp(PLACES));
    plate::references(exercise, &made).into_iter().map(rounded).collect()
}

/// What every characteristic of a plate is; `None` where it has no limits or no value.
pub(super) fn places(exercise: &Exercise, rooms: &[Option<Room>], values: &[Option<Decimal>]) -> Vec<Option<Place>> {
    let place = |(i, c): (usize, &Characteristic)| {
        let (room, value) = (rooms.get(i)?.as_ref()?, values.get(i).copied().flatten()?);
        let judged = judged_limits(c, bonus_size(exercise, c, values));
        let inside = |limit: Option<Decimal>, sign: Decimal| limit.map(|l| (l - value) * sign);
        let distances = [
            inside(judged.limits.upper, Decimal::ONE),
            inside(judged.limits.lower, Decimal::NEGATIVE_ONE),
        ];
        let distance = distances.into_iter().flatten().min()?;
        Some(room.place(distance, judged.size_out))
    };
    exercise.characteristics.iter().enumerate().map(place).collect()
}

fn bonus_size<'e>(exercise: &'e Exercise, c: &Characteristic, values: &[Option<Decimal>]) -> Option<BonusSize<'e>> {
    if !c.maximum_material {
        return None;
    }
    let (index, characteristic) = exercise.size_of(c)?;
    let side = match c.owner {
        Owner::Feature(i) => exercise.features.get(i)?.side.unwrap_or(Side::Inside),
        Owner::Between(_) => return None,
    };
    let value = values.get(index).copied().flatten();
    Some(BonusSize {
        characteristic,
        side,
        value,
    })
}
