//! Zone fits.

use serde_json::{Value, json};

use super::Family;
use super::compare::by_field;
use super::input::points;
use crate::metrology::fields::Fields;
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
    let mut value = ring.fields();
    if let Ok(fit) = circle2d(&points) {
        value["least_squares_roundness_for_comparison"] = json!(fit.form);
    }
    Ok(value)
}

pub(super) fn circumscribed(case: &Value) -> Result<Value, String> {
    let circle = zone::minimum_circumscribed_circle(&points(case, "points")?).map_err(|e| e.to_string())?;
    Ok(circle.fields())
}

pub(super) fn inscribed(case: &Value) -> Result<Value, String> {
    let points = points(case, "points")?;
    let circle = zone::maximum_inscribed_circle(&points).map_err(|e| e.to_string())?;
    let mut value = circle.fields();
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
    let mut value = strip.fields();
    if let Ok(fit) = line2d(&points) {
        value["least_squares_form_for_comparison"] = json!(fit.form);
    }
    Ok(value)
}

fn flatness(case: &Value) -> Result<Value, String> {
    let points = points(case, "points")?;
    let slab = zone::flatness(&points).map_err(|e| e.to_string())?;
    let mut value = slab.fields();
    if let Ok(fit) = plane(&points) {
        value["least_squares_form_for_comparison"] = json!(fit.form);
    }
    Ok(value)
}
