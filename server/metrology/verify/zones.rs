//! Zone fits.

use serde_json::{Value, json};

use super::Family;
use super::compare::by_field;
use super::input::points;
use crate::metrology::fit::zone::{self, inscribed_maxima};
use crate::metrology::fit::{circle2d, line2d, plane};

/// The families of this file.
pub(super) const FAMILIES: &[Family] = &[
    Family {
        name: "chebyshev_mzc",
        compute: minimum_zone_circle,
        compare: by_field,
    },
    Family {
        name: "chebyshev_mcc",
        compute: circumscribed,
        compare: by_field,
    },
    Family {
        name: "chebyshev_mic",
        compute: inscribed,
        compare: by_field,
    },
    Family {
        name: "chebyshev_straightness2d",
        compute: straightness,
        compare: by_field,
    },
    Family {
        name: "chebyshev_flatness",
        compute: flatness,
        compare: by_field,
    },
];

/// Up to this many points all local maxima are counted.
const COUNTED: usize = 200;

pub(super) fn minimum_zone_circle(case: &Value) -> Result<Value, String> {
    let points = points(case, "points")?;
    let ring = zone::minimum_zone_circle(&points).map_err(|e| e.to_string())?;
    let mut value = json!({
        "center": ring.centre, "outer_radius": ring.outer_radius, "inner_radius": ring.inner_radius,
        "zone_width": ring.width, "active_outer": ring.active_outer, "active_inner": ring.active_inner,
    });
    if let Ok(fit) = circle2d(&points) {
        value["least_squares_roundness_for_comparison"] = json!(fit.form);
    }
    Ok(value)
}

pub(super) fn circumscribed(case: &Value) -> Result<Value, String> {
    let circle = zone::minimum_circumscribed_circle(&points(case, "points")?).map_err(|e| e.to_string())?;
    Ok(json!({
        "center": circle.centre, "radius": circle.radius, "diameter": 2.0 * circle.radius, "active": circle.active,
        "zone_width_about_this_center": circle.zone_width,
    }))
}

pub(super) fn inscribed(case: &Value) -> Result<Value, String> {
    let points = points(case, "points")?;
    let circle = zone::maximum_inscribed_circle(&points).map_err(|e| e.to_string())?;
    let mut value = json!({
        "center": circle.centre, "radius": circle.radius, "diameter": 2.0 * circle.radius, "active": circle.active,
        "zone_width_about_this_center": circle.zone_width,
    });
    if points.len() <= COUNTED
        && let Ok(maxima) = inscribed_maxima(&points)
    {
        value["number_of_local_maxima"] = json!(maxima.len());
        if let Some(next) = maxima.get(1) {
            value["next_best_local_maximum"] = json!({
                "center": next.centre, "radius": next.radius, "smaller_by": circle.radius - next.radius,
            });
        }
    }
    Ok(value)
}

fn straightness(case: &Value) -> Result<Value, String> {
    let points = points(case, "points")?;
    let strip = zone::straightness(&points).map_err(|e| e.to_string())?;
    let mut value = json!({
        "direction": strip.direction, "normal": strip.normal, "zone_width": strip.width,
        "offset_low": strip.offset_low, "offset_high": strip.offset_high,
        "active_low": strip.active_low, "active_high": strip.active_high,
    });
    if let Ok(fit) = line2d(&points) {
        value["least_squares_form_for_comparison"] = json!(fit.form);
    }
    Ok(value)
}

fn flatness(case: &Value) -> Result<Value, String> {
    let points = points(case, "points")?;
    let slab = zone::flatness(&points).map_err(|e| e.to_string())?;
    let mut value = json!({
        "normal": slab.normal, "zone_width": slab.width,
        "offset_low": slab.offset_low, "offset_high": slab.offset_high,
        "active_low": slab.active_low, "active_high": slab.active_high,
    });
    if let Ok(fit) = plane(&points) {
        value["least_squares_form_for_comparison"] = json!(fit.form);
    }
    Ok(value)
}
