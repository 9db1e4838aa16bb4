use nalgebra::Vector3;

use super::axial::{Axial, Axis, Found, Start, choose, search};
use super::centred::{Centred, count};
use super::determined::{Kind, covariance, stalled, unfitted};
use super::shape::{Shape, turned_positive};
use super::solver::{Model, Solved, normal_matrix, residuals, solve};
use super::{Covariance, Figure, Fit, FitError};

/// A cylinder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cylinder {
    /// The point of the axis nearest to the mean of the points.
    pub point: [f64; 3],
    /// Unit vector along the axis, its largest component positive.
    pub direction: [f64; 3],
    /// Radius.
    pub radius: f64,
}

/// Orthogonal least-squares cylinder. Residuals are positive outside. A nominal chooses among several cylinders through
/// few points: the minimum reached from it is the answer. Without one the lowest is, and `alternatives` says which
/// others fit about as well. Covariance: offsets of the axis at its point along two perpendicular directions, the tilts
/// towards them, radius.
///
/// # Errors
/// Fewer than five points, points on one line or in one plane, or a strip of wall too narrow for a diameter.
pub fn cylinder(points: &[[f64; 3]], nominal: Option<&Cylinder>) -> Result<Fit<Cylinder, 5>, FitError> {
    let figure = Figure::Cylinder;
    let centred = Centred::new(figure, 5, points)?;
    let shape = Shape::of(&centred);
    shape.not_straight(figure, &centred)?;
    shape.not_flat(figure, &centred)?;
    let tilt = "the tilt of its axis in degrees";
    let names = [
        "the place of its axis",
        "the place of its axis",
        tilt,
        tilt,
        "its radius",
    ];
    let known = |solved: &Solved<LocalCylinder, 5>| {
        let kinds = [
            Kind::Place,
            Kind::Place,
            Kind::Angle,
            Kind::Angle,
            Kind::Size(solved.model.radius),
        ];
        covariance(figure, &centred, solved, &kinds, &names)
    };
    let start = nominal.and_then(|nominal| LocalCylinder::local(nominal, &centred));
    let found = match start.map(|start| solve(&centred, start)) {
        Some(Ok(reached)) => vec![reached],
        _ => search(&centred, &shape, |solved| known(solved).is_ok())
            .map_err(|stall| stalled(figure, &centred, stall, 5))?,
    };
    let found = found.into_iter().map(|solved| facing(&centred, solved)).collect();
    let chosen = choose(&centred, found, known, || unfitted(figure, points.len()))?;
    let wall = chosen.best.model;
    let parameters = ["offset_u", "offset_v", "tilt_u", "tilt_v", "r"];
    let matrix = chosen.covariance;
    let mut fit = Fit::new(
        wall.global(&centred),
        residuals(&centred, &wall),
        Covariance { parameters, matrix },
    );
    fit.alternatives = chosen.others.iter().map(|other| other.global(&centred)).collect();
    Ok(fit)
}

#[derive(Debug, Clone, Copy)]
struct LocalCylinder {
    axis: Axis,
    radius: f64,
}

impl LocalCylinder {
    /// `None` where the nominal has no direction.
    fn local(nominal: &Cylinder, points: &Centred<3>) -> Option<Self> {
        let direction = Vector3::from(nominal.direction).try_normalize(1e-12)?;
        let axis = Axis::new(Vector3::from(points.local(&nominal.point)), direction);
        let radius = nominal.radius / points.scale;
        (axis.is_finite() && radius.is_finite()).then_some(LocalCylinder { axis, radius })
    }

    fn global(&self, points: &Centred<3>) -> Cylinder {
        Cylinder {
            point: points.global(self.axis.origin.into()),
            direction: turned_positive(self.axis.direction.into()),
            radius: self.radius * points.scale,
        }
    }
}

/// The same cylinder with the direction's largest component positive, so that the covariance is in its frame.
fn facing(points: &Centred<3>, mut solved: Solved<LocalCylinder, 5>) -> Solved<LocalCylinder, 5> {
    let axis = solved.model.axis;
    let turned = turned_positive(axis.direction.into());
    if Vector3::from(turned).dot(&axis.direction) < 0.0 {
        solved.model.axis = axis.reversed();
        solved.normal = normal_matrix(points, &solved.model);
    }
    solved
}

impl Model<5, 3> for LocalCylinder {
    #[inline]
    fn row(&self, p: &[f64; 3]) -> (f64, [f64; 5]) {
        let (x, y, t) = self.axis.coordinates(p);
        let distance = (x * x + y * y).sqrt();
        let inverse = if distance > 0.0 { -1.0 / distance } else { 0.0 };
        let (ex, ey) = (x * inverse, y * inverse);
        (distance - self.radius, [ex, ey, ex * t, ey * t, -1.0])
    }

    #[inline]
    fn stepped(&self, step: &[f64; 5]) -> Self {
        let [a, b, tilt_u, tilt_v, r] = *step;
        let (axis, _) = self.axis.stepped([a, b], [tilt_u, tilt_v]);
        LocalCylinder {
            axis,
            radius: (self.radius + r).abs(),
        }
    }

    #[inline]
    fn reach(&self) -> f64 {
        self.radius.max(1.0)
    }
}

/// The axis of the best cylinder, for figures that are near to one.
pub(super) fn nearest_axis(points: &Centred<3>, shape: &Shape) -> Option<Axis> {
    let found: Found<LocalCylinder, 5> = search(points, shape, |_| true).ok()?;
    found.first().map(|best| best.model.axis)
}

