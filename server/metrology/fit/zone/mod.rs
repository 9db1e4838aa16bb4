//! Form by zones: straightness in a plane (ISO 12780), flatness (ISO 12781), roundness with its reference circles
//! (ISO 12181), all after ISO 1101. Every answer is exact: a set of contact points is found and proven to be the best
//! one, then solved for. Nothing here stops near a minimum.

mod circumscribed;
mod flatness;
mod inscribed;
mod minimum_zone;
mod search;
mod straightness;

pub use circumscribed::{Circumscribed, minimum_circumscribed_circle};
pub use flatness::{Flatness, flatness};
pub use inscribed::{Inscribed, inscribed_maxima, maximum_inscribed_circle};
pub use minimum_zone::{ZoneCircle, minimum_zone_circle};
pub use straightness::{Straightness, straightness};

use super::centred::Centred;

/// How far from a limit a point still counts as touching it, local units: rounding, with room.
fn touching<const D: usize>(points: &Centred<D>) -> f64 {
    1e-12 + 4.0 * points.rounding
}

/// Lowest and highest of values, and the positions within a tolerance of each.
struct Limits {
    low: f64,
    high: f64,
    active_low: Vec<usize>,
    active_high: Vec<usize>,
}

impl Limits {
    fn of(values: &[f64], tolerance: f64) -> Self {
        let (low, high) = super::extremes(values);
        let near = |limit: f64| {
            let within = |(index, value): (usize, &f64)| ((value - limit).abs() <= tolerance).then_some(index);
            values.iter().enumerate().filter_map(within).collect()
        };
        Limits {
            low,
            high,
            active_low: near(low),
            active_high: near(high),
        }
    }
}
