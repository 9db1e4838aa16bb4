//! Walls: between holes, and from a hole to the outline.

use rust_decimal::Decimal;

use crate::exercise::geometry::{FeatureState, nominal_states};
use crate::exercise::model::{Exercise, Shape, Side};
use crate::units::{decimal_from_f64, decimal_to_f64};

/// Share of a wall that is thinner than wanted on the print already, which may not be lost.
const KEPT: f64 = 0.8;

/// A wall that the print has, and how thick it has to stay.
#[derive(Debug, Clone)]
struct Wall {
    first: usize,
    /// Another hole, or an edge of the outline.
    second: Neighbour,
    least: Decimal,
}

#[derive(Debug, Clone)]
enum Neighbour {
    Hole(usize),
    Edge([[f64; 2]; 2]),
}

/// All walls of the print.
#[derive(Debug, Clone)]
pub(super) struct Walls {
    walls: Vec<Wall>,
    /// The thinnest that is thinner on the print than what is wanted.
    pub(super) thin_on_print: Option<Decimal>,
}

impl Walls {
    /// Walls that the print has; what overlaps there on purpose (a counterbore, a hole over the edge) is none.
    pub(super) fn of(exercise: &Exercise, least: Decimal) -> Self {
        let states = nominal_states(exercise);
        let holes: Vec<usize> = (0..exercise.features.len()).filter(|i| is_hole(exercise, *i)).collect();
        let (mut walls, mut thin_on_print) = (Vec::new(), None);
        for (n, first) in holes.iter().copied().enumerate() {
            let others = holes.iter().skip(n + 1).copied().map(Neighbour::Hole);
            let edges = edges(exercise).into_iter().map(Neighbour::Edge);
            for second in others.chain(edges) {
                let Some(nominal) = thickness(&states, first, &second) else {
                    continue;
                };
                if nominal > Decimal::ZERO {
                    let kept = decimal_from_f64(decimal_to_f64(nominal) * KEPT).unwrap_or(nominal);
                    if nominal < least {
                        thin_on_print = Some(thin_on_print.map_or(nominal, |t: Decimal| t.min(nominal)));
                    }
                    let least = if nominal < least { kept } else { least };
                    walls.push(Wall { first, second, least });
                }
            }
        }
        Self { walls, thin_on_print }
    }

    /// Features at walls that have become too thin.
    pub(super) fn broken(&self, states: &[FeatureState]) -> Vec<usize> {
        let thin = |w: &&Wall| thickness(states, w.first, &w.second).is_some_and(|t| t < w.least);
        self.walls.iter().filter(thin).map(|w| w.first).collect()
    }
}

fn is_hole(exercise: &Exercise, index: usize) -> bool {
    let Some(feature) = exercise.features.get(index) else {
        return false;
    };
    let round = matches!(
        feature.shape,
        Shape::Circle { .. } | Shape::Slot { .. } | Shape::Cylinder { .. } | Shape::Cone { .. }
    );
    round && feature.side.unwrap_or(Side::Inside) == Side::Inside
}

fn edges(exercise: &Exercise) -> Vec<[[f64; 2]; 2]> {
    let corners: Vec<[f64; 2]> = exercise.body.outline.iter().map(|c| c.map(decimal_to_f64)).collect();
    let next = corners.iter().cycle().skip(1);
    corners.iter().zip(next).map(|(a, b)| [*a, *b]).collect()
}

/// Material between two holes, or a hole and an edge, in plan view, rounded so that no platform's last digit decides.
fn thickness(states: &[FeatureState], first: usize, second: &Neighbour) -> Option<Decimal> {
    let hole = Stadium::of(states.get(first)?);
    let clear = match second {
        Neighbour::Hole(i) => {
            let other = Stadium::of(states.get(*i)?);
            between(&hole.ends, &other.ends) - hole.radius - other.radius
        }
        Neighbour::Edge(edge) => between(&hole.ends, edge) - hole.radius,
    };
    decimal_from_f64(clear).map(|d| d.round_dp(8))
}

/// A hole in plan view: all points within `radius` of the line between its ends, which are one for a round hole.
struct Stadium {
    ends: [[f64; 2]; 2],
    radius: f64,
}

impl Stadium {
    fn of(state: &FeatureState) -> Self {
        let [x, y, _] = state.at;
        if state.width > 0.0 {
            let (sin, cos) = state.angle.to_radians().sin_cos();
            let reach = (state.length - state.width).max(0.0) / 2.0;
            let end = |s: f64| [x + s * reach * cos, y + s * reach * sin];
            return Self {
                ends: [end(-1.0), end(1.0)],
                radius: state.width / 2.0,
            };
        }
        Self {
            ends: [[x, y], [x, y]],
            radius: state.diameter / 2.0,
        }
    }
}

/// Shortest way between two lines in plan view, 0 where they cross.
fn between(a: &[[f64; 2]; 2], b: &[[f64; 2]; 2]) -> f64 {
    if cross(a, b) {
        return 0.0;
    }
    let ways = [to_line(a[0], b), to_line(a[1], b), to_line(b[0], a), to_line(b[1], a)];
    ways.into_iter().fold(f64::INFINITY, f64::min)
}

fn side(line: &[[f64; 2]; 2], p: [f64; 2]) -> f64 {
    let [a, b] = line;
    (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])
}

fn cross(a: &[[f64; 2]; 2], b: &[[f64; 2]; 2]) -> bool {
    side(a, b[0]) * side(a, b[1]) < 0.0 && side(b, a[0]) * side(b, a[1]) < 0.0
}

fn to_line(p: [f64; 2], [a, b]: &[[f64; 2]; 2]) -> f64 {
    let (d, e) = ([b[0] - a[0], b[1] - a[1]], [p[0] - a[0], p[1] - a[1]]);
    let length = d[0] * d[0] + d[1] * d[1];
    let along = if length > 0.0 {
        ((d[0] * e[0] + d[1] * e[1]) / length).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let (dx, dy) = (e[0] - along * d[0], e[1] - along * d[1]);
    (dx * dx + dy * dy).sqrt()
}
