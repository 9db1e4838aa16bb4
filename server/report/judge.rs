//! What the decision rule makes of a value, with the bonus of a size at maximum material.

use rust_decimal::Decimal;

use super::call::Call;
use crate::exercise::model::{Characteristic, MarksRules, Side};
use crate::metrology::conformity::{Conformity, decide};
use crate::metrology::tolerance::{self, Limits, MaterialCondition};

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
    let inside = size.side == Side::Inside;
    let bonus = tolerance::bonus(MaterialCondition::Mmc, inside, value, &of_size).unwrap_or_default();
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
