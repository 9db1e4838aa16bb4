use nalgebra::Vector3;

use super::search::{Cell, Slopes, Zone, narrowest};
use super::{Limits, touching};
use crate::metrology::fit::centred::Centred;
use crate::metrology::fit::error::{Figure, FitError};
use crate::metrology::fit::shape::{Shape, turned_positive};

/// The slab between two parallel planes that holds all points.
#[derive(Debug, Clone, PartialEq)]
pub struct Flatness {
    /// Unit normal of the planes, its largest component positive.
    pub normal: [f64; 3],
    /// Offset of the lower plane along the normal.
    pub offset_low: f64,
    /// Offset of the upper plane along the normal.
    pub offset_high: f64,
    /// Distance between the planes: the flatness.
    pub width: f64,
    /// Points on the lower plane, by position.
    pub active_low: Vec<usize>,
    /// Points on the upper plane, by position.
    pub active_high: Vec<usize>,
}

/// Minimum-zone flatness: the narrowest slab over all points, with three contacts against one or two against two.
///
/// # Errors
/// Fewer than three points, or points that are the same or on one line.
pub fn flatness(points: &[[f64; 3]]) -> Result<Flatness, FitError> {
    let figure = Figure::Plane;
    let centred = Centred::new(figure, 3, points)?;
    let shape = Shape::of(&centred);
    shape.not_straight(figure, &centred)?;
    let normal = best_normal(&centred, &shape).ok_or(FitError::TooAlike { given: points.len() })?;
    let heights: Vec<f64> = centred.iter().map(|p| Vector3::from(p).dot(&normal)).collect();
    let limits = Limits::of(&heights, touching(&centred));
    let middle = normal.dot(&Vector3::from(centred.centre));
    Ok(Flatness {
        normal: normal.into(),
        offset_low: middle + limits.low * centred.scale,
        offset_high: middle + limits.high * centred.scale,
        width: (limits.high - limits.low) * centred.scale,
        active_low: limits.active_low,
        active_high: limits.active_high,
    })
}

/// The normal of the narrowest slab, among normals that lean from each of the principal axes by half a right angle at
/// most, and less where that is enough.
fn best_normal(points: &Centred<3>, shape: &Shape) -> Option<Vector3<f64>> {
    let width = |axis: &Vector3<f64>| {
        let heights = points.iter().map(|p| Vector3::from(p).dot(axis));
        let (low, high) = heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        high - low
    };
    // Heights along a normal that leans by t from the narrowest axis have a standard deviation of at least sin t times
    // the spread along the middle axis, and reach over twice their standard deviation at least.
    let sine = 0.5 * width(&shape.axes[0]) / shape.spreads[1];
    let charts: &[[usize; 3]] = if sine < 0.7 {
        &[[0, 1, 2]]
    } else {
        &[[0, 1, 2], [1, 2, 0], [2, 0, 1]]
    };
    let half = if sine < 0.7 {
        (sine / (1.0 - sine * sine).sqrt()).max(1e-14)
    } else {
        1.0
    };
    let mut best = (f64::INFINITY, shape.axes[0]);
    for chart in charts {
        let [w, u, v] = chart.map(|axis| shape.axes[axis]);
        let slabs = Slabs::new(points, [u, v, w]);
        let root = Cell {
            at: [0.0; 2],
            half: [half; 2],
        };
        let found = narrowest(&slabs, root, [0.0; 2])?;
        if found.value < best.0 {
            best = (found.value, (w - u * found.at[0] - v * found.at[1]).normalize());
        }
    }
    Some(Vector3::from(turned_positive(best.1.into())))
}

/// Heights over planes z = a x + b y, in axes of their own.
struct Slabs {
    points: Vec<[f64; 3]>,
}

impl Slabs {
    fn new(points: &Centred<3>, axes: [Vector3<f64>; 3]) -> Self {
        Slabs {
            points: points
                .iter()
                .map(|p| axes.map(|axis| axis.dot(&Vector3::from(p))))
                .collect(),
        }
    }
}

impl Zone for Slabs {
    fn len(&self) -> usize {
        self.points.len()
    }

    #[inline]
    fn height(&self, index: usize, at: [f64; 2]) -> f64 {
        let [x, y, z] = self.points[index];
        z - at[0] * x - at[1] * y
    }

    fn slopes(&self, _cell: &Cell, points: &mut dyn Iterator<Item = usize>) -> Slopes {
        Slopes::over(points.map(|i| [-self.points[i][0], -self.points[i][1]]))
    }

    #[inline]
    fn range(&self, index: usize, cell: &Cell, common: [f64; 2]) -> (f64, f64) {
        let [x, y, _] = self.points[index];
        let height = self.height(index, cell.at);
        let change = (x + common[0]).abs() * cell.half[0] + (y + common[1]).abs() * cell.half[1];
        (height - change, height + change)
    }

    #[inline]
    fn equal(&self, i: usize, j: usize) -> ([f64; 2], f64) {
        let (p, q) = (self.points[i], self.points[j]);
        ([q[0] - p[0], q[1] - p[1]], q[2] - p[2])
    }

    fn norm(&self, at: [f64; 2]) -> f64 {
        (1.0 + at[0] * at[0] + at[1] * at[1]).sqrt()
    }

    fn largest_norm(&self, cell: &Cell) -> f64 {
        self.norm([cell.at[0].abs() + cell.half[0], cell.at[1].abs() + cell.half[1]])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_twist_touches_two_and_two() {
        let found = flatness(&[[0.0, 0.0, 0.1], [8.0, 0.0, 0.0], [8.0, 8.0, 0.1], [0.0, 8.0, 0.0]]).unwrap();
        assert!(
            (found.width - 0.1).abs() < 1e-15 && (found.normal[2] - 1.0).abs() < 1e-15,
            "{found:?}"
        );
        assert_eq!((found.active_low, found.active_high), (vec![1, 3], vec![0, 2]));
    }

    #[test]
    fn a_block_is_as_flat_as_it_is_thin() {
        // No thin side at all: a cube, all three ways of which are tried, and a box on its side.
        for sides in [[1.0, 1.0, 1.0], [3.0, 1.0, 2.0]] {
            let points: Vec<[f64; 3]> = (0..8_u8)
                .map(|i| [i & 1, i >> 1 & 1, i >> 2])
                .map(|bits| std::array::from_fn(|axis| f64::from(bits[axis]) * sides[axis]))
                .collect();
            let found = flatness(&points).unwrap();
            assert!((found.width - 1.0).abs() < 1e-14, "{found:?}");
        }
    }

    #[test]
    fn exact_planes_have_no_width() {
        let grid: Vec<[f64; 3]> = (0..2500_u16)
            .map(|i| (f64::from(i % 50), f64::from(i / 50)))
            .map(|(x, y)| [x, y, 0.3 * x - 0.2 * y])
            .collect();
        let found = flatness(&grid).unwrap();
        assert!(found.width < 1e-13, "{}", found.width);
    }
}
