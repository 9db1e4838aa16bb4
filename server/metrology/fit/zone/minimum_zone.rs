use nalgebra::Vector2;

use super::search::{Cell, Slopes, Zone, narrowest};
use super::{Limits, touching};
use crate::metrology::fit::centred::{Centred, count};
use crate::metrology::fit::circle2d::{arc_covered, solve_circle};
use crate::metrology::fit::error::{Figure, FitError};

/// The ring between two concentric circles that holds all points.
#[derive(Debug, Clone, PartialEq)]
pub struct ZoneCircle {
    /// Common centre.
    pub centre: [f64; 2],
    /// Outer radius.
    pub outer_radius: f64,
    /// Inner radius.
    pub inner_radius: f64,
    /// Outer less inner radius: the roundness.
    pub width: f64,
    /// Points on the outer circle, by position.
    pub active_outer: Vec<usize>,
    /// Points on the inner circle, by position.
    pub active_inner: Vec<usize>,
}

/// Minimum-zone circle: the centre about which the largest distance of a point less the smallest is least.
///
/// It is looked for from a tenth of the least-squares radius to ten times it; points that a straight strip holds
/// better than that have no circle worth the name.
///
/// # Errors
/// As the least-squares circle of the points.
pub fn minimum_zone_circle(points: &[[f64; 2]]) -> Result<ZoneCircle, FitError> {
    let centred = Centred::new(Figure::Circle2d, 3, points)?;
    let (circle, _) = solve_circle(&centred)?;
    let start = Vector2::new(circle.x, circle.y);
    let rings = Rings::new(&centred, start);
    let found = narrowest(&rings, rings.domain(circle.radius), [0.0; 2]);
    let at = found.ok_or(FitError::TooAlike { given: points.len() })?.at;
    let centre = start + rings.along * at[0] + rings.across * at[1];
    let distances: Vec<f64> = (0..rings.points.len()).map(|i| rings.height(i, at)).collect();
    let limits = Limits::of(&distances, touching(&centred));
    Ok(ZoneCircle {
        centre: centred.global(centre.into()),
        outer_radius: limits.high * centred.scale,
        inner_radius: limits.low * centred.scale,
        width: (limits.high - limits.low) * centred.scale,
        active_outer: limits.active_high,
        active_inner: limits.active_low,
    })
}

/// Distances of points from a centre near the least-squares one. Coordinates along and across the mean direction of
/// the points, from that centre.
struct Rings {
    points: Vec<Vector2<f64>>,
    along: Vector2<f64>,
    across: Vector2<f64>,
}

impl Rings {
    fn new(points: &Centred<2>, start: Vector2<f64>) -> Self {
        let from_start: Vec<Vector2<f64>> = points.iter().map(|p| Vector2::from(p) - start).collect();
        let units = from_start.iter().filter_map(|p| p.try_normalize(0.0));
        let mean = units.sum::<Vector2<f64>>() / count(from_start.len());
        let along = mean.try_normalize(1e-6).unwrap_or_else(Vector2::x);
        let across = Vector2::new(-along.y, along.x);
        let points = from_start
            .iter()
            .map(|p| Vector2::new(p.dot(&along), p.dot(&across)))
            .collect();
        Rings { points, along, across }
    }

    /// Where a zone narrower than the one about the least-squares centre can be.
    fn domain(&self, radius: f64) -> Cell {
        if let Some(half) = near(&self.points, radius) {
            return Cell {
                at: [0.0; 2],
                half: [half, half],
            };
        }
        // Arcs: from a tenth of the radius, measured from the middle of the arc, to ten times it.
        Cell {
            at: [-4.05 * radius, 0.0],
            half: [4.95 * radius, radius],
        }
    }

    /// Unit vector from the middle of a cell to a point, and their distance.
    fn unit(&self, index: usize, cell: &Cell) -> (Vector2<f64>, f64) {
        let from = self.points[index] - Vector2::from(cell.at);
        let distance = from.norm();
        (if distance > 0.0 { from / distance } else { from }, distance)
    }
}

