use nalgebra::Vector3;

use super::axial::{Axial, Axis, Start, choose, search};
use super::centred::{Centred, count};
use super::cylinder::nearest_axis;
use super::determined::{Kind, covariance, stalled, unfitted};
use super::shape::Shape;
use super::solver::{Model, Solved, residuals, solve};
use super::symmetric::Factor;
use super::{Covariance, Figure, Fit, FitError};

/// A cone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cone {
    /// The point of the axis nearest to the mean of the points.
    pub point: [f64; 3],
    /// Unit vector along the axis, from the apex into the opening cone.
    pub direction: [f64; 3],
    /// Radius at `point`, perpendicular to the axis.
    pub radius: f64,
    /// Angle between axis and surface, radians, between 0 and half pi.
    pub half_angle: f64,
}

impl Cone {
    /// Where the surface meets the axis.
    #[must_use]
    pub fn apex(&self) -> [f64; 3] {
        let back = self.radius / self.half_angle.tan();
        std::array::from_fn(|axis| self.point[axis] - self.direction[axis] * back)
    }
}

/// Orthogonal least-squares cone. Residuals are distances perpendicular to the surface, positive outside. Nominal and
/// alternatives as for the cylinder. Covariance: offsets of the axis at its point along two perpendicular directions,
/// the tilts towards them, half angle, distance of the surface from the point.
///
/// # Errors
/// Fewer than six points, points on one line or in one plane, or points that could as well lie on a cylinder.
pub fn cone(points: &[[f64; 3]], nominal: Option<&Cone>) -> Result<Fit<Cone, 6>, FitError> {
    let figure = Figure::Cone;
    let centred = Centred::new(figure, 6, points)?;
    let shape = Shape::of(&centred);
    shape.not_straight(figure, &centred)?;
    shape.not_flat(figure, &centred)?;
    let kinds = [
        Kind::Place,
        Kind::Place,
        Kind::Angle,
        Kind::Angle,
        Kind::Angle,
        Kind::Place,
    ];
    let tilt = "the tilt of its axis in degrees";
    let place = "the place of its axis";
    let names = [place, place, tilt, tilt, "its half angle in degrees", "its radius"];
    let known = |solved: &Solved<LocalCone, 6>| {
        let matrix = covariance(figure, &centred, solved, &kinds, &names)?;
        not_a_cylinder(&centred, solved, matrix[4][4].sqrt()).map(|()| matrix)
    };
    let start = nominal.and_then(|nominal| LocalCone::local(nominal, &centred));
    let found = match start.map(|start| solve(&centred, start)) {
        Some(Ok(reached)) => vec![reached],
        _ => search(&centred, &shape, |solved| known(solved).is_ok())
            .map_err(|stall| stalled(figure, &centred, stall, 6))?,
    };
    let chosen = choose(&centred, found, known, || unfitted(figure, points.len()))?;
    let wall = chosen.best.model;
    let parameters = ["offset_u", "offset_v", "tilt_u", "tilt_v", "half_angle", "distance"];
    let matrix = chosen.covariance;
    let mut fit = Fit::new(
        wall.global(&centred),
        residuals(&centred, &wall),
        Covariance { parameters, matrix },
    );
    fit.alternatives = chosen.others.iter().map(|other| other.global(&centred)).collect();
    Ok(fit)
}

/// Fails where the half angle is not known from zero: then there is no apex.
fn not_a_cylinder(points: &Centred<3>, best: &Solved<LocalCone, 6>, gain: f64) -> Result<(), FitError> {
    let freedom = points.len().saturating_sub(6);
    let scatter = if freedom > 0 {
        (best.cost / count(freedom)).sqrt()
    } else {
        0.0
    };
    let noise = scatter.max(points.rounding) * points.scale;
    if gain * noise < best.model.half_angle && best.model.half_angle > 1e-9 {
        return Ok(());
    }
    Err(FitError::NoApex {
        given: points.len(),
        half_angle: best.model.half_angle.to_degrees(),
        uncertainty: (gain * noise).to_degrees(),
    })
}

#[derive(Debug, Clone, Copy)]
struct LocalCone {
    axis: Axis,
    half_angle: f64,
    sin: f64,
    cos: f64,
    /// Distance of the surface from the axis' origin, perpendicular to the surface.
    distance: f64,
}

/// Half angles stop short of a plane by this.
const WIDEST: f64 = std::f64::consts::FRAC_PI_2 - 1e-3;

impl LocalCone {
    fn new(axis: Axis, half_angle: f64, distance: f64) -> Self {
        let axis = if half_angle < 0.0 { axis.reversed() } else { axis };
        let half_angle = half_angle.abs().min(WIDEST);
        let (sin, cos) = half_angle.sin_cos();
        LocalCone {
            axis,
            half_angle,
            sin,
            cos,
            distance,
        }
    }

