//! Position, and the bonus that a size gives it.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::Limits;

/// The condition of material that a position refers to (ISO 2692; ASME Y14.5). Without one there is no bonus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum MaterialCondition {
    /// Maximum material: the smallest hole, the largest shaft.
    Mmc,
    /// Least material: the largest hole, the smallest shaft.
    Lmc,
}

/// Position of an axis or point from its offsets: twice the distance from the true place, 2 sqrt(dx^2 + dy^2), so that it
/// compares with the diameter of the zone (ISO 1101; ASME Y14.5). Unit of the offsets.
#[must_use]
pub fn position(dx: f64, dy: f64) -> f64 {
    2.0 * dx.hypot(dy)
}

/// Whether offsets lie within a zone of this diameter, its edge included: decided on squares of decimals, since the root
/// has no exact decimal. 0.03 and 0.04 are within 0.1.
#[must_use]
pub fn within_zone(dx: Decimal, dy: Decimal, zone: Decimal) -> bool {
    let square = |value: Decimal| value.saturating_mul(value);
    let position_squared = square(dx).saturating_add(square(dy)).saturating_mul(Decimal::from(4));
    zone >= Decimal::ZERO && position_squared <= square(zone)
}

/// The limit of size with the most material, or with the least.
fn material_limit(condition: MaterialCondition, inside: bool, limits: &Limits) -> Option<Decimal> {
    match (condition, inside) {
        (MaterialCondition::Mmc, true) | (MaterialCondition::Lmc, false) => limits.lower,
        (MaterialCondition::Mmc, false) | (MaterialCondition::Lmc, true) => limits.upper,
    }
}

/// The bonus of a size, added to the zone of position: at maximum material hole size less lower limit or upper limit
/// less shaft size, at least material the reverse; never below zero. `None` when the limit that it starts from is
/// missing.
#[must_use]
pub fn bonus(condition: MaterialCondition, inside: bool, size: Decimal, limits: &Limits) -> Option<Decimal> {
    let limit = material_limit(condition, inside, limits)?;
    let grows_with_size = inside == (condition == MaterialCondition::Mmc);
    let departure = if grows_with_size {
        size.saturating_sub(limit)
    } else {
        limit.saturating_sub(size)
    };
    Some(departure.max(Decimal::ZERO))
}

/// The size of the boundary that the feature never crosses: at maximum material hole limit less zone or shaft limit plus
/// zone (ISO 2692, maximum material virtual condition), at least material the reverse. `None` when the limit is missing.
#[must_use]
pub fn virtual_condition(
    condition: MaterialCondition,
    inside: bool,
    limits: &Limits,
    stated_zone: Decimal,
) -> Option<Decimal> {
    let limit = material_limit(condition, inside, limits)?;
    let grows_with_zone = inside != (condition == MaterialCondition::Mmc);
    Some(if grows_with_zone {
        limit.saturating_add(stated_zone)
    } else {
        limit.saturating_sub(stated_zone)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dec(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn the_edge_of_the_zone_is_within() {
        for (dx, dy, zone, within) in [
            ("-0.03", "0.04", "0.1", true),
            ("-0.03", "0.04", "0.0999999999", false),
            ("0.0000001", "0", "0.0000002", true),
            ("0.15", "0", "0.25", false),
            ("0", "0", "0", true),
            ("0", "0", "-0.1", false),
        ] {
            assert_eq!(within_zone(dec(dx), dec(dy), dec(zone)), within, "{dx} {dy} {zone}");
        }
    }

    #[test]
    fn bonus_grows_from_the_material_limit_and_never_falls_below_zero() {
        use MaterialCondition::{Lmc, Mmc};
        let limits = Limits::between(dec("12"), dec("12.1"));
        for (condition, inside, size, expected) in [
            (Mmc, true, "12.06", "0.06"),
            (Mmc, true, "11.99", "0"),
            (Mmc, false, "12.06", "0.04"),
            (Mmc, false, "12.11", "0"),
            (Lmc, true, "12.06", "0.04"),
            (Lmc, false, "12.06", "0.06"),
        ] {
            assert_eq!(bonus(condition, inside, dec(size), &limits), Some(dec(expected)));
        }
        assert_eq!(bonus(Mmc, true, dec("12"), &Limits::at_most(dec("12.1"))), None);
        for (condition, inside, expected) in [
            (Mmc, true, "11.8"),
            (Mmc, false, "12.3"),
            (Lmc, true, "12.3"),
            (Lmc, false, "11.8"),
        ] {
            assert_eq!(
                virtual_condition(condition, inside, &limits, dec("0.2")),
                Some(dec(expected))
            );
        }
    }
}
