//! The outline of the body in plan view: a simple polygon, counter-clockwise; and what lies within it.

use rust_decimal::Decimal;

use super::problem::Sink;
use super::value::Found;
use crate::units::decimal_to_f64;

type Corner = [Decimal; 2];

/// Corners that an outline can have; every edge is compared with every other.
const MOST_CORNERS: usize = 500;

/// The corners, where they make a body; what does not is reported at its place.
pub(super) fn checked(points: Found<Vec<Found<[Decimal; 2]>>>, sink: &mut Sink<'_>) -> Option<Vec<Corner>> {
    let corners: Vec<Corner> = points.value.iter().map(|corner| corner.value).collect();
    if corners.len() < 3 || corners.len() > MOST_CORNERS {
        let what = format!("the outline has {} corners", corners.len());
        sink.error(points.at, what, "It needs at least three, and at most 500.");
        return None;
    }
    let at = |i: usize| points.value.get(i).map_or(points.at, |corner| corner.at);
    if let Some(i) = (0..corners.len()).find(|i| corners.get(*i) == corners.get((i + 1) % corners.len())) {
        let last = i + 1 == corners.len();
        let what = if last {
            "the outline ends on its first corner"
        } else {
            "the corner stands twice in a row"
        };
        sink.error(at(i), what, "Leave it out; the outline closes by itself.");
        return None;
    }
    if let Some((i, j)) = crossing(&corners) {
        let what = format!(
            "the outline touches or crosses itself: edge {} meets edge {}",
            i + 1,
            j + 1
        );
        sink.error(at(j), what, "Let it go round the body once, corner by corner.");
        return None;
    }
    if doubled_area(&corners) < Decimal::ZERO {
        let mend = "Turn the order of its corners round: counter-clockwise, seen from above.";
        sink.error(points.at, "the outline runs clockwise", mend);
        return None;
    }
    Some(corners)
}

/// Twice the area, above zero for counter-clockwise.
fn doubled_area(corners: &[Corner]) -> Decimal {
    edges(corners).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum()
}

fn edges<T>(corners: &[T]) -> impl Iterator<Item = (&T, &T)> {
    corners.iter().zip(corners.iter().cycle().skip(1))
}

/// Two edges that have a point in common which they should not.
fn crossing(corners: &[Corner]) -> Option<(usize, usize)> {
    let all: Vec<_> = edges(corners).collect();
    let last = all.len() - 1;
    for (i, (a, b)) in all.iter().enumerate() {
        for (j, (c, d)) in all.iter().enumerate().skip(i + 1) {
            let meet = if j == i + 1 {
                folded(a, b, d)
            } else if i == 0 && j == last {
                folded(c, d, b)
            } else {
                intersect(a, b, c, d)
            };
            if meet {
                return Some((i, j));
            }
        }
    }
    None
}

/// On which side of a to b the point c lies: above zero to the left.
fn side(a: &Corner, b: &Corner, c: &Corner) -> Decimal {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Whether the way from a over b to c comes back on itself.
fn folded(a: &Corner, b: &Corner, c: &Corner) -> bool {
    let back = (b[0] - a[0]) * (c[0] - b[0]) + (b[1] - a[1]) * (c[1] - b[1]);
    side(a, b, c).is_zero() && back < Decimal::ZERO
}

fn intersect(a: &Corner, b: &Corner, c: &Corner, d: &Corner) -> bool {
    let apart = |p: Decimal, q: Decimal| p.is_sign_negative() != q.is_sign_negative() && !p.is_zero() && !q.is_zero();
    let (c_side, d_side) = (side(a, b, c), side(a, b, d));
    let (a_side, b_side) = (side(c, d, a), side(c, d, b));
    let within =
        |p: &Corner, a: &Corner, b: &Corner| [0, 1].iter().all(|&i| a[i].min(b[i]) <= p[i] && p[i] <= a[i].max(b[i]));
    (apart(c_side, d_side) && apart(a_side, b_side))
        || (c_side.is_zero() && within(c, a, b))
        || (d_side.is_zero() && within(d, a, b))
        || (a_side.is_zero() && within(a, c, d))
        || (b_side.is_zero() && within(b, c, d))
}

/// The outline for geometry, in the unit of the exercise.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Plan {
    corners: Vec<[f64; 2]>,
    /// How far off a place may be and still count as on the edge.
    tolerance: f64,
}

impl Plan {
    /// A place counts as on an edge within one unit of the report's last place.
    pub(super) fn new(corners: &[Corner], decimals: u32) -> Self {
        let tolerance = 0.1_f64.powi(i32::try_from(decimals).unwrap_or(6));
        Self {
            corners: corners.iter().map(|c| c.map(decimal_to_f64)).collect(),
            tolerance,
        }
    }

    pub(super) fn tolerance(&self) -> f64 {
        self.tolerance
    }

    /// Smallest and largest coordinates.
    pub(super) fn extent(&self) -> [[f64; 2]; 2] {
        let fold = |i: usize, pick: fn(f64, f64) -> f64, from: f64| self.corners.iter().map(|c| c[i]).fold(from, pick);
        [
            [fold(0, f64::min, f64::INFINITY), fold(1, f64::min, f64::INFINITY)],
            [
                fold(0, f64::max, f64::NEG_INFINITY),
                fold(1, f64::max, f64::NEG_INFINITY),
            ],
        ]
    }

