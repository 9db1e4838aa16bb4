use nalgebra::Vector3;

use super::centred::{Centred, apart, count, unusable};
use super::determined::{Kind, diagonal, stands_out};
use super::shape::turned_positive;
use super::symmetric::{Symmetric, eigen};
use super::{Covariance, Figure, Fit, FitError, extremes};

/// A plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    /// A point of the plane: the mean of the points it was fitted to.
    pub point: [f64; 3],
    /// Unit vector, its largest component positive.
    pub normal: [f64; 3],
    /// Unit vector in the plane along which the points reach furthest.
    pub u: [f64; 3],
    /// Unit vector in the plane across `u`; u, v, normal are right-handed.
    pub v: [f64; 3],
}

impl Plane {
    /// Signed distance of the plane from the origin along its normal.
    #[must_use]
    pub fn offset(&self) -> f64 {
        Vector3::from(self.normal).dot(&Vector3::from(self.point))
    }
}

/// Orthogonal least-squares plane. Residuals are positive on the side of the normal. Covariance: offset at the mean of
/// the points, slopes along u and v.
///
/// # Errors
/// Fewer than three points, or points that are the same, on one line, or in no plane.
pub fn plane(points: &[[f64; 3]]) -> Result<Fit<Plane, 3>, FitError> {
    let (centred, moments) = survey(points)?;
    let mut axes = Axes::of(&moments);
    let mut heights = measure(&centred, &axes);
    for _ in 0..3 {
        let turned = axes.correct(&heights.gradient);
        if turned < 1e-17 || (points.len() > FEW && turned < WORTH_A_PASS) {
            break;
        }
        heights = measure(&centred, &axes);
    }
    axes.squares[0] = heights.square;
    let matrix = covariance(&centred, &axes)?;
    let figure = Plane {
        point: centred.centre,
        normal: axes.normal.into(),
        u: axes.u.into(),
        v: axes.normal.cross(&axes.u).into(),
    };
    let parameters = ["offset_at_centroid", "slope_along_u", "slope_along_v"];
    Ok(Fit {
        figure,
        residuals: heights.residuals,
        form: heights.form,
        covariance: Covariance { parameters, matrix },
        rank: 3,
        alternatives: Vec::new(),
    })
}

/// Principal axes with their sums of squares, local.
struct Axes {
    normal: Vector3<f64>,
    u: Vector3<f64>,
    v: Vector3<f64>,
    squares: [f64; 3],
}

/// Up to this many points every digit is worth another pass; above, one that turns the plane by less than this is not.
const FEW: usize = 50_000;
const WORTH_A_PASS: f64 = 1e-13;

impl Axes {
    fn of(moments: &Symmetric<3>) -> Self {
        let found = eigen(moments);
        let normal = Vector3::from(turned_positive(found.vectors[0]));
        let (u, v) = (Vector3::from(found.vectors[2]), Vector3::from(found.vectors[1]));
        Axes {
            normal,
            u,
            v,
            squares: found.values,
        }
    }

    /// One Newton step for the tilt. The gradient is a sum of height times position: taken along the normal it has
    /// all the digits that the moments, taken along the coordinate axes, have lost.
    /// Answers how far it turned, radians.
    fn correct(&mut self, gradient: &Vector3<f64>) -> f64 {
        let [w, v, u] = self.squares;
        let (a, b) = (gradient.dot(&self.u) / (u - w), gradient.dot(&self.v) / (v - w));
        let size = a.abs().max(b.abs());
        if !(size > 1e-17 && size < 0.1) {
            return 0.0;
        }
        let normal = self.normal;
        self.normal = (normal - self.u * a - self.v * b).normalize();
        self.u = (self.u + normal * a).normalize();
        self.v = self.normal.cross(&self.u) * self.v.dot(&normal.cross(&self.u)).signum();
        size
    }
}

struct Heights {
    residuals: Vec<f64>,
    /// Largest less smallest.
    form: f64,
    square: f64,
    gradient: Vector3<f64>,
}

