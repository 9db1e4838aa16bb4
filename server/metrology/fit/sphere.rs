use super::centred::{Centred, count};
use super::determined::{Kind, covariance, stalled};
use super::shape::Shape;
use super::solver::{Model, residuals, solve};
use super::symmetric::{Symmetric, eigen};
use super::{Covariance, Figure, Fit, FitError};

/// A sphere.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sphere {
    /// Centre.
    pub centre: [f64; 3],
    /// Radius.
    pub radius: f64,
}

/// Orthogonal least-squares sphere. Residuals are positive outside. Covariance: x0, y0, z0, r.
///
/// # Errors
/// Fewer than four points, points in one plane, or a cap too small for a diameter.
pub fn sphere(points: &[[f64; 3]]) -> Result<Fit<Sphere, 4>, FitError> {
    let figure = Figure::Sphere;
    let centred = Centred::new(figure, 4, points)?;
    let shape = Shape::of(&centred);
    shape.not_straight(figure, &centred)?;
    shape.not_flat(figure, &centred)?;
    let solved = solve(&centred, algebraic(&centred, &shape)).map_err(|stall| stalled(figure, &centred, stall, 4))?;
    let ball = solved.model;
    let kinds = [Kind::Place, Kind::Place, Kind::Place, Kind::Size(ball.radius)];
    let names = ["its centre in x", "its centre in y", "its centre in z", "its radius"];
    let matrix = covariance(figure, &centred, &solved, &kinds, &names)?;
    let fitted = Sphere {
        centre: centred.global(ball.centre),
        radius: ball.radius * centred.scale,
    };
    let parameters = ["x0", "y0", "z0", "r"];
    Ok(Fit::new(
        fitted,
        residuals(&centred, &ball),
        Covariance { parameters, matrix },
    ))
}

#[derive(Debug, Clone, Copy)]
struct LocalSphere {
    centre: [f64; 3],
    radius: f64,
}

impl LocalSphere {
    fn offset(&self, p: &[f64; 3]) -> ([f64; 3], f64) {
        let d = [p[0] - self.centre[0], p[1] - self.centre[1], p[2] - self.centre[2]];
        (d, (d[0] * d[0] + d[1] * d[1] + d[2] * d[2]).sqrt())
    }
}

impl Model<4, 3> for LocalSphere {
    const BENDS: bool = true;

    #[inline]
    fn row(&self, p: &[f64; 3]) -> (f64, [f64; 4]) {
        let (d, distance) = self.offset(p);
        let inverse = if distance > 0.0 { -1.0 / distance } else { 0.0 };
        (
            distance - self.radius,
            [d[0] * inverse, d[1] * inverse, d[2] * inverse, -1.0],
        )
    }

    #[inline]
    fn bend(&self, p: &[f64; 3], residual: f64, hessian: &mut Symmetric<4>) {
        let (d, distance) = self.offset(p);
        if distance > 0.0 {
            // Second derivatives of the distance: (I - e e^T) / distance.
            let factor = residual / distance;
            let square = distance * distance;
            for i in 0..3 {
                hessian[i][i] += factor;
                for j in 0..=i {
                    hessian[i][j] -= factor * d[i] * d[j] / square;
                }
            }
        }
    }

    #[inline]
    fn stepped(&self, step: &[f64; 4]) -> Self {
        let centre = std::array::from_fn(|axis| self.centre[axis] + step[axis]);
        LocalSphere {
            centre,
            radius: (self.radius + step[3]).abs(),
        }
    }

    #[inline]
    fn reach(&self) -> f64 {
        self.radius.max(1.0)
    }
}

/// Taubin's algebraic fit in space: the smallest eigenvector of the moments of (x, y, z, q), q being the centred square
/// of the distance from the mean, over twice its root mean (the planar form by N. Chernov, Circular and Linear
/// Regression, 2010, chapter 5, carried over; from memory, unconfirmed).
fn algebraic(points: &Centred<3>, shape: &Shape) -> LocalSphere {
    let n = count(points.len());
    let mean = shape.spreads.iter().map(|s| s * s).sum::<f64>();
    let norm = 2.0 * mean.sqrt();
    let mut moments = [[0.0; 4]; 4];
    for p in points.iter() {
        let q = (p[0] * p[0] + p[1] * p[1] + p[2] * p[2] - mean) / norm;
        let row = [p[0], p[1], p[2], q];
        for i in 0..4 {
            for j in 0..=i {
                moments[i][j] += row[i] * row[j] / n;
            }
        }
    }
    let [x, y, z, q] = eigen(&moments).vectors[0];
    // x.p + q (p^2 - mean) / norm = 0: centre -x norm / (2 q). A flat cloud has q near zero; its sphere is kept finite.
    let q = if q.abs() < 1e-9 { 1e-9_f64.copysign(q) } else { q };
    let centre = [x, y, z].map(|c| -c * norm / (2.0 * q));
    let radius = (centre.iter().map(|c| c * c).sum::<f64>() + mean).sqrt();
    LocalSphere { centre, radius }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_points_make_their_sphere() {
        let fit = sphere(&[[3.0, 0.0, 0.0], [-1.0, 0.0, 0.0], [1.0, 2.0, 0.0], [1.0, 0.0, -2.0]]).unwrap();
        assert!(
            (fit.figure.centre[0] - 1.0).abs() < 1e-15 && (fit.figure.radius - 2.0).abs() < 1e-15,
            "{fit:?}"
        );
    }

    #[test]
    fn says_what_is_wrong() {
        let check = |points: &[[f64; 3]]| sphere(points).unwrap_err().to_string();
        insta::assert_snapshot!(check(&[[1.0, 2.0, 3.0]; 3]), @"a sphere needs at least 4 points, 3 given");
        insta::assert_snapshot!(check(&[[0.0; 3], [1.0; 3], [2.0; 3], [4.0; 3]]), @"the 4 points lie on a straight line (0.0e0 wide, 6.928203 long): a sphere needs points off that line");
        insta::assert_snapshot!(check(&[[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [1.0, 1.0, 0.0]]), @"the 4 points lie in one plane (within 0.0e0, 1.000000 across): a sphere needs points off it");
    }
}