/// For points all round a centre at the origin and of little form error: how far from it their best reference circles
/// can have their centres.
///
/// A move by d takes the centre away from a point within half a gap of its back and towards one within half a gap of
/// its front: the zone grows by 2 d cos(half gap) at least, and the inscribed circle shrinks by half of that, less the
/// bend of the distances, which is below d / 6 as long as d stays below a quarter of the radius.
pub(super) fn near(points: &[Vector2<f64>], radius: f64) -> Option<f64> {
    let distances = points.iter().map(|p| p.norm());
    let (low, high) = distances.fold((f64::INFINITY, 0.0_f64), |(l, h), r| (l.min(r), h.max(r)));
    let width = high - low;
    let flat: Vec<[f64; 2]> = points.iter().map(|p| [p.x, p.y]).collect();
    let half_gap = (180.0 - 0.5 * arc_covered(&flat, [0.0; 2])).to_radians();
    let growth = half_gap.cos() - 1.0 / 6.0;
    let near = width / growth;
    (growth > 0.1 && near < 0.25 * radius && width < 0.05 * radius).then_some(near.max(1e-14))
}

impl Zone for Rings {
    fn len(&self) -> usize {
        self.points.len()
    }

    fn height(&self, index: usize, at: [f64; 2]) -> f64 {
        (self.points[index] - Vector2::from(at)).norm()
    }

    #[inline]
    fn slopes(&self, cell: &Cell, points: &mut dyn Iterator<Item = usize>) -> Slopes {
        Slopes::over(points.map(|i| (-self.unit(i, cell).0).into()))
    }

    #[inline]
    fn range(&self, index: usize, cell: &Cell, common: [f64; 2]) -> (f64, f64) {
        let (unit, distance) = self.unit(index, cell);
        let reach = cell.reach();
        let change = (unit.x + common[0]).abs() * cell.half[0] + (unit.y + common[1]).abs() * cell.half[1];
        // Distances are convex in the centre: the tangent is below them, and above it a move bends them by at most the
        // square of its part across over 2 (r - d); never by more than d either way.
        let side = unit.y.abs() * cell.half[0] + unit.x.abs() * cell.half[1];
        let bend = if distance > 1.5 * reach {
            side * side / (2.0 * (distance - reach))
        } else {
            2.0 * reach
        };
        (distance - change, distance + change + bend)
    }

    #[inline]
    fn equal(&self, i: usize, j: usize) -> ([f64; 2], f64) {
        let (p, q) = (self.points[i], self.points[j]);
        let row = q - p;
        (row.into(), 0.5 * row.dot(&(p + q)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_oval_touches_two_and_two() {
        // By hand: ends of the axes of an ellipse: 2 + 2 contacts about its middle.
        let found = minimum_zone_circle(&[[5.1, 2.0], [0.0, 6.9], [-5.1, 2.0], [0.0, -2.9]]).unwrap();
        assert!((found.width - 0.2).abs() < 1e-14, "{found:?}");
        assert!(
            (found.centre[0]).abs() < 1e-14 && (found.centre[1] - 2.0).abs() < 1e-14,
            "{found:?}"
        );
        assert_eq!((found.active_outer, found.active_inner), (vec![0, 2], vec![1, 3]));
    }

    #[test]
    fn exact_circles_have_no_width() {
        for n in [3_u32, 4, 5, 8, 100, 3000] {
            let points: Vec<[f64; 2]> = (0..n)
                .map(|i| (f64::from(i) / f64::from(n) * std::f64::consts::TAU).sin_cos())
                .map(|(s, c)| [7.0 + 3.0 * c, 3.0 * s])
                .collect();
            let found = minimum_zone_circle(&points).unwrap();
            assert!(
                found.width < 1e-14 && (found.outer_radius - 3.0).abs() < 1e-13,
                "{n}: {found:?}"
            );
        }
    }
}
