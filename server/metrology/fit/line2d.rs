use super::centred::{Centred, count};
use super::determined::{Kind, diagonal, stands_out};
use super::shape::turned_positive;
use super::{Covariance, Figure, Fit, FitError};

/// A line in the plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line2 {
    /// A point of the line: the mean of the points it was fitted to.
    pub point: [f64; 2],
    /// Unit vector, its larger component positive.
    pub direction: [f64; 2],
}

impl Line2 {
    /// The direction turned by +90 degrees.
    #[must_use]
    pub fn normal(&self) -> [f64; 2] {
        [-self.direction[1], self.direction[0]]
    }

    /// Signed distance of the line from the origin along its normal.
    #[must_use]
    pub fn offset(&self) -> f64 {
        let normal = self.normal();
        normal[0] * self.point[0] + normal[1] * self.point[1]
    }
}

/// Orthogonal least-squares line through two or more points. Residuals are positive on the side of the normal.
/// Covariance: offset along the normal at the mean of the points, angle.
///
/// # Errors
/// Fewer than two points, points that are the same, or that have no direction.
pub fn line2d(points: &[[f64; 2]]) -> Result<Fit<Line2, 2>, FitError> {
    let centred = Centred::new(Figure::Line2d, 2, points)?;
    let direction = principal(&centred);
    let (along, across) = spread_along(&centred, direction);
    stands_out(along, across, points.len() - 2, &centred)
        .map_err(|loose| loose.angle(Figure::Line2d, points.len(), "its direction in degrees", centred.scale))?;
    let direction = turned_positive(direction);
    let figure = Line2 {
        point: centred.centre,
        direction,
    };
    let normal = figure.normal();
    let residuals = centred
        .iter()
        .map(|p| (normal[0] * p[0] + normal[1] * p[1]) * centred.scale)
        .collect();
    let covariance = Covariance {
        parameters: ["offset_at_centroid", "angle"],
        matrix: diagonal([count(points.len()), along], &[Kind::Place, Kind::Angle], centred.scale),
    };
    Ok(Fit::new(figure, residuals, covariance))
}

/// Direction of the largest spread. The closed form loses digits where the spread across is small beside that along,
/// so one step follows in axes along and across, where the sums have all theirs.
pub(super) fn principal(points: &Centred<2>) -> [f64; 2] {
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for [x, y] in points.iter() {
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    let mut direction = [angle.cos(), angle.sin()];
    for _ in 0..2 {
        let (mut tt, mut tw, mut ww) = (0.0, 0.0, 0.0);
        for [x, y] in points.iter() {
            let t = x * direction[0] + y * direction[1];
            let w = y * direction[0] - x * direction[1];
            tt += t * t;
            tw += t * w;
            ww += w * w;
        }
        let slope = tw / (tt - ww);
        if slope.abs() < 0.1 {
            let length = slope.hypot(1.0);
            direction = [
                (direction[0] - slope * direction[1]) / length,
                (direction[1] + slope * direction[0]) / length,
            ];
        }
    }
    direction
}

/// Sums of squares along a direction and across it.
pub(super) fn spread_along(points: &Centred<2>, direction: [f64; 2]) -> (f64, f64) {
    points.iter().fold((0.0, 0.0), |(along, across), [x, y]| {
        let t = x * direction[0] + y * direction[1];
        let w = y * direction[0] - x * direction[1];
        (along + t * t, across + w * w)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_points_make_their_line() {
        let fit = line2d(&[[1.0, 1.0], [4.0, 5.0]]).unwrap();
        assert!((fit.figure.direction[0] - 0.6).abs() < 1e-15 && (fit.figure.direction[1] - 0.8).abs() < 1e-15);
        assert!(fit.form < 1e-15);
        // By hand: angle variance 1 / (2 * 2.5^2).
        assert!((fit.covariance.matrix[1][1] - 0.08).abs() < 1e-15);
    }

    #[test]
    fn corners_of_a_square_have_no_direction() {
        let error = line2d(&[[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]).unwrap_err();
        insta::assert_snapshot!(error, @"the 4 points do not fix a line: its direction in degrees known to +/- 90.00 only, with points good to 0.71; spread the points further over the surface");
    }

    #[test]
    fn says_what_is_wrong() {
        let check = |points: &[[f64; 2]]| line2d(points).unwrap_err().to_string();
        insta::assert_snapshot!(check(&[[1.0, 2.0]]), @"a line needs at least 2 points, 1 given");
        insta::assert_snapshot!(check(&[[1.0, 2.0], [1.0, f64::NAN]]), @"point 2 has NaN as its y: every coordinate must be a finite number");
        insta::assert_snapshot!(check(&[[1.0, 2.0], [1.0, 2.0]]), @"all 2 points lie within 0.0e0 of one another, at coordinates up to 2.000000: a line needs points that are apart");
        insta::assert_snapshot!(check(&[[1.0, 2.0], [1e80, 2.0]]), @"point 2 has x = 1e80: coordinates up to 1e70 can be worked with");
    }
}
