use nalgebra::Vector3;

use super::centred::{Centred, count};
use super::determined::{Kind, diagonal, stands_out};
use super::shape::{Shape, across, turned_positive};
use super::symmetric::eigen;
use super::{Covariance, Figure, Fit, FitError};

/// A line in space.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line3 {
    /// A point of the line: the mean of the points it was fitted to.
    pub point: [f64; 3],
    /// Unit vector, its largest component positive.
    pub direction: [f64; 3],
}

/// Orthogonal least-squares line in space. Residuals are distances (never negative); `form` is twice the largest: the
/// diameter of the coaxial cylinder about this line, not of the smallest cylinder. Covariance: offsets along two
/// perpendicular directions at the mean of the points, and the two tilts.
///
/// # Errors
/// Fewer than two points, points that are the same, or that have no direction.
pub fn line3d(points: &[[f64; 3]]) -> Result<Fit<Line3, 4>, FitError> {
    let centred = Centred::new(Figure::Line3d, 2, points)?;
    let direction = principal(&centred);
    let (u, v) = across(&direction);
    let mut along = 0.0;
    let mut moments = [[0.0; 2]; 2];
    let mut residuals = Vec::with_capacity(points.len());
    for p in centred.iter() {
        let p = Vector3::from(p);
        let (x, y) = (p.dot(&u), p.dot(&v));
        along += p.dot(&direction).powi(2);
        moments[0][0] += x * x;
        moments[1][0] += x * y;
        moments[1][1] += y * y;
        residuals.push(x.hypot(y) * centred.scale);
    }
    let widest = eigen(&moments).values[1];
    stands_out(along, widest, points.len() - 2, &centred)
        .map_err(|loose| loose.angle(Figure::Line3d, points.len(), "its direction in degrees", centred.scale))?;
    let figure = Line3 {
        point: centred.centre,
        direction: turned_positive(direction.into()),
    };
    let n = count(points.len());
    let kinds = [Kind::Place, Kind::Place, Kind::Angle, Kind::Angle];
    let covariance = Covariance {
        parameters: ["offset_u_at_centroid", "offset_v_at_centroid", "tilt_u", "tilt_v"],
        matrix: diagonal([n, n, along, along], &kinds, centred.scale),
    };
    let mut fit = Fit::new(figure, residuals, covariance);
    fit.form = 2.0 * fit.max_residual();
    Ok(fit)
}

/// Direction of the largest spread, with one step in axes along and across, where the sums have all their digits.
fn principal(points: &Centred<3>) -> Vector3<f64> {
    let mut direction = Shape::of(points).axes[2];
    for _ in 0..2 {
        let (u, v) = across(&direction);
        let mut sums = [0.0; 6];
        for p in points.iter() {
            let p = Vector3::from(p);
            let (t, x, y) = (p.dot(&direction), p.dot(&u), p.dot(&v));
            for (sum, term) in sums.iter_mut().zip([t * t, t * x, t * y, x * x, x * y, y * y]) {
                *sum += term;
            }
        }
        let [tt, tx, ty, xx, xy, yy] = sums;
        // Newton: (tt I - M) slopes = (tx, ty), M the moments across.
        let (a, b) = (tt - xx, tt - yy);
        let determinant = a * b - xy * xy;
        let slopes = [(b * tx + xy * ty) / determinant, (a * ty + xy * tx) / determinant];
        if slopes[0].abs() < 0.1 && slopes[1].abs() < 0.1 {
            direction = (direction + u * slopes[0] + v * slopes[1]).normalize();
        }
    }
    direction
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_of_three_points_by_hand() {
        // Two points 3 apart along z and one between, 0.3 off in x: mean (0.1, 0, 1.5), symmetric, so along z.
        let fit = line3d(&[[0.0, 0.0, 0.0], [0.3, 0.0, 1.5], [0.0, 0.0, 3.0]]).unwrap();
        assert!((fit.figure.direction[2] - 1.0).abs() < 1e-15, "{fit:?}");
        assert!(
            (fit.form - 0.4).abs() < 1e-15 && (fit.residuals[0] - 0.1).abs() < 1e-15,
            "{fit:?}"
        );
    }

    #[test]
    fn a_cube_has_no_direction() {
        let corners: Vec<[f64; 3]> = (0..8_u8)
            .map(|i| [f64::from(i & 1), f64::from(i >> 1 & 1), f64::from(i >> 2)])
            .collect();
        insta::assert_snapshot!(line3d(&corners).unwrap_err(), @"the 8 points do not fix a line in space: its direction in degrees known to +/- 90.00 only, with points good to 0.58; spread the points further over the surface");
    }
}
