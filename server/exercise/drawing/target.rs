//! What a leader ends on, on paper, and how it ends (ISO 129-1: an arrow on an outline, a dot within one, nothing on a
//! dimension line).

use std::borrow::Cow;

use super::paper::{Point, along, direction, distance, nearest_share, shifted};
use super::plan::Place;
use super::sheet::Sheet;

/// How a leader ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum End {
    /// On an edge.
    Arrow,
    /// Within a face; `unseen` where the face looks the other way.
    Dot { unseen: bool },
    /// On another thin line.
    Plain,
    /// On an edge with a datum triangle, which stands on the edge towards this direction.
    Triangle { outward: Point },
}

/// Something to point at.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Target {
    Round {
        middle: Point,
        radius: f64,
    },
    /// A slot: all places at half the width from the stroke between its two arc centres.
    Obround {
        from: Point,
        to: Point,
        half_width: f64,
    },
    Edge {
        from: Point,
        to: Point,
    },
    /// A dimension line.
    Dimension {
        from: Point,
        to: Point,
    },
    /// One of several places within a face, the nearest.
    Spots {
        spots: Vec<Point>,
        unseen: bool,
    },
    /// Where an extension line leaves the plate.
    Ordinate {
        at: Point,
    },
    /// The edge of a datum face.
    Datum {
        from: Point,
        to: Point,
        outward: Point,
    },
}

impl Target {
    /// A place of the plan on paper. `spots` gives the free places of a face, given its corners.
    pub(super) fn of(place: &Place, sheet: &Sheet, spots: impl Fn([Point; 4]) -> Vec<Point>) -> Self {
        match place {
            Place::Round { middle, radius } => Self::Round {
                middle: sheet.at(*middle),
                radius: sheet.long(*radius),
            },
            Place::Obround {
                middle,
                length,
                width,
                angle,
            } => {
                let [from, to] = sheet.slot(*middle, (*length, *width), *angle);
                Self::Obround {
                    from,
                    to,
                    half_width: sheet.long(width / 2.0),
                }
            }
            Place::Edge { from, to } => {
                // A little off its ends, where it meets other edges.
                let (a, b) = (sheet.at(*from), sheet.at(*to));
                Self::Edge {
                    from: along(a, b, 0.1),
                    to: along(a, b, 0.9),
                }
            }
            Place::Spot { at } => Self::Spots {
                spots: vec![sheet.at(*at)],
                unseen: false,
            },
            Place::Face { corners, unseen } => Self::Spots {
                spots: spots(corners.map(|c| sheet.at(c))),
                unseen: *unseen,
            },
        }
    }

    /// The middle of it.
    pub(super) fn middle(&self) -> Point {
        match self {
            Self::Round { middle, .. } => *middle,
            Self::Ordinate { at } => *at,
            Self::Obround { from, to, .. }
            | Self::Edge { from, to }
            | Self::Dimension { from, to }
            | Self::Datum { from, to, .. } => along(*from, *to, 0.5),
            Self::Spots { spots, .. } => super::paper::Area::of(spots.iter().copied()).middle(),
        }
    }

    /// The target without the places on a face that are close to where other leaders of the same block end.
    pub(super) fn apart_from(&self, taken: &[Point]) -> Cow<'_, Self> {
        match self {
            Self::Spots { spots, unseen } if !taken.is_empty() => {
                let free = |p: &&Point| taken.iter().all(|t| distance(**p, *t) > 5.0);
                let spots: Vec<Point> = spots.iter().filter(free).copied().collect();
                if spots.is_empty() {
                    Cow::Borrowed(self)
                } else {
                    Cow::Owned(Self::Spots { spots, unseen: *unseen })
                }
            }
            _ => Cow::Borrowed(self),
        }
    }

    /// Where a leader that comes from there ends, and how.
    pub(super) fn end(&self, from: Point) -> (Point, End) {
        match self {
            Self::Round { middle, radius } => {
                let d = direction(*middle, from);
                (shifted(*middle, [d[0] * radius, d[1] * radius]), End::Arrow)
            }
            Self::Obround {
                from: a,
                to: b,
                half_width,
            } => {
                let spine = along(*a, *b, nearest_share(from, *a, *b));
                let d = direction(spine, from);
                (shifted(spine, [d[0] * half_width, d[1] * half_width]), End::Arrow)
            }
            Self::Edge { from: a, to: b } => (best_on_edge(from, *a, *b), End::Arrow),
            Self::Ordinate { at } => (*at, End::Plain),
            Self::Dimension { from: a, to: b } => {
                (along(*a, *b, nearest_share(from, *a, *b).clamp(0.25, 0.75)), End::Plain)
            }
            Self::Spots { spots, unseen } => (nearest(spots, from).unwrap_or(from), End::Dot { unseen: *unseen }),
            Self::Datum {
                from: a,
                to: b,
                outward,
            } => {
                let foot = along(*a, *b, nearest_share(from, *a, *b));
                (
                    shifted(foot, [outward[0] * 3.0, outward[1] * 3.0]),
                    End::Triangle { outward: *outward },
                )
            }
        }
    }
}

/// The first of the places that are nearest; one that is too far along one axis is not measured.
fn nearest(spots: &[Point], from: Point) -> Option<Point> {
    let mut best: Option<(f64, Point)> = None;
    for p in spots {
        let least = (p[0] - from[0]).abs().max((p[1] - from[1]).abs());
        if best.is_some_and(|(d, _)| least > d) {
            continue;
        }
        let d = distance(*p, from);
        if best.is_none_or(|(shortest, _)| d < shortest) {
            best = Some((d, *p));
        }
    }
    best.map(|(_, p)| p)
}

/// Where on an edge a leader ends: near, and not along the edge.
fn best_on_edge(from: Point, a: Point, b: Point) -> Point {
    let edge = direction(a, b);
    let cost = |p: &Point| {
        let d = direction(from, *p);
        let across = (d[0] * edge[1] - d[1] * edge[0]).abs();
        distance(from, *p) + FLAT * (0.5 - across).max(0.0)
    };
    let near = along(a, b, nearest_share(from, a, b));
    let others = (1..STEPS).map(|i| along(a, b, f64::from(i) / f64::from(STEPS)));
    others.fold(near, |best, p| if cost(&p) < cost(&best) - 1e-9 { p } else { best })
}

/// Places that are tried on an edge.
const STEPS: u32 = 12;
/// What a leader along an edge costs, in millimetres of leader.
const FLAT: f64 = 90.0;

impl Target {
    /// How much a leader that comes from there runs along the edge that it ends on, 0 (across) to 1.
    pub(super) fn flatness(&self, from: Point) -> f64 {
        match self {
            Self::Edge { from: a, to: b } | Self::Dimension { from: a, to: b } => {
                let (edge, d) = (direction(*a, *b), direction(from, self.end(from).0));
                let across = (d[0] * edge[1] - d[1] * edge[0]).abs();
                if distance(*a, *b) > 0.0 {
                    2.0 * (0.5 - across).max(0.0)
                } else {
                    0.0
                }
            }
            _ => 0.0,
        }
    }
}
