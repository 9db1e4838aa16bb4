//! The section: the plate cut along a stepped plane and seen from the front, X as in the plan view above it, Z upwards.
//! Bodies that stand on the plate are not hatched (ISO 128-3); depths that no characteristic gives stand beside the hole's
//! diameter.

use super::cut::{self, Level, Stretch, depth_of, half_chord, is_upright};
use super::paper::{Area, Point, sides};
use super::plan::{Form, Plan, area_of};
use super::svg::Line;
use crate::exercise::geometry::FeatureState;
use crate::exercise::model::{Characteristic, Exercise, Quantity, Shape, Side};
use crate::units::decimal_to_f64;

/// Something drawn, later things over earlier ones.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Shown {
    pub(super) form: Form,
    pub(super) fill: Fill,
    /// Type of its contour, or `None` where the contour follows line by line.
    pub(super) line: Option<Line>,
}

/// What is within its contour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fill {
    /// Nothing is covered.
    Open,
    /// What lies behind is covered.
    Paper,
    /// Cut material.
    Hatched,
}

/// A height that can be pointed at, over its extent along X.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Edge {
    pub(super) z: f64,
    pub(super) x: [f64; 2],
}

/// The section; first coordinate X, second Z.
#[derive(Debug, Clone)]
pub(super) struct Section {
    pub(super) path: Vec<Stretch>,
    pub(super) shown: Vec<Shown>,
    edges: Vec<Edge>,
    pub(super) extent: Area,
    near: f64,
}

/// A stretch of X over which the material has one top and one bottom.
#[derive(Debug, Clone, Copy)]
struct Slab {
    x: [f64; 2],
    z: [f64; 2],
}

/// Whether an exercise has anything that the plan view cannot show.
fn is_needed(exercise: &Exercise, states: &[FeatureState], levels: &[Level]) -> bool {
    let thickness = decimal_to_f64(exercise.body.thickness);
    let near = 1e-6 * thickness;
    let deep = |(f, s): (&crate::exercise::model::Feature, &FeatureState)| {
        is_upright(&f.shape, s)
            && (depth_of(&f.shape, s, thickness) < thickness - near
                || s.at[2].abs() > near
                || f.side == Some(Side::Outside)
                || matches!(f.shape, Shape::Cone { .. } | Shape::Sphere { .. }))
    };
    let high = |c: &Characteristic| c.of == Quantity::Z;
    !levels.is_empty()
        || exercise.features.iter().zip(states).any(deep)
        || exercise.characteristics.iter().any(high)
        || exercise
            .between
            .iter()
            .any(|b| heights(exercise, states, b.features).is_some())
}

/// Heights of two level faces, whose distance is along Z.
pub(super) fn heights(exercise: &Exercise, states: &[FeatureState], pair: [usize; 2]) -> Option<[f64; 2]> {
    let height = |i: usize| {
        let flat =
            matches!(&exercise.features.get(i)?.shape, Shape::Plane { normal, .. } if normal[2].abs() > 1.0 - 1e-6);
        flat.then(|| states.get(i).map(|s| s.at[2])).flatten()
    };
    Some([height(pair[0])?, height(pair[1])?])
}

impl Section {
    /// The section of an exercise; `None` where the plan view says all. `gap` in the unit of the part lies between two
    /// things that are cut.
    pub(super) fn of(exercise: &Exercise, plan: &Plan, states: &[FeatureState], gap: f64) -> Option<Self> {
        let levels = cut::levels(exercise, plan, states);
        if !is_needed(exercise, states, &levels) {
            return None;
        }
        let thickness = decimal_to_f64(exercise.body.thickness);
        let path = cut::path(exercise, plan, states, &levels, gap);
        let mut section = Self {
            path,
            shown: Vec::new(),
            edges: vec![
                Edge {
                    z: 0.0,
                    x: [plan.extent.min[0], plan.extent.max[0]],
                },
                Edge {
                    z: -thickness,
                    x: [plan.extent.min[0], plan.extent.max[0]],
                },
            ],
            extent: Area {
                min: [plan.extent.min[0], -thickness],
                max: [plan.extent.max[0], 0.0],
            },
            near: 100.0 * plan.nothing,
        };
        section.add_standing(exercise, states);
        section.add_body(plan, &levels, thickness);
        section.add_hollows(exercise, states, thickness);
        section.add_axes(exercise, states, thickness);
        for shown in &section.shown {
            section.extent = section.extent.joined(area_of(&shown.form));
        }
        Some(section)
    }

