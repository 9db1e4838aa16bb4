//! Fits as named values, for JSON and for people: the names of the reference files. Lengths in the unit of the points.

use nalgebra::Vector3;
use serde_json::{Value, json};

use super::fit::zone::{Circumscribed, Flatness, Inscribed, Straightness, ZoneCircle};
use super::fit::{Circle2, Circle3, Cone, Cylinder, Fit, Line2, Line3, Plane, Slot, Sphere, arc_covered};

/// A figure's own values.
pub trait Fields {
    /// An object with the figure's values under the names of the reference files.
    fn fields(&self) -> Value;
}

impl Fields for Line2 {
    fn fields(&self) -> Value {
        let mut value = json!({
            "point": self.point, "direction": self.direction, "normal": self.normal(), "offset": self.offset(),
        });
        // An upright line has neither; JSON has no infinity.
        if self.direction[0].abs() > 1e-12 {
            let slope = self.direction[1] / self.direction[0];
            value["slope"] = json!(slope);
            value["intercept"] = json!(self.point[1] - slope * self.point[0]);
        }
        value
    }
}

impl Fields for Line3 {
    fn fields(&self) -> Value {
        json!({ "point": self.point, "direction": self.direction })
    }
}

impl Fields for Plane {
    fn fields(&self) -> Value {
        json!({ "point": self.point, "normal": self.normal, "offset": self.offset() })
    }
}

impl Fields for Circle2 {
    fn fields(&self) -> Value {
        json!({ "center": self.centre, "radius": self.radius, "diameter": 2.0 * self.radius })
    }
}

impl Fields for Circle3 {
    fn fields(&self) -> Value {
        json!({
            "center": self.centre, "normal": self.normal, "radius": self.radius, "diameter": 2.0 * self.radius,
            "flatness_about_ls_plane": self.flatness,
        })
    }
}

impl Fields for Sphere {
    fn fields(&self) -> Value {
        json!({ "center": self.centre, "radius": self.radius, "diameter": 2.0 * self.radius })
    }
}

impl Fields for Cylinder {
    fn fields(&self) -> Value {
        json!({
            "point": self.point, "direction": self.direction, "radius": self.radius, "diameter": 2.0 * self.radius,
        })
    }
}

impl Fields for Cone {
    fn fields(&self) -> Value {
        json!({
            "apex": self.apex(), "direction": self.direction, "half_angle_rad": self.half_angle,
            "full_angle_deg": 2.0 * self.half_angle.to_degrees(), "point_nearest_centroid": self.point,
            "radius_at_point": self.radius,
        })
    }
}

impl Fields for Slot {
    fn fields(&self) -> Value {
        json!({
            "center": self.centre, "direction": self.direction, "half_center_distance": self.half_length,
            "radius": self.radius, "width": self.width(), "length": self.length(), "arc_centers": self.arc_centres(),
        })
    }
}

/// A least-squares fit: its figure, residual statistics, covariance for unit noise, and how many other figures fit
/// about as well, where there are any.
#[must_use]
pub fn fit<F: Fields, const N: usize>(fit: &Fit<F, N>) -> Value {
    let mut value = fit.figure.fields();
    let matrix: Vec<Vec<f64>> = fit.covariance.matrix.iter().map(|row| row.to_vec()).collect();
    value["form"] = json!(fit.form);
    value["max_residual"] = json!(fit.max_residual());
    value["min_residual"] = json!(fit.min_residual());
    value["rms"] = json!(fit.rms());
    value["sum_of_squares"] = json!(fit.sum_of_squares());
    value["rank"] = json!(fit.rank);
    value["covariance_unit_noise"] = json!({ "parameters": fit.covariance.parameters.to_vec(), "matrix": matrix });
    if !fit.alternatives.is_empty() {
        value["other_solutions"] = fit.alternatives.iter().map(Fields::fields).collect();
    }
    value
}

/// A line in space with the largest distance from it.
#[must_use]
pub fn line3d(found: &Fit<Line3, 4>) -> Value {
    let mut value = fit(found);
    value["max_distance"] = json!(found.max_residual());
    value
}

/// A plane with the axes of its covariance.
#[must_use]
pub fn plane(found: &Fit<Plane, 3>) -> Value {
    let mut value = fit(found);
    value["covariance_unit_noise"]["u"] = json!(found.figure.u);
    value["covariance_unit_noise"]["v"] = json!(found.figure.v);
    value
}

/// A circle with the arc that its points cover, degrees to three decimals as the reference files have it.
#[must_use]
pub fn circle2d(found: &Fit<Circle2, 3>, points: &[[f64; 2]]) -> Value {
    let mut value = fit(found);
    let arc = arc_covered(points, found.figure.centre);
    value["arc_covered_deg"] = json!((arc * 1000.0).round() / 1000.0);
    value
}

/// A cylinder with the extent of its points along its axis.
#[must_use]
pub fn cylinder(found: &Fit<Cylinder, 5>, points: &[[f64; 3]]) -> Value {
    let mut value = fit(found);
    value["axial_extent"] = json!(axial_extent(points, found.figure.direction));
    value
}

/// A cone with the extent of its points along its axis.
#[must_use]
pub fn cone(found: &Fit<Cone, 6>, points: &[[f64; 3]]) -> Value {
    let mut value = fit(found);
    value["axial_extent"] = json!(axial_extent(points, found.figure.direction));
    value
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

impl Fields for ZoneCircle {
    fn fields(&self) -> Value {
        json!({
            "center": self.centre, "outer_radius": self.outer_radius, "inner_radius": self.inner_radius,
            "zone_width": self.width, "active_outer": self.active_outer, "active_inner": self.active_inner,
        })
    }
}

impl Fields for Circumscribed {
    fn fields(&self) -> Value {
        json!({
            "center": self.centre, "radius": self.radius, "diameter": 2.0 * self.radius, "active": self.active,
            "zone_width_about_this_center": self.zone_width,
        })
    }
}

impl Fields for Inscribed {
    fn fields(&self) -> Value {
        let mut value = json!({
            "center": self.centre, "radius": self.radius, "diameter": 2.0 * self.radius, "active": self.active,
            "zone_width_about_this_center": self.zone_width,
        });
        if !self.rivals.is_empty() {
            value["nearly_as_large"] = self.rivals.iter().map(Fields::fields).collect();
        }
        value
    }
}

impl Fields for Straightness {
    fn fields(&self) -> Value {
        json!({
            "direction": self.direction, "normal": self.normal, "zone_width": self.width,
            "offset_low": self.offset_low, "offset_high": self.offset_high,
            "active_low": self.active_low, "active_high": self.active_high,
        })
    }
}

impl Fields for Flatness {
    fn fields(&self) -> Value {
        json!({
            "normal": self.normal, "zone_width": self.width,
            "offset_low": self.offset_low, "offset_high": self.offset_high,
            "active_low": self.active_low, "active_high": self.active_high,
        })
    }
}
