//! The call: what the pair says of a characteristic, against its own number and against the plate.

use rust_decimal::Decimal;

use crate::exercise::plate::Reference;
use crate::metrology::tolerance::Limits;
use crate::report::call::Call;
pub use crate::report::judge::{BonusSize, Judged, call_of, judged_limits};
use crate::units::{decimal_from_f64, decimal_to_f64};

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