    /// Y of the cutting plane at an X.
    fn y_at(&self, x: f64) -> Option<f64> {
        self.path.iter().find(|s| s.from <= x && x <= s.to).map(|s| s.y)
    }

    /// Whether the plane goes through the middle of a feature.
    fn cuts(&self, state: &FeatureState) -> bool {
        self.y_at(state.at[0])
            .is_some_and(|y| (y - state.at[1]).abs() < self.near)
    }

    /// What stands on the plate and is not in front of the plane.
    fn add_standing(&mut self, exercise: &Exercise, states: &[FeatureState]) {
        for (f, s) in exercise.features.iter().zip(states) {
            let behind = self.y_at(s.at[0]).is_none_or(|y| s.at[1] >= y - self.near);
            if f.side != Some(Side::Outside) || !is_upright(&f.shape, s) || !behind {
                continue;
            }
            let (x, z, r) = (s.at[0], s.at[2], s.diameter / 2.0);
            let form = match &f.shape {
                Shape::Sphere { .. } => Form::Circle {
                    middle: [x, z],
                    radius: r,
                },
                Shape::Cone { .. } => {
                    let far = (r - s.length * (s.angle / 2.0).to_radians().tan()).max(0.0);
                    closed(vec![
                        [x - r, z],
                        [x - far, z - s.length],
                        [x + far, z - s.length],
                        [x + r, z],
                    ])
                }
                _ => closed(rectangle([x - r, x + r], [z - s.length, z])),
            };
            self.edges.push(Edge { z, x: [x - r, x + r] });
            self.shown.push(Shown {
                form,
                fill: Fill::Paper,
                line: Some(Line::Edge),
            });
        }
    }

    /// The cut material, and edges of what lies behind it.
    fn add_body(&mut self, plan: &Plan, levels: &[Level], thickness: f64) {
        let mut stops: Vec<f64> = levels
            .iter()
            .flat_map(|l| l.x)
            .chain(plan.outline.iter().map(|p| p[0]))
            .collect();
        for stretch in &self.path {
            stops.extend([stretch.from, stretch.to]);
            stops.extend(crossings(plan, self.nudged(plan, stretch.y)));
        }
        stops.retain(|x| (plan.extent.min[0]..=plan.extent.max[0]).contains(x));
        stops.sort_by(f64::total_cmp);
        stops.dedup_by(|a, b| (*a - *b).abs() < self.near);
        let (mut cut, mut behind) = (Vec::new(), Vec::new());
        for pair in stops.windows(2) {
            let x = f64::midpoint(pair[0], pair[1]);
            let Some(y) = self.y_at(x).map(|y| self.nudged(plan, y)) else {
                continue;
            };
            let slab = |z| Slab {
                x: [pair[0], pair[1]],
                z,
            };
            let here = material(plan, levels, [x, y], thickness);
            if let Some(z) = here {
                cut.push(slab(z));
            }
            // The highest and lowest that is to be seen beyond the plane.
            let beyond = (1..=12).filter_map(|k| {
                let far = y + (plan.extent.max[1] - y) * f64::from(k) / 12.0 - 2.0 * self.near;
                material(plan, levels, [x, far], thickness).filter(|_| far > y)
            });
            if let Some(z) = beyond.reduce(|a, b| [a[0].max(b[0]), a[1].min(b[1])])
                && here.is_none_or(|h| z[0] > h[0] + self.near || z[1] < h[1] - self.near)
            {
                behind.push(slab([
                    z[0].max(here.map_or(z[0], |h| h[0])),
                    z[1].min(here.map_or(z[1], |h| h[1])),
                ]));
            }
        }
        for (slabs, fill) in [(behind, Fill::Paper), (cut, Fill::Hatched)] {
            self.add_slabs(&slabs, fill);
        }
        for level in levels {
            self.edges.push(Edge { z: level.z, x: level.x });
        }
    }