    /// Whether a place lies within the outline or on it.
    pub(super) fn holds(&self, p: [f64; 2]) -> bool {
        self.to_edge(p) <= self.tolerance || self.surrounds(p)
    }

    /// Whether a circle lies wholly within the outline, touching allowed.
    pub(super) fn holds_circle(&self, centre: [f64; 2], radius: f64) -> bool {
        self.surrounds(centre) && self.to_edge(centre) >= radius - self.tolerance
    }

    /// Distance to the nearest edge.
    pub(super) fn to_edge(&self, p: [f64; 2]) -> f64 {
        edges(&self.corners)
            .map(|(a, b)| to_segment(p, *a, *b))
            .fold(f64::INFINITY, f64::min)
    }

    /// Distance to the nearest edge that stands across an axis (0 or 1) with its outside on the side of `sign`.
    pub(super) fn to_face(&self, p: [f64; 2], axis: usize, sign: f64) -> f64 {
        self.faces(axis, sign)
            .map(|(a, b)| to_segment(p, *a, *b))
            .fold(f64::INFINITY, f64::min)
    }

    /// Whether there is such an edge at a coordinate of that axis.
    pub(super) fn has_face_at(&self, axis: usize, sign: f64, at: f64) -> bool {
        self.faces(axis, sign)
            .any(|(a, _)| (a[axis] - at).abs() <= self.tolerance)
    }

    fn faces(&self, axis: usize, sign: f64) -> impl Iterator<Item = (&[f64; 2], &[f64; 2])> {
        edges(&self.corners).filter(move |(a, b)| {
            // Counter-clockwise, the outside is to the right of the way.
            let outward = [b[1] - a[1], a[0] - b[0]];
            outward[1 - axis].abs() <= self.tolerance && outward[axis] * sign > 0.0
        })
    }

    /// Crossing number of the ray to the right.
    fn surrounds(&self, p: [f64; 2]) -> bool {
        let crossed = |(a, b): &(&[f64; 2], &[f64; 2])| {
            (a[1] > p[1]) != (b[1] > p[1]) && p[0] < (b[0] - a[0]) * (p[1] - a[1]) / (b[1] - a[1]) + a[0]
        };
        edges(&self.corners).filter(crossed).count() % 2 == 1
    }
}

fn to_segment(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (along, to) = ([b[0] - a[0], b[1] - a[1]], [p[0] - a[0], p[1] - a[1]]);
    let length = along[0].hypot(along[1]);
    let share = ((to[0] * along[0] + to[1] * along[1]) / (length * length)).clamp(0.0, 1.0);
    (to[0] - share * along[0]).hypot(to[1] - share * along[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn corners(points: &[[i64; 2]]) -> Vec<Corner> {
        points.iter().map(|p| p.map(Decimal::from)).collect()
    }

    /// A plate of 100 by 60 with the front right corner cut out, 20 by 10.
    fn notched() -> Vec<Corner> {
        corners(&[[0, 0], [80, 0], [80, 10], [100, 10], [100, 60], [0, 60]])
    }

    #[test]
    fn simple_outlines_are_told_from_others() {
        for (points, expected) in [
            (notched(), None),
            (corners(&[[0, 0], [10, 0], [10, 10], [0, 10]]), None),
            // A bow tie.
            (corners(&[[0, 0], [10, 10], [10, 0], [0, 10]]), Some((0, 2))),
            // A corner on another edge.
            (corners(&[[0, 0], [10, 0], [10, 10], [5, 0], [0, 10]]), Some((0, 2))),
            // Out and back on the same line.
            (corners(&[[0, 0], [10, 0], [5, 0], [5, 5]]), Some((0, 1))),
            // No area at all.
            (corners(&[[0, 0], [5, 0], [10, 0]]), Some((0, 2))),
            // A corner that is none.
            (corners(&[[0, 0], [5, 0], [10, 0], [10, 10]]), None),
        ] {
            assert_eq!(crossing(&points), expected, "{points:?}");
        }
        assert_eq!(doubled_area(&notched()), Decimal::from(11_600));
    }

    #[test]
    fn places_are_found_in_on_and_off_the_body() {
        let plan = Plan::new(&notched(), 3);
        for (p, expected) in [
            ([50.0, 30.0], true),
            ([80.0, 5.0], true),
            ([80.0005, 5.0], true),
            ([80.002, 5.0], false),
            ([90.0, 5.0], false),
            ([100.0, 60.0], true),
            ([-0.01, 30.0], false),
        ] {
            assert_eq!(plan.holds(p), expected, "{p:?}");
        }
        assert!(plan.holds_circle([10.0, 10.0], 10.0));
        assert!(!plan.holds_circle([10.0, 10.0], 10.1));
        assert!(plan.to_face([80.0, 5.0], 0, 1.0) < 1e-9);
        assert!((plan.to_face([80.0, 5.0], 0, -1.0) - 80.0).abs() < 1e-9);
        assert!((plan.to_face([90.0, 10.0], 1, -1.0)).abs() < 1e-9);
        assert_eq!(plan.extent(), [[0.0, 0.0], [100.0, 60.0]]);
    }
}
