//! Dimension lines of distances, laid beside what they measure where they meet the least else (ISO 129-1: a narrow line
//! with arrows, and extension lines from the features).

use super::paper::{Area, Point, along, count, cross, direction, distance, distance_to_stroke, shifted, sides};
use super::plan::{Form, Place, Plan, area_of};
use super::sheet::Sheet;
use super::svg::Line;
use crate::exercise::geometry::distance_kind;
use crate::exercise::model::{Axis, Between, DistanceKind, Exercise};

/// Distances from the features at which the line may lie, in millimetres of paper.
const OFFSETS: [f64; 10] = [7.0, -7.0, 11.0, -11.0, 15.0, -15.0, 20.0, -20.0, 26.0, -26.0];
/// The shortest dimension line.
const SHORTEST: f64 = 3.0;
/// Two dimension lines lie this far apart.
const APART: f64 = 4.0;

/// A dimension line on paper, with where its two extension lines start.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Dimension {
    pub(super) from: Point,
    pub(super) to: Point,
    pub(super) extensions: Option<[Point; 2]>,
    pub(super) nos: Vec<String>,
}

impl Dimension {
    /// The line of a distance whose two features stand apart in plan view; `others` are the lines that are there.
    pub(super) fn of(
        exercise: &Exercise,
        plan: &Plan,
        sheet: &Sheet,
        others: &[Self],
        pair: &Between,
        axis: Option<Axis>,
        nos: Vec<String>,
    ) -> Option<Self> {
        let [first, second] = pair.features;
        let (a, b) = (plan.places.get(first)?, plan.places.get(second)?);
        let (p, q) = (sheet.at(a.middle()), sheet.at(b.middle()));
        let way = match axis {
            Some(Axis::X) => [1.0, 0.0],
            Some(Axis::Y) => [0.0, 1.0],
            Some(Axis::Z) => return None,
            None => {
                let shapes = [first, second].map(|i| exercise.features.get(i).map(|f| &f.shape));
                let [Some(s), Some(t)] = shapes else { return None };
                if distance_kind(s, t) == Some(DistanceKind::Centres) {
                    direction(p, q)
                } else if let (Place::Edge { from, to }, Place::Edge { .. }) = (a, b) {
                    return across(plan, sheet, [sheet.at(*from), sheet.at(*to)], q, nos);
                } else {
                    return None;
                }
            }
        };
        let long = (q[0] - p[0]) * way[0] + (q[1] - p[1]) * way[1];
        // Too short to be seen as one: the balloon points at the features instead.
        if long.abs() < SHORTEST {
            return None;
        }
        let aside = [-way[1], way[0]];
        let foot = |from: Point, level: f64| {
            let by = level - (from[0] * aside[0] + from[1] * aside[1]);
            shifted(from, [aside[0] * by, aside[1] * by])
        };
        let level_of = |from: Point| from[0] * aside[0] + from[1] * aside[1];
        let levels = [p, q].into_iter().flat_map(|from| OFFSETS.map(|o| level_of(from) + o));
        let body = sheet.area(plan.extent);
        let cost = |level: f64| {
            let (from, to) = (foot(p, level), foot(q, level));
            let reach = (level - level_of(p)).abs() + (level - level_of(q)).abs();
            let off = if body.grown(1.0).is_around(Area::of([from, to])) {
                0.0
            } else {
                60.0
            };
            let beside = others.iter().filter(|d| d.is_near(from, to)).count();
            reach + off + 40.0 * count(beside) + 12.0 * met(plan, sheet, from, to)
        };
        let best = levels.min_by(|a, b| cost(*a).total_cmp(&cost(*b)))?;
        Some(Self {
            from: foot(p, best),
            to: foot(q, best),
            extensions: Some([p, q]),
            nos,
        })
    }

    fn is_near(&self, from: Point, to: Point) -> bool {
        cross(self.from, self.to, from, to)
            || [0.0, 0.25, 0.5, 0.75, 1.0]
                .iter()
                .any(|t| distance_to_stroke(along(from, to, *t), self.from, self.to) < APART)
    }
}

/// The line across the part between two of its edges, where it meets the least else.
fn across(plan: &Plan, sheet: &Sheet, edge: [Point; 2], other: Point, nos: Vec<String>) -> Option<Dimension> {
    let d = direction(edge[0], edge[1]);
    let middle = along(edge[0], edge[1], 0.5);
    let far = (other[0] - middle[0]) * -d[1] + (other[1] - middle[1]) * d[0];
    if far.abs() < SHORTEST {
        return None;
    }
    let reach = [-d[1] * far, d[0] * far];
    let starts = [0.1, 0.16, 0.24, 0.33, 0.42, 0.5, 0.58, 0.67, 0.76, 0.84, 0.9].map(|t| along(edge[0], edge[1], t));
    let from = starts.into_iter().min_by(|a, b| {
        let cost = |p: Point| met(plan, sheet, p, shifted(p, reach));
        cost(*a).total_cmp(&cost(*b))
    })?;
    Some(Dimension {
        from,
        to: shifted(from, reach),
        extensions: None,
        nos,
    })
}

/// How much of the drawing a line on paper meets.
fn met(plan: &Plan, sheet: &Sheet, from: Point, to: Point) -> f64 {
    let meets = |form: &Form| match form {
        Form::Chain { points, closed } => {
            let on_paper: Vec<Point> = points.iter().map(|p| sheet.at(*p)).collect();
            let lines = on_paper.len() - usize::from(!closed);
            sides(&on_paper).take(lines).any(|(a, b)| cross(a, b, from, to))
        }
        Form::Circle { middle, radius } => {
            let m = sheet.at(*middle);
            distance_to_stroke(m, from, to) < sheet.long(*radius) + 1.0
        }
        Form::Obround { .. } => sheet.area(area_of(form)).grown(1.0).is_met_by(from, to),
    };
    let lines = plan
        .drawn
        .iter()
        .filter(|d| meets(&d.form))
        .map(|d| if d.line == Line::Centre { 0.3 } else { 1.0 });
    let touches = plan
        .touches
        .iter()
        .filter(|t| distance_to_stroke(sheet.at(**t), from, to) < 1.5)
        .count();
    let along_edge = plan
        .drawn
        .iter()
        .filter(|d| runs_beside(&d.form, sheet, from, to))
        .count();
    lines.sum::<f64>() + count(touches) + 2.0 * count(along_edge)
}

/// Whether a straight line runs close beside the other for some way.
fn runs_beside(form: &Form, sheet: &Sheet, from: Point, to: Point) -> bool {
    let Form::Chain { points, closed: false } = form else {
        return false;
    };
    let Some((a, b)) = points.first().zip(points.last()) else {
        return false;
    };
    let (a, b) = (sheet.at(*a), sheet.at(*b));
    let near = [0.2, 0.5, 0.8]
        .iter()
        .filter(|t| distance_to_stroke(along(from, to, **t), a, b) < 2.0)
        .count();
    near >= 2 && distance(a, b) > 4.0
}