/// Points summed together.
const BLOCK: usize = 512;

/// Mean and moments in one pass over the points, which for a million of them is the cost: differences from the first
/// point, summed in blocks.
fn survey(points: &[[f64; 3]]) -> Result<(Centred<'_, 3>, Symmetric<3>), FitError> {
    let figure = Figure::Plane;
    let given = points.len();
    let Some(&first) = points.first().filter(|_| given >= 3) else {
        return Err(FitError::TooFewPoints {
            figure,
            needed: 3,
            given,
        });
    };
    let mut total = [0.0; 9];
    for block in points.chunks(BLOCK) {
        let mut sums = [[0.0; 2]; 9];
        let mut take = |lane: usize, p: &[f64; 3]| {
            let [x, y, z] = [p[0] - first[0], p[1] - first[1], p[2] - first[2]];
            for (sum, term) in sums.iter_mut().zip([x, y, z, x * x, y * y, z * z, x * y, x * z, y * z]) {
                sum[lane] += term;
            }
        };
        // In pairs, each with a sum of its own, so that one addition need not wait for the other.
        let (pairs, last) = block.as_chunks::<2>();
        for [even, odd] in pairs {
            take(0, even);
            take(1, odd);
        }
        last.iter().for_each(|p| take(0, p));
        for (total, [even, odd]) in total.iter_mut().zip(sums) {
            *total += even + odd;
        }
    }
    let largest = first.iter().fold(0.0_f64, |most, c| most.max(c.abs()));
    if total.iter().any(|t| !t.is_finite()) || largest > 1e70 || total[3] + total[4] + total[5] > 1e140 {
        return Err(unusable(points));
    }
    let n = count(given);
    let [x, y, z] = [total[0] / n, total[1] / n, total[2] / n];
    let centre = [first[0] + x, first[1] + y, first[2] + z];
    let about = |sum: f64, a: f64, b: f64| sum - n * a * b;
    let [xx, yy, zz] = [about(total[3], x, x), about(total[4], y, y), about(total[5], z, z)];
    let spread = (xx.max(yy).max(zz).max(0.0) / n).sqrt();
    let largest = largest + spread;
    apart(figure, given, spread, largest)?;
    let centred = Centred::with(points, centre, spread, largest);
    let s = centred.scale;
    let local = |sum: f64| sum / s / s;
    let (xy, xz, yz) = (about(total[6], x, y), about(total[7], x, z), about(total[8], y, z));
    let moments = [[xx, 0.0, 0.0], [xy, yy, 0.0], [xz, yz, zz]].map(|row| row.map(local));
    Ok((centred, moments))
}

/// Heights over the plane, their sum of squares and the sum of height times position.
fn measure(points: &Centred<3>, axes: &Axes) -> Heights {
    let (n, centre) = (axes.normal, points.centre);
    let mut residuals = Vec::with_capacity(points.len());
    let mut total = [0.0; 4];
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for block in points.points.chunks(BLOCK) {
        let mut sums = [[0.0; 2]; 4];
        let mut heights = [0.0; BLOCK];
        let (places, _) = heights.as_chunks_mut::<2>();
        let mut take = |lane: usize, p: &[f64; 3], place: &mut f64| {
            let [x, y, z] = [p[0] - centre[0], p[1] - centre[1], p[2] - centre[2]];
            let height = n.x * x + n.y * y + n.z * z;
            *place = height;
            for (sum, term) in sums.iter_mut().zip([height, x, y, z]) {
                sum[lane] += height * term;
            }
        };
        let (pairs, last) = block.as_chunks::<2>();
        for (pair, place) in pairs.iter().zip(places.iter_mut()) {
            take(0, &pair[0], &mut place[0]);
            take(1, &pair[1], &mut place[1]);
        }
        for (p, place) in last.iter().zip(places[pairs.len()..].as_flattened_mut()) {
            take(0, p, place);
        }
        let heights = &heights[..block.len()];
        let (lowest, highest) = extremes(heights);
        (low, high) = (low.min(lowest), high.max(highest));
        residuals.extend_from_slice(heights);
        for (total, [even, odd]) in total.iter_mut().zip(sums) {
            *total += even + odd;
        }
    }
    let [square, x, y, z] = total.map(|sum| sum / points.scale / points.scale);
    Heights {
        residuals,
        form: high - low,
        square,
        gradient: Vector3::new(x, y, z),
    }
}

