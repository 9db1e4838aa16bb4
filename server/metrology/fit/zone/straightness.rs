use super::{Limits, touching};
use crate::metrology::fit::centred::Centred;
use crate::metrology::fit::error::{Figure, FitError};
use crate::metrology::fit::shape::turned_positive;

/// The strip between two parallel lines that holds all points.
#[derive(Debug, Clone, PartialEq)]
pub struct Straightness {
    /// Unit vector along the lines, its larger component positive.
    pub direction: [f64; 2],
    /// The direction turned by +90 degrees.
    pub normal: [f64; 2],
    /// Offset of the lower line along the normal.
    pub offset_low: f64,
    /// Offset of the upper line along the normal.
    pub offset_high: f64,
    /// Distance between the lines: the straightness.
    pub width: f64,
    /// Points on the lower line, by position.
    pub active_low: Vec<usize>,
    /// Points on the upper line, by position.
    pub active_high: Vec<usize>,
}

/// Minimum-zone straightness in the plane: the narrowest strip over all points. One of its lines lies along an edge of
/// their convex hull, so the hull's edges are all there is to try.
///
/// # Errors
/// Fewer than two points, or points that are the same.
pub fn straightness(points: &[[f64; 2]]) -> Result<Straightness, FitError> {
    let centred = Centred::new(Figure::Line2d, 2, points)?;
    let hull = hull(centred.iter().collect());
    let direction = turned_positive(narrowest(&hull));
    let normal = [-direction[1], direction[0]];
    let heights: Vec<f64> = centred.iter().map(|p| normal[0] * p[0] + normal[1] * p[1]).collect();
    let limits = Limits::of(&heights, touching(&centred));
    let middle = normal[0] * centred.centre[0] + normal[1] * centred.centre[1];
    Ok(Straightness {
        direction,
        normal,
        offset_low: middle + limits.low * centred.scale,
        offset_high: middle + limits.high * centred.scale,
        width: (limits.high - limits.low) * centred.scale,
        active_low: limits.active_low,
        active_high: limits.active_high,
    })
}

fn cross(o: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])
}

/// Convex hull, counter-clockwise, by the monotone chain (A. M. Andrew, Inf. Process. Lett. 9 (1979) 216-219; from
/// memory, unconfirmed).
fn hull(mut points: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    if points.len() < 3 {
        return points;
    }
    let chain = |points: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for p in points {
            while let [.., a, b] = chain[..]
                && cross(a, b, p) <= 0.0
            {
                chain.pop();
            }
            chain.push(p);
        }
        chain.pop();
        chain
    };
    let mut lower = chain(&mut points.iter().copied());
    lower.extend(chain(&mut points.iter().rev().copied()));
    lower
}

/// Direction of the hull's edge over which the hull is lowest: rotating calipers.
fn narrowest(hull: &[[f64; 2]]) -> [f64; 2] {
    let n = hull.len();
    let at = |i: usize| hull[i % n];
    let mut best = (f64::INFINITY, [1.0, 0.0]);
    let mut far = 1;
    for i in 0..n {
        let (a, b) = (at(i), at(i + 1));
        let length = (b[0] - a[0]).hypot(b[1] - a[1]);
        if length <= 0.0 {
            continue;
        }
        far = far.max(i + 1);
        while far < i + n && cross(a, b, at(far + 1)) > cross(a, b, at(far)) {
            far += 1;
        }
        let height = cross(a, b, at(far)).abs() / length;
        if height < best.0 {
            best = (height, [(b[0] - a[0]) / length, (b[1] - a[1]) / length]);
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bend_by_hand() {
        let found = straightness(&[[0.0, 0.0], [5.0, 0.2], [10.0, 0.0]]).unwrap();
        assert!((found.width - 0.2).abs() < 1e-15, "{found:?}");
        assert_eq!((found.active_low, found.active_high), (vec![0, 2], vec![1]));
    }

    #[test]
    fn two_points_are_straight() {
        let found = straightness(&[[1.0, 1.0], [4.0, 5.0]]).unwrap();
        assert!(
            found.width < 1e-15 && (found.direction[1] - 0.8).abs() < 1e-15,
            "{found:?}"
        );
    }

    #[test]
    fn agrees_with_all_pairs_on_scattered_points() {
        // Every direction through two points, over points of a fixed sequence.
        let points: Vec<[f64; 2]> = (1..40)
            .map(f64::from)
            .map(|i| [(i * 0.754_877).fract() * 9.0, (i * 0.569_840).fract() * 5.0])
            .collect();
        let mut least = f64::INFINITY;
        for (i, a) in points.iter().enumerate() {
            for b in &points[i + 1..] {
                let length = (b[0] - a[0]).hypot(b[1] - a[1]);
                let heights = points.iter().map(|p| cross(*a, *b, *p) / length);
                let (low, high) = heights.fold((0.0_f64, 0.0_f64), |(l, h), v| (l.min(v), h.max(v)));
                least = least.min(high - low);
            }
        }
        assert!((straightness(&points).unwrap().width - least).abs() < 1e-14);
    }
}
