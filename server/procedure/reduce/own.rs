//! Form and orientation.

use nalgebra::Vector3;

use super::feature::{Measured, Tips};
use crate::exercise::geometry::must_be_alike;
use crate::exercise::model::{Characteristic, Criterion, Quantity, Shape};
use crate::metrology::fit::{self, FitError, zone};

/// The value of a characteristic of form or of orientation to a datum whose outward normal this is; none of the others.
pub(super) fn value(
    touched: &Tips<'_>,
    c: &Characteristic,
    datum: Vector3<f64>,
    measured: &Measured,
) -> Result<Option<f64>, FitError> {
    Ok(match c.of {
        of if of.is_form() => Some(form(touched, c)?),
        Quantity::Parallelism | Quantity::Perpendicularity => Some(orientation(c.of, measured, datum, true)),
        _ => None,
    })
}

/// By the smallest zone where that is asked and defined, otherwise peak to valley about the least-squares figure. The
/// tip changes neither: its centres lie on a figure parallel to the surface.
fn form(touched: &Tips<'_>, c: &Characteristic) -> Result<f64, FitError> {
    let zone = c.criterion != Some(Criterion::LeastSquares);
    match (&touched.feature.shape, zone) {
        (Shape::Line { .. }, true) => zone::straightness(&touched.in_plane().points).map(|z| z.width),
        (Shape::Line { .. }, false) => fit::line2d(&touched.in_plane().points).map(|f| f.form),
        (Shape::Plane { .. }, true) => zone::flatness(touched.tips).map(|z| z.width),
        (Shape::Plane { .. }, false) => fit::plane(touched.tips).map(|f| f.form),
        (Shape::Circle { .. }, true) => zone::minimum_zone_circle(&touched.plan()).map(|z| z.width),
        (Shape::Circle { .. }, false) => fit::circle2d(&touched.plan()).map(|f| f.form),
        (Shape::Cylinder { .. }, _) => {
            let nominal = touched.nominal;
            let near = fit::Cylinder {
                point: nominal.at,
                direction: nominal.direction,
                radius: 0.5 * nominal.diameter,
            };
            fit::cylinder(touched.tips, Some(&near)).map(|f| f.form)
        }
        (Shape::Sphere { .. }, _) => fit::sphere(touched.tips).map(|f| f.form),
        _ => Ok(0.0),
    }
}

/// Orientation of a feature to a direction: that of a line or an axis, or the normal of a face. Of a face the zone that
/// holds its touches between two planes at the angle that is asked, which are free to turn otherwise and turn as the
/// face does (ISO 1101); of a line or an axis its lean over its length.
pub(super) fn orientation(of: Quantity, measured: &Measured, to: Vector3<f64>, to_a_face: bool) -> f64 {
    if measured.is_face {
        return range(&heights(of, measured, to, to_a_face));
    }
    let lean = if must_be_alike(of, false, to_a_face) {
        measured.told.cross(&to).norm()
    } else {
        measured.told.dot(&to).abs()
    };
    measured.state.length * lean
}

/// Heights of a face's touches across the zone of its orientation.
fn heights(of: Quantity, measured: &Measured, to: Vector3<f64>, to_a_face: bool) -> Vec<f64> {
    let across = if must_be_alike(of, true, to_a_face) {
        to
    } else {
        let level = measured.told - to * measured.told.dot(&to);
        level.try_normalize(0.0).unwrap_or(measured.told)
    };
    measured.tips.iter().map(|p| Vector3::from(*p).dot(&across)).collect()
}

fn range(heights: &[f64]) -> f64 {
    let (low, high) = heights
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    (high - low).max(0.0)
}