impl Axial<5> for LocalCylinder {
    /// The algebraic circle of the points seen along the direction, and the sum of squares that leaves.
    fn propose(points: &Centred<3>, direction: &Vector3<f64>) -> Option<Start<Self>> {
        let axis = Axis::new(Vector3::zeros(), *direction);
        let mut sums = [0.0; 7];
        for p in points.iter() {
            let (x, y, _) = axis.coordinates(&p);
            let z = x * x + y * y;
            for (sum, term) in sums.iter_mut().zip([x * x, x * y, y * y, x * z, y * z, z, z * z]) {
                *sum += term;
            }
        }
        let [xx, xy, yy, xz, yz, z, zz] = sums;
        let determinant = xx * yy - xy * xy;
        if determinant <= 1e-12 * (xx + yy).powi(2) {
            return None;
        }
        let x = 0.5 * (xz * yy - yz * xy) / determinant;
        let y = 0.5 * (yz * xx - xz * xy) / determinant;
        let axis = Axis {
            origin: axis.u * x + axis.v * y,
            ..axis
        };
        let n = count(points.len());
        let square = z / n + x * x + y * y;
        // Of the differences of squares, which are 2 r times the residuals.
        let cost = (zz - z * z / n - 2.0 * (x * xz + y * yz)).max(0.0) / (4.0 * square);
        let radius = square.sqrt();
        cost.is_finite().then_some(Start {
            model: LocalCylinder { axis, radius },
            cost,
        })
    }

    fn same(&self, other: &Self, within: f64) -> bool {
        let turn = self.axis.direction.cross(&other.axis.direction).norm();
        let shift = (self.axis.origin - other.axis.origin).norm();
        turn < within && shift < within * self.radius.max(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Points on the cylinder of radius 5 about the z axis through (1, 2).
    fn wall(turns: &[f64], heights: &[f64]) -> Vec<[f64; 3]> {
        let at = |turn: f64, z: f64| {
            let (s, c) = turn.to_radians().sin_cos();
            [1.0 + 5.0 * c, 2.0 + 5.0 * s, z]
        };
        heights
            .iter()
            .flat_map(|&z| turns.iter().map(move |&turn| at(turn, z)))
            .collect()
    }

    #[test]
    fn finds_a_bore_without_a_nominal() {
        for (turns, heights) in [
            (vec![0.0, 90.0, 180.0, 270.0], vec![0.0, 3.0, 9.0]),
            (vec![0.0, 120.0, 240.0], vec![0.0, 1.0, 2.0, 3.0, 4.0]),
            (vec![10.0, 17.0, 24.0, 30.0], vec![0.0, 3.0, 9.0]),
            (vec![0.0, 60.0, 130.0, 200.0, 300.0], vec![0.0, 0.5]),
        ] {
            let fit = cylinder(&wall(&turns, &heights), None).unwrap();
            assert!((fit.figure.radius - 5.0).abs() < 1e-11, "{turns:?}: {fit:?}");
            assert!((fit.figure.direction[2] - 1.0).abs() < 1e-12, "{turns:?}: {fit:?}");
            assert!(fit.alternatives.is_empty(), "{turns:?}: {fit:?}");
        }
    }

    #[test]
    fn five_points_say_that_there_are_several() {
        let points = [
            [6.0, 2.0, 0.0],
            [1.0, 7.0, 1.0],
            [-4.0, 2.0, 6.0],
            [1.0, -3.0, 8.0],
            [4.0, 6.0, 11.0],
        ];
        let fit = cylinder(&points, None).unwrap();
        assert!(!fit.alternatives.is_empty() && fit.form < 1e-12, "{fit:?}");
        let nominal = Cylinder {
            point: [1.0, 2.0, 5.0],
            direction: [0.01, 0.0, 1.0],
            radius: 5.2,
        };
        let chosen = cylinder(&points, Some(&nominal)).unwrap();
        assert!(
            (chosen.figure.radius - 5.0).abs() < 1e-12 && chosen.alternatives.is_empty(),
            "{chosen:?}"
        );
        assert!(
            fit.alternatives
                .iter()
                .chain([&fit.figure])
                .any(|c| (c.radius - 5.0).abs() < 1e-9),
            "{fit:?}"
        );
    }

    #[test]
    fn says_what_is_wrong() {
        let check = |points: &[[f64; 3]]| cylinder(points, None).unwrap_err().to_string();
        insta::assert_snapshot!(check(&wall(&[0.0, 90.0], &[0.0, 1.0])), @"a cylinder needs at least 5 points, 4 given");
        insta::assert_snapshot!(check(&wall(&[0.0, 60.0, 120.0, 200.0, 280.0], &[2.0])), @"the 5 points lie in one plane (within 0.0e0, 8.830222 across): a cylinder needs points off it");
        insta::assert_snapshot!(check(&wall(&[0.0], &[2.0, 3.0, 4.0, 5.0, 6.0])), @"the 5 points lie on a straight line (0.0e0 wide, 4.000000 long): a cylinder needs points off that line");
        insta::assert_snapshot!(check(&wall(&[0.0, 1.5, 3.0], &[0.0, 10.0])), @"the 6 points do not fix a cylinder: its radius known to +/- 2.53 only, with points good to 0.001; spread the points further over the surface");
    }
}