fn covariance(points: &Centred<3>, axes: &Axes) -> Result<Symmetric<3>, FitError> {
    let figure = Figure::Plane;
    let given = points.len();
    let [w, v, u] = axes.squares;
    let n = count(given);
    stands_out(v, w, given - 3, points).map_err(|loose| {
        if v > 1e-4 * u {
            return loose.angle(figure, given, "its tilt in degrees", points.scale);
        }
        let rms = |sum: f64| (sum.max(0.0) / n).sqrt() * points.scale;
        FitError::Collinear {
            figure,
            given,
            width: rms(v),
            length: 2.0 * rms(u),
        }
    })?;
    Ok(diagonal(
        [n, u, v],
        &[Kind::Place, Kind::Angle, Kind::Angle],
        points.scale,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_points_make_their_plane() {
        let fit = plane(&[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]).unwrap();
        for component in fit.figure.normal {
            assert!((component - 1.0 / 3.0_f64.sqrt()).abs() < 1e-15, "{fit:?}");
        }
        assert!(
            (fit.figure.offset() - 1.0 / 3.0_f64.sqrt()).abs() < 1e-15 && fit.form < 1e-15,
            "{fit:?}"
        );
    }

    #[test]
    fn axes_are_right_handed() {
        let fit = plane(&[[0.0, 0.0, 0.1], [9.0, 1.0, 0.0], [8.0, 5.0, 0.0], [1.0, 4.0, -0.2]]).unwrap();
        let [u, v, w] = [fit.figure.u, fit.figure.v, fit.figure.normal].map(Vector3::from);
        assert!((u.cross(&v) - w).norm() < 1e-15 && u.dot(&w).abs() < 1e-15);
    }

    #[test]
    fn says_what_is_wrong() {
        let check = |points: &[[f64; 3]]| plane(points).unwrap_err().to_string();
        insta::assert_snapshot!(check(&[[1.0, 2.0, 3.0]; 2]), @"a plane needs at least 3 points, 2 given");
        insta::assert_snapshot!(check(&[[1.0, 2.0, 3.0]; 4]), @"all 4 points lie within 0.0e0 of one another, at coordinates up to 3.000000: a plane needs points that are apart");
        insta::assert_snapshot!(check(&[[0.0, 0.0, 0.0], [1.0, 1.0, 1.0], [3.0, 3.0, 3.0], [2.0, 2.0, 2.0]]), @"the 4 points lie on a straight line (0.0e0 wide, 3.872983 long): a plane needs points off that line");
        insta::assert_snapshot!(check(&[[0.0, 0.0, 0.0], [50.0, 0.001, 0.0], [100.0, 0.0, 0.0]]), @"the 3 points lie on a straight line (4.7e-4 wide, 81.649658 long): a plane needs points off that line");
        insta::assert_snapshot!(check(&[[0.0, 0.0, f64::INFINITY], [1.0, 1.0, 1.0], [3.0, 3.0, 3.0]]), @"point 1 has inf as its z: every coordinate must be a finite number");
        let tetrahedron = [[1.0, 1.0, 1.0], [1.0, -1.0, -1.0], [-1.0, 1.0, -1.0], [-1.0, -1.0, 1.0]];
        insta::assert_snapshot!(check(&tetrahedron), @"the 4 points do not fix a plane: its tilt in degrees known to +/- 90.00 only, with points good to 2.0; spread the points further over the surface");
    }
}