    fn local(nominal: &Cone, points: &Centred<3>) -> Option<Self> {
        let direction = Vector3::from(nominal.direction).try_normalize(1e-12)?;
        let through = Vector3::from(points.local(&nominal.point));
        let axis = Axis::new(through, direction);
        let slid = -through.dot(&direction);
        let (sin, cos) = nominal.half_angle.sin_cos();
        let distance = nominal.radius / points.scale * cos + slid * sin;
        let usable = axis.is_finite() && distance.is_finite() && nominal.half_angle.is_finite();
        usable.then(|| LocalCone::new(axis, nominal.half_angle, distance))
    }

    fn global(&self, points: &Centred<3>) -> Cone {
        Cone {
            point: points.global(self.axis.origin.into()),
            direction: self.axis.direction.into(),
            radius: self.distance / self.cos * points.scale,
            half_angle: self.half_angle,
        }
    }
}

impl Model<6, 3> for LocalCone {
    #[inline]
    fn row(&self, p: &[f64; 3]) -> (f64, [f64; 6]) {
        let (x, y, t) = self.axis.coordinates(p);
        let rho = (x * x + y * y).sqrt();
        let inverse = if rho > 0.0 { -1.0 / rho } else { 0.0 };
        let (ex, ey) = (x * inverse * self.cos, y * inverse * self.cos);
        let residual = rho * self.cos - t * self.sin - self.distance;
        let by_angle = -rho * self.sin - t * self.cos;
        (
            residual,
            [ex, ey, ex * t - x * self.sin, ey * t - y * self.sin, by_angle, -1.0],
        )
    }

    #[inline]
    fn stepped(&self, step: &[f64; 6]) -> Self {
        let [a, b, tilt_u, tilt_v, angle, away] = *step;
        let (axis, slid) = self.axis.stepped([a, b], [tilt_u, tilt_v]);
        let half_angle = self.half_angle + angle.clamp(-0.5, 0.5);
        LocalCone::new(axis, half_angle, self.distance + away + slid * half_angle.sin())
    }

    #[inline]
    fn reach(&self) -> f64 {
        self.distance.abs().max(1.0)
    }
}

impl Axial<6> for LocalCone {
    /// An algebraic circle seen along the direction,
    /// whose square of radius runs along it, then the straight line of
    /// radius over height about its centre, and the sum of squares that leaves.
    fn propose(points: &Centred<3>, direction: &Vector3<f64>) -> Option<Start<Self>> {
        let axis = Axis::new(Vector3::zeros(), *direction);
        let mut matrix = [[0.0; 3]; 3];
        let mut rhs = [0.0; 3];
        for p in points.iter() {
            let (x, y, t) = axis.coordinates(&p);
            let row = [x, y, t];
            for i in 0..3 {
                rhs[i] += 0.5 * row[i] * (x * x + y * y);
                for j in 0..=i {
                    matrix[i][j] += row[i] * row[j];
                }
            }
        }
        let factor = Factor::new(&matrix).or_else(|| {
            // Points at one height leave the run along the axis free; a little weight keeps it still.
            matrix[2][2] += 1e-6 * (matrix[0][0] + matrix[1][1] + matrix[2][2]);
            Factor::new(&matrix)
        });
        let [x, y, _] = factor?.solve(&rhs);
        let axis = Axis {
            origin: axis.u * x + axis.v * y,
            ..axis
        };
        let n = count(points.len());
        let mut sums = [0.0; 5];
        for p in points.iter() {
            let (x, y, t) = axis.coordinates(&p);
            let rho = (x * x + y * y).sqrt();
            for (sum, term) in sums.iter_mut().zip([rho, t, rho * rho, rho * t, t * t]) {
                *sum += term;
            }
        }
        let [r, t, rr, rt, tt] = sums.map(|s| s / n);
        let (rr, rt, tt) = (rr - r * r, rt - r * t, tt - t * t);
        let slope = if tt > 1e-12 { rt / tt } else { 0.0 };
        let half_angle = slope.atan().clamp(-1.4, 1.4);
        let distance = (r - slope * t) * half_angle.cos();
        let cost = n * (rr - slope * rt) * half_angle.cos().powi(2);
        cost.is_finite().then(|| Start {
            model: LocalCone::new(axis, half_angle, distance),
            cost,
        })
    }

    /// For a patch of a cone. The best cylinder lies along its middle generator, which the axis leaves by the
    /// half angle in the plane of generator and surface normal.
    fn directions(points: &Centred<3>, shape: &Shape) -> Vec<Vector3<f64>> {
        let Some(axis) = nearest_axis(points, shape) else {
            return Vec::new();
        };
        // From the axis towards the mean of the points, which is the local origin.
        let Some(outward) = (-axis.origin).try_normalize(1e-6) else {
            return Vec::new();
        };
        let turns = [2.0_f64, 5.0, 10.0, 16.0, 23.0, 30.0, 38.0, 45.0, 53.0, 60.0, 68.0, 76.0];
        turns
            .iter()
            .flat_map(|turn| [*turn, -*turn])
            .map(|turn| {
                let (sin, cos) = turn.to_radians().sin_cos();
                axis.direction * cos + outward * sin
            })
            .collect()
    }