    /// Stretches of material; where the plane steps there is no edge.
    fn add_slabs(&mut self, slabs: &[Slab], fill: Fill) {
        let steps = |x: f64| self.path.iter().skip(1).any(|s| (s.from - x).abs() < self.near);
        let wall = |a: Point, b: Point| (a[0] - b[0]).abs() < self.near && steps(a[0]);
        let mut new = Vec::new();
        for polygon in joined(slabs, self.near) {
            let edges = sides(&polygon).filter(|(a, b)| !wall(*a, *b)).map(|(a, b)| Shown {
                form: Form::Chain {
                    points: vec![a, b],
                    closed: false,
                },
                fill: Fill::Open,
                line: Some(Line::Edge),
            });
            let edges: Vec<Shown> = edges.collect();
            new.push(Shown {
                form: closed(polygon),
                fill,
                line: None,
            });
            new.extend(edges);
        }
        self.shown.extend(new);
    }

    /// Off the corners of the outline, where in and out are not told apart.
    fn nudged(&self, plan: &Plan, y: f64) -> f64 {
        let on_corner = plan.outline.iter().any(|p| (p[1] - y).abs() < self.near);
        if on_corner { y + 3.0 * self.near } else { y }
    }

    /// Holes and slots that the plane goes through, from the top down.
    fn add_hollows(&mut self, exercise: &Exercise, states: &[FeatureState], thickness: f64) {
        let mut hollows: Vec<_> = exercise
            .features
            .iter()
            .zip(states)
            .filter(|(f, s)| f.side == Some(Side::Inside) && is_upright(&f.shape, s) && self.cuts(s))
            .collect();
        hollows.sort_by(|a, b| b.1.at[2].total_cmp(&a.1.at[2]));
        for (f, s) in hollows {
            let (x, z, r) = (s.at[0], s.at[2], half_chord(s));
            let down = if s.direction[2] < 0.0 { -1.0 } else { 1.0 };
            let floor = (z - down * depth_of(&f.shape, s, thickness)).max(-thickness);
            let form = match &f.shape {
                Shape::Sphere { .. } => Form::Circle {
                    middle: [x, z],
                    radius: r,
                },
                Shape::Cone { .. } => {
                    let far = (r - s.length * (s.angle / 2.0).to_radians().tan()).max(0.0);
                    closed(vec![[x - r, z], [x - far, floor], [x + far, floor], [x + r, z]])
                }
                _ => closed(rectangle([x - r, x + r], [floor, z])),
            };
            self.edges.push(Edge {
                z: floor,
                x: [x - r, x + r],
            });
            self.edges.push(Edge { z, x: [x - r, x + r] });
            self.shown.push(Shown {
                form,
                fill: Fill::Paper,
                line: Some(Line::Edge),
            });
        }
    }

    /// Centre lines of what is cut through its middle.
    fn add_axes(&mut self, exercise: &Exercise, states: &[FeatureState], thickness: f64) {
        let mut seen: Vec<f64> = Vec::new();
        for (f, s) in exercise.features.iter().zip(states) {
            let shown = is_upright(&f.shape, s)
                && (self.cuts(s)
                    || (f.side == Some(Side::Outside) && self.y_at(s.at[0]).is_some_and(|y| s.at[1] >= y)));
            if !shown || seen.iter().any(|x| (x - s.at[0]).abs() < self.near) {
                continue;
            }
            seen.push(s.at[0]);
            let same = |o: &&FeatureState| (o.at[0] - s.at[0]).abs() < self.near && o.direction[2].abs() > 0.5;
            let own: Vec<&FeatureState> = states
                .iter()
                .filter(same)
                .filter(|o| o.diameter > 0.0 || o.width > 0.0)
                .collect();
            let high = own
                .iter()
                .map(|o| o.at[2] + if o.length > 0.0 { 0.0 } else { o.diameter / 2.0 })
                .fold(0.0, f64::max);
            let low = own
                .iter()
                .map(|o| o.at[2] - if o.width > 0.0 { 0.0 } else { o.length })
                .fold(0.0, f64::min)
                .max(-thickness);
            let low = depth_at(exercise, states, s, thickness).map_or(low, |d| low.min(d));
            let middle = [s.at[0], f64::midpoint(high, low)];
            for end in [high, low] {
                self.shown.push(Shown {
                    form: Form::Chain {
                        points: vec![middle, [s.at[0], end]],
                        closed: false,
                    },
                    fill: Fill::Open,
                    line: Some(Line::Centre),
                });
            }
        }
    }

