//! Points, boxes and strokes on paper, as far as placing needs them. Lengths in millimetres of paper unless a function
//! says otherwise; on paper y points down.

/// A place on paper or in plan view.
pub(super) type Point = [f64; 2];

/// `a + t (b - a)`.
pub(super) fn along(a: Point, b: Point, t: f64) -> Point {
    [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]
}

/// `a + (x, y)`.
pub(super) fn shifted(a: Point, by: Point) -> Point {
    [a[0] + by[0], a[1] + by[1]]
}

/// Distance of two places.
pub(super) fn distance(a: Point, b: Point) -> f64 {
    (b[0] - a[0]).hypot(b[1] - a[1])
}

/// Unit vector from `a` to `b`; `[0, 0]` where they are one place.
pub(super) fn direction(a: Point, b: Point) -> Point {
    let d = distance(a, b);
    if d > 0.0 {
        [(b[0] - a[0]) / d, (b[1] - a[1]) / d]
    } else {
        [0.0, 0.0]
    }
}

/// The place on the stroke from `a` to `b` that is nearest to `p`, as the share of the way.
pub(super) fn nearest_share(p: Point, a: Point, b: Point) -> f64 {
    let d = [b[0] - a[0], b[1] - a[1]];
    let square = d[0] * d[0] + d[1] * d[1];
    if square > 0.0 {
        (((p[0] - a[0]) * d[0] + (p[1] - a[1]) * d[1]) / square).clamp(0.0, 1.0)
    } else {
        0.0
    }
}

/// Distance of `p` from the stroke from `a` to `b`.
pub(super) fn distance_to_stroke(p: Point, a: Point, b: Point) -> f64 {
    distance(p, along(a, b, nearest_share(p, a, b)))
}

fn turn(a: Point, b: Point, c: Point) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Whether the strokes a-b and c-d cross in their insides; strokes that only touch do not.
pub(super) fn cross(a: Point, b: Point, c: Point, d: Point) -> bool {
    turn(a, b, c) * turn(a, b, d) < 0.0 && turn(c, d, a) * turn(c, d, b) < 0.0
}

/// Whether a place lies within a polygon (not closed: the last corner joins the first).
pub(super) fn within(p: Point, polygon: &[Point]) -> bool {
    let mut inside = false;
    for (i, a) in polygon.iter().enumerate() {
        let Some(b) = polygon.get((i + 1) % polygon.len()) else {
            continue;
        };
        if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < (b[0] - a[0]) * (p[1] - a[1]) / (b[1] - a[1]) + a[0] {
            inside = !inside;
        }
    }
    inside
}

/// The sides of a polygon, the closing one included.
pub(super) fn sides(polygon: &[Point]) -> impl Iterator<Item = (Point, Point)> + '_ {
    let next = polygon.iter().cycle().skip(1);
    polygon.iter().copied().zip(next.copied())
}

/// A box with its sides along the paper's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Area {
    pub(super) min: Point,
    pub(super) max: Point,
}

impl Area {
    /// The box of this size around a middle.
    pub(super) fn around(middle: Point, width: f64, height: f64) -> Self {
        Self {
            min: [middle[0] - width / 2.0, middle[1] - height / 2.0],
            max: [middle[0] + width / 2.0, middle[1] + height / 2.0],
        }
    }

    /// The smallest box that holds all places; a box without extent at the origin when there are none.
    pub(super) fn of(points: impl IntoIterator<Item = Point>) -> Self {
        let mut area: Option<Self> = None;
        for p in points {
            area = Some(area.map_or(Self { min: p, max: p }, |a| a.with(p)));
        }
        area.unwrap_or(Self {
            min: [0.0; 2],
            max: [0.0; 2],
        })
    }

    fn with(self, p: Point) -> Self {
        Self {
            min: [self.min[0].min(p[0]), self.min[1].min(p[1])],
            max: [self.max[0].max(p[0]), self.max[1].max(p[1])],
        }
    }

    /// The smallest box that holds both.
    pub(super) fn joined(self, other: Self) -> Self {
        self.with(other.min).with(other.max)
    }

    /// The box larger by this on every side.
    pub(super) fn grown(self, by: f64) -> Self {
        Self {
            min: [self.min[0] - by, self.min[1] - by],
            max: [self.max[0] + by, self.max[1] + by],
        }
    }

    pub(super) fn width(self) -> f64 {
        self.max[0] - self.min[0]
    }

    pub(super) fn height(self) -> f64 {
        self.max[1] - self.min[1]
    }

    pub(super) fn middle(self) -> Point {
        along(self.min, self.max, 0.5)
    }

    /// Whether two boxes share more than a side.
    pub(super) fn overlaps(self, other: Self) -> bool {
        (0..2).all(|i| self.min[i] < other.max[i] && other.min[i] < self.max[i])
    }

    /// Whether the other box lies wholly within this one.
    pub(super) fn is_around(self, other: Self) -> bool {
        self.holds(other.min) && self.holds(other.max)
    }

    pub(super) fn holds(self, p: Point) -> bool {
        (0..2).all(|i| self.min[i] <= p[i] && p[i] <= self.max[i])
    }

    /// Whether the stroke from `a` to `b` comes into the box.
    pub(super) fn is_met_by(self, a: Point, b: Point) -> bool {
        self.share_of(a, b).is_some()
    }

    /// The part of the stroke from `a` to `b` that lies in the box, as shares of the way.
    pub(super) fn share_of(self, a: Point, b: Point) -> Option<[f64; 2]> {
        let (mut from, mut to) = (0.0_f64, 1.0_f64);
        for i in 0..2 {
            let d = b[i] - a[i];
            if d.abs() < 1e-12 {
                if a[i] <= self.min[i] || a[i] >= self.max[i] {
                    return None;
                }
            } else {
                let (t0, t1) = ((self.min[i] - a[i]) / d, (self.max[i] - a[i]) / d);
                from = from.max(t0.min(t1));
                to = to.min(t0.max(t1));
            }
        }
        (from < to).then_some([from, to])
    }
}

/// A count as a number; counts of things on a sheet are small.
pub(super) fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::MAX, f64::from)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strokes_and_boxes_meet_where_they_do() {
        let area = Area {
            min: [1.0, 1.0],
            max: [3.0, 2.0],
        };
        assert!(area.is_met_by([0.0, 0.0], [4.0, 3.0]));
        assert!(!area.is_met_by([0.0, 1.9], [0.9, 4.0]));
        assert!(!area.is_met_by([1.0, 0.0], [1.0, 5.0]), "along a side is not inside");
        assert!(area.is_met_by([2.0, 1.5], [2.1, 1.6]), "wholly inside");
        assert!(cross([0.0, 0.0], [2.0, 2.0], [0.0, 2.0], [2.0, 0.0]));
        assert!(
            !cross([0.0, 0.0], [2.0, 2.0], [2.0, 2.0], [3.0, 0.0]),
            "ends only touch"
        );
        assert!(!area.overlaps(Area {
            min: [3.0, 1.0],
            max: [4.0, 2.0]
        }));
        assert!(area.overlaps(Area {
            min: [2.9, 1.9],
            max: [4.0, 4.0]
        }));
    }

    #[test]
    fn a_place_is_within_a_polygon_or_not() {
        let l = [[0.0, 0.0], [4.0, 0.0], [4.0, 1.0], [1.0, 1.0], [1.0, 3.0], [0.0, 3.0]];
        assert!(within([0.5, 2.0], &l) && within([3.0, 0.5], &l));
        assert!(!within([3.0, 2.0], &l) && !within([-1.0, 0.5], &l));
        assert_eq!(sides(&l).count(), 6);
    }
}
