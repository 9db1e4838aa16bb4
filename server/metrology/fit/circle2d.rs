use super::centred::{Centred, count};
use super::determined::{Kind, check, round, scaled};
use super::solver::{Model, residuals, solve};
use super::symmetric::Symmetric;
use super::{Covariance, Figure, Fit, FitError};

/// A circle in the plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circle2 {
    /// Centre.
    pub centre: [f64; 2],
    /// Radius.
    pub radius: f64,
}

/// Orthogonal least-squares circle. Residuals are positive outside. Covariance: x0, y0, r.
///
/// # Errors
/// Fewer than three points, points that are the same or on one line, or an arc too short for a diameter.
pub fn circle2d(points: &[[f64; 2]]) -> Result<Fit<Circle2, 3>, FitError> {
    let centred = Centred::new(Figure::Circle2d, 3, points)?;
    let (circle, matrix) = solve_circle(&centred)?;
    let residuals = residuals(&centred, &circle);
    let figure = Circle2 {
        centre: centred.global([circle.x, circle.y]),
        radius: circle.radius * centred.scale,
    };
    Ok(Fit::new(
        figure,
        residuals,
        Covariance {
            parameters: ["x0", "y0", "r"],
            matrix,
        },
    ))
}

/// Degrees of arc that points cover about a centre: the whole turn less the widest gap between neighbours.
#[must_use]
pub fn arc_covered(points: &[[f64; 2]], centre: [f64; 2]) -> f64 {
    let mut angles: Vec<f64> = points
        .iter()
        .map(|p| (p[1] - centre[1]).atan2(p[0] - centre[0]))
        .collect();
    angles.sort_by(f64::total_cmp);
    let (Some(first), Some(last)) = (angles.first(), angles.last()) else {
        return 0.0;
    };
    let around = first + std::f64::consts::TAU - last;
    let widest = angles
        .windows(2)
        .fold(around, |widest, pair| widest.max(pair[1] - pair[0]));
    (std::f64::consts::TAU - widest).max(0.0).to_degrees()
}

/// A circle in local coordinates.
#[derive(Debug, Clone, Copy)]
pub(super) struct LocalCircle {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) radius: f64,
}

/// The circle in local coordinates with its covariance for unit noise.
pub(super) fn solve_circle(points: &Centred<2>) -> Result<(LocalCircle, Symmetric<3>), FitError> {
    let start = algebraic(points).ok_or_else(|| collinear(points))?;
    let solved = solve(points, start).map_err(|_| collinear(points))?;
    let circle = solved.model;
    let kinds = [Kind::Place, Kind::Place, Kind::Size(circle.radius)];
    let local = check(
        &solved.normal,
        &kinds,
        points.len(),
        solved.cost,
        points.rounding,
        points.scale,
    );
    let local = local.map_err(|problem| match problem {
        Ok(loose) => FitError::ShortArc {
            given: points.len(),
            degrees: arc_covered(&points.iter().collect::<Vec<_>>(), [circle.x, circle.y]),
            uncertainty: 2.0 * loose.uncertainty * points.scale,
            noise: round(loose.noise * points.scale),
        },
        Err(_) => collinear(points),
    })?;
    Ok((circle, scaled(&local, &kinds, points.scale)))
}

impl Model<3, 2> for LocalCircle {
    const BENDS: bool = true;

    #[inline]
    fn row(&self, p: &[f64; 2]) -> (f64, [f64; 3]) {
        let (x, y) = (p[0] - self.x, p[1] - self.y);
        let distance = (x * x + y * y).sqrt();
        let inverse = if distance > 0.0 { 1.0 / distance } else { 0.0 };
        (distance - self.radius, [-x * inverse, -y * inverse, -1.0])
    }

    #[inline]
    fn bend(&self, p: &[f64; 2], residual: f64, hessian: &mut Symmetric<3>) {
        // Second derivatives of the distance: (I - e e^T) / distance.
        let (x, y) = (p[0] - self.x, p[1] - self.y);
        let square = x * x + y * y;
        if square > 0.0 {
            let factor = residual / (square * (residual + self.radius));
            hessian[0][0] += factor * y * y;
            hessian[1][0] -= factor * x * y;
            hessian[1][1] += factor * x * x;
        }
    }

    #[inline]
    fn stepped(&self, step: &[f64; 3]) -> Self {
        LocalCircle {
            x: self.x + step[0],
            y: self.y + step[1],
            radius: (self.radius + step[2]).abs(),
        }
    }

    #[inline]
    fn reach(&self) -> f64 {
        self.radius.max(1.0)
    }
}

