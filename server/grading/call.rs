//! The call: what the pair says of a characteristic, against its own number and against the plate.

use rust_decimal::Decimal;

use crate::exercise::model::{Characteristic, MarksRules, Side};
use crate::exercise::plate::Reference;
use crate::metrology::conformity::{Conformity, decide};
use crate::metrology::tolerance::Limits;
use crate::report::call::Call;
use crate::units::{decimal_from_f64, decimal_to_f64};

/// The size that a position at maximum material takes its bonus from.
#[derive(Debug, Clone, Copy)]
pub struct BonusSize<'a> {
    /// Characteristic of the size.
    pub characteristic: &'a Characteristic,
    /// Hole or shaft.
    pub side: Side,
    /// The size itself; `None` where not known.
    pub value: Option<Decimal>,
}

/// Limits that hold for one value: with the bonus of the size, and whether the size itself is out of its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    /// Limits with bonus.
    pub limits: Limits,
    /// Bonus given.
    pub bonus: Decimal,
    /// The size is out of limits, which makes the position nonconforming.
    pub size_out: bool,
}

/// Limits of a characteristic with the bonus that `size` gives: hole size - lower limit, shaft upper limit - size,
/// never below 0 (ISO 2692, maximum material requirement); a size that is not known gives none.
#[must_use]
pub fn judged_limits(characteristic: &Characteristic, size: Option<BonusSize<'_>>) -> Judged {
    let plain = Judged {
        limits: characteristic.limits,
        bonus: Decimal::ZERO,
        size_out: false,
    };
    let Some((size, value)) = size.and_then(|s| Some((s, s.value?))) else {
        return plain;
    };
    let of_size = size.characteristic.limits;
    let room = match size.side {
        Side::Inside => of_size.lower.map(|lower| value - lower),
        Side::Outside => of_size.upper.map(|upper| upper - value),
    };
    let bonus = room.unwrap_or_default().max(Decimal::ZERO);
    let upper = characteristic.limits.upper.map(|u| u + bonus);
    let limits = Limits {
        upper,
        ..characteristic.limits
    };
    Judged {
        limits,
        bonus,
        size_out: !of_size.contains(value),
    }
}

/// What the decision rule makes of a value whose expanded uncertainty is `expanded`.
#[must_use]
pub fn call_of(rules: &MarksRules, judged: &Judged, value: Decimal, expanded: Decimal) -> Call {
    if judged.size_out {
        return Call::Nonconforming;
    }
    let guard = rules.guard_factor * expanded;
    match decide(value, &judged.limits, rules.decision_rule, guard) {
        Conformity::Conforming => Call::Conforming,
        Conformity::Nonconforming => Call::Nonconforming,
        Conformity::Undecided => Call::Undecided,
    }
}

/// Whether the reference lies within sqrt(U_lab^2 + U_ref^2) of a limit, so that an honest pair may read either side.
/// Measured from the limits as printed with the bonus of the reference's size, whatever the guard band.
#[must_use]
pub fn in_doubt(limits: &Limits, u_lab: Decimal, reference: &Reference) -> bool {
    let zone = decimal_to_f64(u_lab).hypot(decimal_to_f64(reference.expanded));
    let zone = decimal_from_f64(zone).unwrap_or(Decimal::MAX);
    let near = |limit: Option<Decimal>| limit.is_some_and(|l| (reference.value - l).abs() <= zone);
    near(limits.lower) || near(limits.upper)
}

/// Scores of one call, 0 or 1 each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CallScore {
    /// The call equals what the rule makes of the pair's own number.
    pub for_own_value: bool,
    /// The call equals what the rule makes of the plate, or the plate is in doubt.
    pub for_plate: bool,
    /// The call contradicts the pair's own number and so earns neither part.
    pub contradicts: bool,
}

/// Scores a call. Without a measured value or without a call nothing is earned.
#[must_use]
pub fn score(call: Option<Call>, by_own_value: Option<Call>, by_reference: Call, in_doubt: bool) -> CallScore {
    let nothing = CallScore {
        for_own_value: false,
        for_plate: false,
        contradicts: false,
    };
    let (Some(call), Some(own)) = (call, by_own_value) else {
        return nothing;
    };
    if call == own {
        CallScore {
            for_own_value: true,
            for_plate: in_doubt || call == by_reference,
            contradicts: false,
        }
    } else {
        CallScore {
            contradicts: true,
            ..nothing
        }
    }
}