    /// The edge at a height that is nearest to an X; `None` where the section does not show that height there.
    pub(super) fn edge(&self, z: f64, x: f64) -> Option<Edge> {
        let away = |e: &Edge| (e.x[0] - x).max(x - e.x[1]).max(0.0);
        self.edges
            .iter()
            .filter(|e| (e.z - z).abs() < self.near)
            .filter(|e| away(e) < 0.6 * (e.x[1] - e.x[0]) + self.near)
            .min_by(|a, b| {
                away(a)
                    .total_cmp(&away(b))
                    .then((a.x[1] - a.x[0]).total_cmp(&(b.x[1] - b.x[0])))
            })
            .copied()
    }
}

/// The floor of the slots at a place.
fn depth_at(exercise: &Exercise, states: &[FeatureState], s: &FeatureState, thickness: f64) -> Option<f64> {
    let slot = |(f, o): (&crate::exercise::model::Feature, &FeatureState)| {
        let here = o.width > 0.0 && (o.at[0] - s.at[0]).abs() < 1e-9;
        here.then(|| (o.at[2] - depth_of(&f.shape, o, thickness)).max(-thickness))
    };
    exercise.features.iter().zip(states).filter_map(slot).reduce(f64::min)
}

fn closed(points: Vec<Point>) -> Form {
    Form::Chain { points, closed: true }
}

fn rectangle(x: [f64; 2], z: [f64; 2]) -> Vec<Point> {
    vec![[x[0], z[0]], [x[1], z[0]], [x[1], z[1]], [x[0], z[1]]]
}

/// Where a line of constant Y meets the outline.
fn crossings(plan: &Plan, y: f64) -> Vec<f64> {
    sides(&plan.outline)
        .filter(|(a, b)| (a[1] > y) != (b[1] > y))
        .map(|(a, b)| a[0] + (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]))
        .collect()
}

/// Top and bottom of the material at a place in plan view, flat faces taken off.
fn material(plan: &Plan, levels: &[Level], at: Point, thickness: f64) -> Option<[f64; 2]> {
    if !super::paper::within(at, &plan.outline) {
        return None;
    }
    let here = |l: &&Level| (l.x[0]..=l.x[1]).contains(&at[0]) && (l.y[0]..=l.y[1]).contains(&at[1]);
    let top = levels
        .iter()
        .filter(here)
        .filter(|l| l.up)
        .map(|l| l.z)
        .fold(0.0, f64::min);
    let bottom = levels
        .iter()
        .filter(here)
        .filter(|l| !l.up)
        .map(|l| l.z)
        .fold(-thickness, f64::max);
    (top > bottom).then_some([top, bottom])
}

/// One polygon for each run of slabs without a gap.
fn joined(slabs: &[Slab], near: f64) -> Vec<Vec<Point>> {
    let mut out = Vec::new();
    let mut run: Vec<Slab> = Vec::new();
    let flush = |run: &mut Vec<Slab>, out: &mut Vec<Vec<Point>>| {
        if run.is_empty() {
            return;
        }
        let top = run.iter().flat_map(|s| [[s.x[0], s.z[0]], [s.x[1], s.z[0]]]);
        let bottom = run.iter().rev().flat_map(|s| [[s.x[1], s.z[1]], [s.x[0], s.z[1]]]);
        let mut polygon: Vec<Point> = top.chain(bottom).collect();
        polygon.dedup_by(|a, b| (a[0] - b[0]).abs() < near && (a[1] - b[1]).abs() < near);
        out.push(polygon);
        run.clear();
    };
    for slab in slabs {
        if run.last().is_some_and(|last| (last.x[1] - slab.x[0]).abs() > near) {
            flush(&mut run, &mut out);
        }
        run.push(*slab);
    }
    flush(&mut run, &mut out);
    out
}