/// The algebraic circle of Taubin by Newton's method on its characteristic polynomial (N. Chernov, Circular and Linear
/// Regression, 2010, chapter 5; from memory, unconfirmed): exact for exact points and hardly biased on short arcs.
/// `None` where the points lie on a line.
fn algebraic(points: &Centred<2>) -> Option<LocalCircle> {
    let n = count(points.len());
    let mut sums = [0.0; 6];
    for [x, y] in points.iter() {
        let z = x * x + y * y;
        for (sum, term) in sums.iter_mut().zip([x * x, y * y, x * y, x * z, y * z, z * z]) {
            *sum += term;
        }
    }
    let [xx, yy, xy, xz, yz, zz] = sums.map(|s| s / n);
    let z = xx + yy;
    let determinant = xx * yy - xy * xy;
    if determinant <= 1e-13 * z * z {
        return None;
    }
    let cubic = 4.0 * z;
    let square = -3.0 * z * z - zz;
    let linear = (zz - z * z) * z + 4.0 * determinant * z - xz * xz - yz * yz;
    let constant = xz * (xz * yy - yz * xy) + yz * (yz * xx - xz * xy) - (zz - z * z) * determinant;
    let mut root = 0.0;
    let mut value = constant;
    for _ in 0..20 {
        let slope = linear + root * (2.0 * square + root * 3.0 * cubic);
        let next = root - value / slope;
        if !next.is_finite() || (next - root).abs() <= 1e-9 * z {
            break;
        }
        let found = constant + next * (linear + next * (square + next * cubic));
        if found.abs() >= value.abs() {
            break;
        }
        root = next;
        value = found;
    }
    let divisor = 2.0 * (root * root - root * z + determinant);
    let x = (xz * (yy - root) - yz * xy) / divisor;
    let y = (yz * (xx - root) - xz * xy) / divisor;
    let radius = (x * x + y * y + z).sqrt();
    radius.is_finite().then_some(LocalCircle { x, y, radius })
}

/// The error for points that are straight as far as their digits or their scatter go.
fn collinear(points: &Centred<2>) -> FitError {
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for [x, y] in points.iter() {
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    let (sin, cos) = (0.5 * (2.0 * xy).atan2(xx - yy)).sin_cos();
    let mut square = 0.0;
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for [x, y] in points.iter() {
        let (along, across) = (x * cos + y * sin, y * cos - x * sin);
        square += across * across;
        low = low.min(along);
        high = high.max(along);
    }
    let given = points.len();
    let width = (square / count(given)).sqrt() * points.scale;
    FitError::Collinear {
        figure: Figure::Circle2d,
        given,
        width,
        length: (high - low) * points.scale,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_points_make_their_circle() {
        // By hand: a right angle at (0, 0), so the middle of the other two.
        let fit = circle2d(&[[0.0, 0.0], [6.0, 0.0], [0.0, 8.0]]).unwrap();
        assert!((fit.figure.centre[0] - 3.0).abs() < 1e-15 && (fit.figure.centre[1] - 4.0).abs() < 1e-15);
        assert!((fit.figure.radius - 5.0).abs() < 1e-14 && fit.form < 1e-14);
    }

    #[test]
    fn arc_is_the_turn_less_the_widest_gap() {
        let arc = arc_covered(&[[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]], [0.0, 0.0]);
        assert!((arc - 180.0).abs() < 1e-12, "{arc}");
    }

    #[test]
    fn says_what_is_wrong() {
        let check = |points: &[[f64; 2]]| circle2d(points).unwrap_err().to_string();
        let arc = |degrees: f64| {
            [-0.5, 0.0, 0.5]
                .map(|f| (f * degrees).to_radians().sin_cos())
                .map(|(s, c)| [10.0 * c, 10.0 * s])
        };
        insta::assert_snapshot!(check(&[[1.0, 2.0], [3.0, 4.0]]), @"a circle needs at least 3 points, 2 given");
        insta::assert_snapshot!(check(&[[1.0, 2.0], [3.0, 4.0], [7.0, 8.0], [11.0, 12.0]]), @"the 4 points lie on a straight line (5.2e-16 wide, 14.142136 long): a circle needs points off that line");
        insta::assert_snapshot!(check(&arc(4.0)), @"the 3 points span 4.0 degrees of arc: diameter known to +/- 4.02 only, with points good to 0.001; take points further round");
        insta::assert_snapshot!(check(&[[f64::NEG_INFINITY, 2.0], [3.0, 4.0], [7.0, 9.0]]), @"point 1 has -inf as its x: every coordinate must be a finite number");
        assert!(circle2d(&arc(5.0)).is_ok());
    }
}