    fn same(&self, other: &Self, within: f64) -> bool {
        let turn = (self.axis.direction - other.axis.direction).norm();
        let shift = (self.axis.origin - other.axis.origin).norm();
        turn < within
            && shift < within * self.distance.abs().max(1.0)
            && (self.half_angle - other.half_angle).abs() < within
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Points on the cone with apex (1, 2, -3), axis z, half angle with tangent 0.5.
    fn wall(turns: &[f64], heights: &[f64]) -> Vec<[f64; 3]> {
        let at = |turn: f64, z: f64| {
            let (s, c) = turn.to_radians().sin_cos();
            let r = 0.5 * (z + 3.0);
            [1.0 + r * c, 2.0 + r * s, z]
        };
        heights
            .iter()
            .flat_map(|&z| turns.iter().map(move |&turn| at(turn, z)))
            .collect()
    }

    #[test]
    fn finds_a_countersink_without_a_nominal() {
        for (turns, heights) in [
            (vec![0.0, 90.0, 180.0, 270.0], vec![0.0, 3.0, 9.0]),
            (vec![0.0, 72.0, 144.0, 216.0, 288.0], vec![1.0, 2.0]),
            (vec![0.0, 30.0, 60.0, 90.0], vec![0.0, 3.0, 9.0, 14.0]),
        ] {
            let fit = cone(&wall(&turns, &heights), None).unwrap();
            assert!(
                (fit.figure.half_angle - 0.5_f64.atan()).abs() < 1e-11,
                "{turns:?}: {fit:?}"
            );
            let apex = Vector3::from(fit.figure.apex()) - Vector3::new(1.0, 2.0, -3.0);
            assert!(
                apex.norm() < 1e-10 && fit.figure.direction[2] > 0.0,
                "{turns:?}: {fit:?}"
            );
        }
    }

    #[test]
    fn two_rings_of_four_make_a_cone_and_not_a_cylinder() {
        // Other figures come near to eight points, some of them without an apex and nearer: they are no answer.
        let noise = [3.0, -5.0, 1.0, 4.0, -2.0, 5.0, -4.0, 2.0];
        let points: Vec<[f64; 3]> = wall(&[0.0, 90.0, 180.0, 270.0], &[0.0, 6.0])
            .into_iter()
            .zip(noise)
            .map(|([x, y, z], n)| [x + 1e-3 * n, y, z])
            .collect();
        let fit = cone(&points, None).unwrap();
        let all = || fit.alternatives.iter().chain([&fit.figure]);
        assert!(all().any(|c| (c.half_angle - 0.5_f64.atan()).abs() < 2e-3), "{fit:?}");
    }

    #[test]
    fn blunt_cones_through_six_points_are_told_apart() {
        let (turns, heights) = (vec![0.0, 100.0, 200.0], vec![-1.0, 1.0]);
        let at = |turn: f64, z: f64| {
            let (s, c) = turn.to_radians().sin_cos();
            let r = 10.0 + 5.671 * z;
            [r * c, r * s, z]
        };
        let points: Vec<[f64; 3]> = heights
            .iter()
            .flat_map(|&z| turns.iter().map(move |&turn| at(turn, z)))
            .collect();
        let fit = cone(&points, None).unwrap();
        let all = || fit.alternatives.iter().chain([&fit.figure]);
        assert!(all().any(|c| (c.half_angle - 5.671_f64.atan()).abs() < 1e-9), "{fit:?}");
    }

    #[test]
    fn says_what_is_wrong() {
        let check = |points: &[[f64; 3]]| cone(points, None).unwrap_err().to_string();
        insta::assert_snapshot!(check(&wall(&[0.0, 90.0], &[0.0, 1.0])), @"a cone needs at least 6 points, 4 given");
        insta::assert_snapshot!(check(&wall(&[0.0, 60.0, 120.0, 180.0, 240.0, 300.0], &[1.0])), @"the 6 points lie in one plane (within 0.0e0, 3.892996 across): a cone needs points off it");
        let straight: Vec<[f64; 3]> = (0..12)
            .map(|i| {
                let (s, c) = (f64::from(i) * 1.1).sin_cos();
                [5.0 * c, 5.0 * s, f64::from(i)]
            })
            .collect();
        let told = check(&straight);
        assert!(
            told.starts_with("the 12 points could as well lie on a cylinder: half angle ")
                && told.ends_with(", so a cone has no apex here"),
            "{told}"
        );
    }
}
