//! Least-squares fits.

use serde_json::Value;

use super::Family;
use super::compare::by_field;
use super::input::{number, points, vector};
use crate::metrology::fields;
use crate::metrology::fit::{self, Cone, Cylinder, Slot};

/// The families of this file.
pub(super) const FAMILIES: &[Family] = &[
    Family {
        name: "gaussian_line2d",
        compute: line2d,
        compare: by_field,
    },
    Family {
        name: "gaussian_line3d",
        compute: line3d,
        compare: by_field,
    },
    Family {
        name: "gaussian_plane",
        compute: plane,
        compare: by_field,
    },
    Family {
        name: "gaussian_circle2d",
        compute: circle2d,
        compare: by_field,
    },
    Family {
        name: "gaussian_circle3d",
        compute: circle3d,
        compare: by_field,
    },
    Family {
        name: "gaussian_sphere",
        compute: sphere,
        compare: by_field,
    },
    Family {
        name: "gaussian_cylinder",
        compute: cylinder,
        compare: by_field,
    },
    Family {
        name: "gaussian_cone",
        compute: cone,
        compare: by_field,
    },
    Family {
        name: "gaussian_slot",
        compute: slot,
        compare: by_field,
    },
];

pub(super) fn line2d(case: &Value) -> Result<Value, String> {
    fit::line2d(&points(case, "points")?)
        .map(|fit| fields::fit(&fit))
        .map_err(|e| e.to_string())
}

fn line3d(case: &Value) -> Result<Value, String> {
    fit::line3d(&points(case, "points")?)
        .map(|fit| fields::line3d(&fit))
        .map_err(|e| e.to_string())
}

fn plane(case: &Value) -> Result<Value, String> {
    fit::plane(&points(case, "points")?)
        .map(|fit| fields::plane(&fit))
        .map_err(|e| e.to_string())
}

pub(super) fn circle2d(case: &Value) -> Result<Value, String> {
    let points = points(case, "points")?;
    fit::circle2d(&points)
        .map(|fit| fields::circle2d(&fit, &points))
        .map_err(|e| e.to_string())
}

fn circle3d(case: &Value) -> Result<Value, String> {
    fit::circle3d(&points(case, "points")?)
        .map(|fit| fields::fit(&fit))
        .map_err(|e| e.to_string())
}

fn sphere(case: &Value) -> Result<Value, String> {
    fit::sphere(&points(case, "points")?)
        .map(|fit| fields::fit(&fit))
        .map_err(|e| e.to_string())
}

fn cylinder(case: &Value) -> Result<Value, String> {
    let points = points(case, "points")?;
    let nominal = nominal(case, |n| {
        Ok(Cylinder {
            point: vector(n, "point")?,
            direction: vector(n, "direction")?,
            radius: number(n, "radius")?,
        })
    })?;
    let fit = fit::cylinder(&points, nominal.as_ref()).map_err(|e| e.to_string())?;
    Ok(fields::cylinder(&fit, &points))
}

fn cone(case: &Value) -> Result<Value, String> {
    let points = points(case, "points")?;
    let nominal = nominal(case, |n| {
        Ok(Cone {
            point: vector(n, "point")?,
            direction: vector(n, "direction")?,
            radius: number(n, "radius")?,
            half_angle: number(n, "half_angle_rad")?,
        })
    })?;
    let fit = fit::cone(&points, nominal.as_ref()).map_err(|e| e.to_string())?;
    Ok(fields::cone(&fit, &points))
}

fn slot(case: &Value) -> Result<Value, String> {
    let nominal = nominal(case, |n| {
        let (sin, cos) = number(n, "angle_rad")?.sin_cos();
        Ok(Slot {
            centre: vector(n, "center")?,
            direction: [cos, sin],
            half_length: number(n, "half_center_distance")?,
            radius: number(n, "radius")?,
        })
    })?;
    fit::slot(&points(case, "points")?, nominal.as_ref())
        .map(|fit| fields::fit(&fit))
        .map_err(|e| e.to_string())
}

/// The case's rough start, where it has one.
fn nominal<F>(case: &Value, read: impl Fn(&Value) -> Result<F, String>) -> Result<Option<F>, String> {
    let given = case.get("nominal").filter(|nominal| !nominal.is_null());
    given
        .map(read)
        .transpose()
        .map_err(|problem| format!("nominal: {problem}"))
}
