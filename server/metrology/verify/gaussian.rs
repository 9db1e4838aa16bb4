//! Least-squares fits.

use nalgebra::Vector3;
use serde_json::{Value, json};

use super::Family;
use super::compare::by_field;
use super::input::{number, points, vector};
use crate::metrology::fit::{self, Cone, Cylinder, Fit, Slot};

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

/// What all fits have, with the figure's own fields over it.
fn with_residuals<F, const N: usize>(fit: &Fit<F, N>, mut figure: Value) -> Value {
    if let Some(fields) = figure.as_object_mut() {
        fields.insert("form".to_owned(), json!(fit.form));
        fields.insert("max_residual".to_owned(), json!(fit.max_residual()));
        fields.insert("min_residual".to_owned(), json!(fit.min_residual()));
        fields.insert("rms".to_owned(), json!(fit.rms()));
        fields.insert("sum_of_squares".to_owned(), json!(fit.sum_of_squares()));
        let matrix: Vec<Vec<f64>> = fit.covariance.matrix.iter().map(|row| row.to_vec()).collect();
        let parameters = fit.covariance.parameters.to_vec();
        fields.insert(
            "covariance_unit_noise".to_owned(),
            json!({ "parameters": parameters, "matrix": matrix }),
        );
        if !fit.alternatives.is_empty() {
            fields.insert("other_solutions".to_owned(), json!(fit.alternatives.len()));
        }
    }
    figure
}

pub(super) fn line2d(case: &Value) -> Result<Value, String> {
    let fit = fit::line2d(&points(case, "points")?).map_err(|e| e.to_string())?;
    let line = fit.figure;
    let mut value = json!({
        "point": line.point, "direction": line.direction, "normal": line.normal(), "offset": line.offset(),
    });
    // A steep line has neither; JSON has no infinity.
    if line.direction[0].abs() > 1e-12 {
        let slope = line.direction[1] / line.direction[0];
        value["slope"] = json!(slope);
        value["intercept"] = json!(line.point[1] - slope * line.point[0]);
    }
    Ok(with_residuals(&fit, value))
}

fn line3d(case: &Value) -> Result<Value, String> {
    let fit = fit::line3d(&points(case, "points")?).map_err(|e| e.to_string())?;
    let line = fit.figure;
    let value = json!({ "point": line.point, "direction": line.direction, "max_distance": fit.max_residual() });
    Ok(with_residuals(&fit, value))
}

fn plane(case: &Value) -> Result<Value, String> {
    let fit = fit::plane(&points(case, "points")?).map_err(|e| e.to_string())?;
    let plane = fit.figure;
    let value = json!({ "point": plane.point, "normal": plane.normal, "offset": plane.offset() });
    let mut value = with_residuals(&fit, value);
    value["covariance_unit_noise"]["u"] = json!(plane.u);
    value["covariance_unit_noise"]["v"] = json!(plane.v);
    Ok(value)
}

pub(super) fn circle2d(case: &Value) -> Result<Value, String> {
    let points = points(case, "points")?;
    let fit = fit::circle2d(&points).map_err(|e| e.to_string())?;
    let circle = fit.figure;
    // Three decimals of a degree, as the files have it.
    let arc = (fit::arc_covered(&points, circle.centre) * 1000.0).round() / 1000.0;
    let value = json!({
        "center": circle.centre, "radius": circle.radius, "diameter": 2.0 * circle.radius, "arc_covered_deg": arc,
    });
    Ok(with_residuals(&fit, value))
}

fn circle3d(case: &Value) -> Result<Value, String> {
    let fit = fit::circle3d(&points(case, "points")?).map_err(|e| e.to_string())?;
    let circle = fit.figure;
    let value = json!({
        "center": circle.centre, "normal": circle.normal, "radius": circle.radius, "diameter": 2.0 * circle.radius,
        "flatness_about_ls_plane": circle.flatness,
    });
    Ok(with_residuals(&fit, value))
}

fn sphere(case: &Value) -> Result<Value, String> {
    let fit = fit::sphere(&points(case, "points")?).map_err(|e| e.to_string())?;
    let ball = fit.figure;
    let value = json!({ "center": ball.centre, "radius": ball.radius, "diameter": 2.0 * ball.radius });
    Ok(with_residuals(&fit, value))
}

fn cylinder(case: &Value) -> Result<Value, String> {
    let points = points(case, "points")?;
    let fit = fit::cylinder(
        &points,
        nominal(case, |n| {
            Ok(Cylinder {
                point: vector(n, "point")?,
                direction: vector(n, "direction")?,
                radius: number(n, "radius")?,
            })
        })?
        .as_ref(),
    )
    .map_err(|e| e.to_string())?;
    let wall = fit.figure;
    let value = json!({
        "point": wall.point, "direction": wall.direction, "radius": wall.radius, "diameter": 2.0 * wall.radius,
        "axial_extent": axial_extent(&points, wall.direction),
    });
    Ok(with_residuals(&fit, value))
}

fn cone(case: &Value) -> Result<Value, String> {
    let points = points(case, "points")?;
    let fit = fit::cone(
        &points,
        nominal(case, |n| {
            Ok(Cone {
                point: vector(n, "point")?,
                direction: vector(n, "direction")?,
                radius: number(n, "radius")?,
                half_angle: number(n, "half_angle_rad")?,
            })
        })?
        .as_ref(),
    )
    .map_err(|e| e.to_string())?;
    let cone = fit.figure;
    let value = json!({
        "apex": cone.apex(), "direction": cone.direction, "half_angle_rad": cone.half_angle,
        "full_angle_deg": 2.0 * cone.half_angle.to_degrees(), "point_nearest_centroid": cone.point,
        "radius_at_point": cone.radius, "axial_extent": axial_extent(&points, cone.direction),
    });
    Ok(with_residuals(&fit, value))
}

fn slot(case: &Value) -> Result<Value, String> {
    let fit = fit::slot(
        &points(case, "points")?,
        nominal(case, |n| {
            let (sin, cos) = number(n, "angle_rad")?.sin_cos();
            Ok(Slot {
                centre: vector(n, "center")?,
                direction: [cos, sin],
                half_length: number(n, "half_center_distance")?,
                radius: number(n, "radius")?,
            })
        })?
        .as_ref(),
    )
    .map_err(|e| e.to_string())?;
    let slot = fit.figure;
    let value = json!({
        "center": slot.centre, "direction": slot.direction, "half_center_distance": slot.half_length,
        "radius": slot.radius, "width": slot.width(), "length": slot.length(), "arc_centers": slot.arc_centres(),
    });
    Ok(with_residuals(&fit, value))
}

/// The case's rough start, where it has one.
fn nominal<F>(case: &Value, read: impl Fn(&Value) -> Result<F, String>) -> Result<Option<F>, String> {
    let given = case.get("nominal").filter(|nominal| !nominal.is_null());
    given
        .map(read)
        .transpose()
        .map_err(|problem| format!("nominal: {problem}"))
}

fn axial_extent(points: &[[f64; 3]], direction: [f64; 3]) -> f64 {
    let Some(first) = points.first() else { return 0.0 };
    let along = |p: &[f64; 3]| (Vector3::from(*p) - Vector3::from(*first)).dot(&Vector3::from(direction));
    let heights = points.iter().map(along);
    let (low, high) = heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), h| {
        (low.min(h), high.max(h))
    });
    high - low
}
