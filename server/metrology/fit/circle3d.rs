use nalgebra::Vector3;

use super::centred::Centred;
use super::circle2d::solve_circle;
use super::plane::plane;
use super::solver::residuals;
use super::{Covariance, Figure, Fit, FitError};

/// A circle in space.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circle3 {
    /// Centre, in the least-squares plane of the points.
    pub centre: [f64; 3],
    /// Unit normal of that plane, its largest component positive.
    pub normal: [f64; 3],
    /// Radius.
    pub radius: f64,
    /// Unit vector in the plane; the covariance's first axis.
    pub u: [f64; 3],
    /// Unit vector in the plane across `u`; u, v, normal are right-handed.
    pub v: [f64; 3],
    /// Flatness of the points about the plane: largest minus smallest distance.
    pub flatness: f64,
}

/// Least-squares circle in space, in two steps as bores are measured: least-squares plane through the points, points
/// projected along its normal, least-squares circle in the plane. Residuals are radial in the plane, positive outside.
/// Covariance: centre along u and v, radius, centre along the normal, tilts along u and v.
///
/// # Errors
/// As of the plane and of the circle in the plane.
pub fn circle3d(points: &[[f64; 3]]) -> Result<Fit<Circle3, 6>, FitError> {
    if points.len() < 3 {
        return Err(FitError::TooFewPoints {
            figure: Figure::Circle3d,
            needed: 3,
            given: points.len(),
        });
    }
    let plane = plane(points).map_err(renamed)?;
    let origin = Vector3::from(plane.figure.point);
    let (u, v) = (Vector3::from(plane.figure.u), Vector3::from(plane.figure.v));
    let flat: Vec<[f64; 2]> = points
        .iter()
        .map(|p| {
            let p = Vector3::from(*p) - origin;
            [p.dot(&u), p.dot(&v)]
        })
        .collect();
    let centred = Centred::new(Figure::Circle3d, 3, &flat)?;
    let (circle, round) = solve_circle(&centred).map_err(renamed)?;
    let [x, y] = centred.global([circle.x, circle.y]);
    let figure = Circle3 {
        centre: (origin + u * x + v * y).into(),
        normal: plane.figure.normal,
        radius: circle.radius * centred.scale,
        u: plane.figure.u,
        v: plane.figure.v,
        flatness: plane.form,
    };
    let matrix = joined(&round, &plane.covariance.matrix, x, y);
    let parameters = [
        "center_u",
        "center_v",
        "r",
        "center_w",
        "slope_along_u",
        "slope_along_v",
    ];
    Ok(Fit::new(
        figure,
        residuals(&centred, &circle),
        Covariance { parameters, matrix },
    ))
}

/// Noise in the plane moves the circle, noise across it the plane: two blocks, the second moved from the mean of the
/// points to the centre at (x, y).
fn joined(round: &[[f64; 3]; 3], plane: &[[f64; 3]; 3], x: f64, y: f64) -> [[f64; 6]; 6] {
    let at = [[1.0, x, y], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    let mut matrix = [[0.0; 6]; 6];
    for i in 0..3 {
        for j in 0..3 {
            matrix[i][j] = round[i][j];
            for k in 0..3 {
                for l in 0..3 {
                    matrix[i + 3][j + 3] += at[i][k] * plane[k][l] * at[j][l];
                }
            }
        }
    }
    matrix
}

fn renamed(error: FitError) -> FitError {
    let name = Figure::Circle3d;
    match error {
        FitError::Collinear {
            given, width, length, ..
        } => FitError::Collinear {
            figure: name,
            given,
            width,
            length,
        },
        FitError::Coincident {
            given, spread, largest, ..
        } => FitError::Coincident {
            figure: name,
            given,
            spread,
            largest,
        },
        FitError::Loose {
            given,
            uncertainty,
            noise,
            ..
        } => {
            let quantity = "the tilt of its plane in degrees";
            FitError::Loose {
                figure: name,
                given,
                quantity,
                uncertainty,
                noise,
            }
        }
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tilted_circle_is_no_ellipse() {
        // Radius 5 about (1, 2, 3) in the plane spanned by (0.6, 0, 0.8) and (0, 1, 0).
        let points: Vec<[f64; 3]> = (0..5)
            .map(|i| {
                let (s, c) = (f64::from(i) * 1.2).sin_cos();
                [1.0 + 3.0 * c, 2.0 + 5.0 * s, 3.0 + 4.0 * c]
            })
            .collect();
        let fit = circle3d(&points).unwrap();
        assert!((fit.figure.radius - 5.0).abs() < 1e-14, "{fit:?}");
        assert!(
            (Vector3::from(fit.figure.centre) - Vector3::new(1.0, 2.0, 3.0)).norm() < 1e-14,
            "{fit:?}"
        );
    }

    #[test]
    fn says_what_is_wrong() {
        let check = |points: &[[f64; 3]]| circle3d(points).unwrap_err().to_string();
        insta::assert_snapshot!(check(&[[1.0, 2.0, 3.0]; 2]), @"a circle in space needs at least 3 points, 2 given");
        insta::assert_snapshot!(check(&[[0.0; 3], [1.0; 3], [2.0; 3], [4.0; 3]]), @"the 4 points lie on a straight line (0.0e0 wide, 5.123475 long): a circle in space needs points off that line");
    }
}
