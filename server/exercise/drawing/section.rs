//! The section: the plate cut along a stepped plane and seen from the front, X as in the plan view above it, Z upwards.
//! Bodies that stand on the plate are not hatched (ISO 128-3); depths that no characteristic gives stand beside the hole's
//! diameter. Faces that slope along Y are cut in a second section across it, which is the section of the turned part.

use super::cut::{self, Stretch, chord, depth_of, is_upright};
use super::paper::{Area, Point, distance, sides};
use super::plan::{Form, Plan, area_of};
use super::relief::crossings;
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

/// A slanted face where it is cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Slant {
    pub(super) feature: usize,
    pub(super) up: bool,
    /// The end that is nearer to the face of the body that it takes off, and the other.
    pub(super) ends: [Point; 2],
}

/// The section; first coordinate X, second Z.
#[derive(Debug, Clone)]
pub(super) struct Section {
    pub(super) path: Vec<Stretch>,
    is_across: bool,
    pub(super) shown: Vec<Shown>,
    edges: Vec<Edge>,
    pub(super) slants: Vec<Slant>,
    pub(super) extent: Area,
    near: f64,
}

/// A stretch of X over which the material has one straight top and one bottom: both at its start, both at its end.
#[derive(Debug, Clone, Copy)]
struct Slab {
    x: [f64; 2],
    z: [[f64; 2]; 2],
}

impl Slab {
    /// Between two X, from what is at the first and the third quarter of the way.
    fn through(x: [f64; 2], quarters: [[f64; 2]; 2]) -> Self {
        let [a, b] = quarters;
        let grow = [0, 1].map(|k| (b[k] - a[k]) / 2.0);
        Self {
            x,
            z: [[a[0] - grow[0], a[1] - grow[1]], [b[0] + grow[0], b[1] + grow[1]]],
        }
    }
}

/// Whether an exercise has anything that the plan view cannot show.
fn is_needed(exercise: &Exercise, plan: &Plan, states: &[FeatureState]) -> bool {
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
    !plan.relief.levels.is_empty()
        || plan.relief.slopes().any(|(_, f)| f.faces_x())
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
        is_needed(exercise, plan, states).then(|| {
            let path = cut::path(exercise, plan, states, gap);
            Self::along(path, false, exercise, plan, states)
        })
    }

    /// The section through the slanted faces that the other one does not show, of the turned part; `None` where there are none.
    pub(super) fn across(exercise: &Exercise, plan: &Plan, states: &[FeatureState], gap: f64) -> Option<Self> {
        plan.relief.slopes().any(|(_, f)| f.faces_x_alone()).then(|| {
            let path = cut::path_across(plan, gap);
            Self::along(path, true, exercise, plan, states)
        })
    }

    fn along(path: Vec<Stretch>, is_across: bool, exercise: &Exercise, plan: &Plan, states: &[FeatureState]) -> Self {
        let thickness = decimal_to_f64(exercise.body.thickness);
        let mut section = Self {
            path,
            is_across,
            shown: Vec::new(),
            slants: Vec::new(),
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
        section.add_body(plan);
        section.add_hollows(exercise, plan, states, thickness);
        section.add_axes(exercise, states, thickness);
        for shown in &section.shown {
            section.extent = section.extent.joined(area_of(&shown.form));
        }
        section
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
    fn add_body(&mut self, plan: &Plan) {
        let stops = self.stops(plan);
        let (mut cut, mut behind) = (Vec::new(), Vec::new());
        for pair in stops.windows(2) {
            let x = [pair[0], pair[1]];
            let quarters = [0.25, 0.75].map(|share| x[0] + share * (x[1] - x[0]));
            let Some(y) = self.y_at(f64::midpoint(x[0], x[1])).map(|y| self.nudged(plan, y)) else {
                continue;
            };
            let here = quarters.map(|x| plan.relief.material([x, y]));
            if let [Some(a), Some(b)] = here {
                let slab = Slab::through(x, [a, b]);
                cut.push(slab);
                self.add_slants(plan, y, &slab);
            }
            let beyond = quarters.map(|x| self.beyond(plan, x, y));
            let seen = |k: usize| {
                let (here, far) = (here[k], beyond[k]?);
                here.is_none_or(|h| far[0] > h[0] + self.near || far[1] < h[1] - self.near)
                    .then(|| {
                        [
                            far[0].max(here.map_or(far[0], |h| h[0])),
                            far[1].min(here.map_or(far[1], |h| h[1])),
                        ]
                    })
            };
            if let (Some(a), Some(b)) = (seen(0), seen(1)) {
                behind.push(Slab::through(x, [a, b]));
            }
        }
        if plan.relief.slopes().next().is_some() {
            self.end_faces(&cut);
        }
        for (slabs, fill) in [(behind, Fill::Paper), (cut, Fill::Hatched)] {
            self.add_slabs(&slabs, fill);
        }
        for level in &plan.relief.levels {
            self.edges.push(Edge { z: level.z, x: level.x });
        }
    }

    /// Where top or bottom of the material may break along X.
    fn stops(&self, plan: &Plan) -> Vec<f64> {
        let of_slopes = plan.relief.breaks.iter().flat_map(|b| [b.from[0], b.to[0]]);
        let mut stops: Vec<f64> = plan
            .relief
            .levels
            .iter()
            .flat_map(|l| l.x)
            .chain(plan.outline.iter().map(|p| p[0]))
            .chain(of_slopes)
            .collect();
        for stretch in &self.path {
            let y = self.nudged(plan, stretch.y);
            stops.extend([stretch.from, stretch.to]);
            stops.extend(crossings(&plan.outline, y));
            stops.extend(plan.relief.stops(y));
        }
        stops.retain(|x| (plan.extent.min[0]..=plan.extent.max[0]).contains(x));
        stops.sort_by(f64::total_cmp);
        stops.dedup_by(|a, b| (*a - *b).abs() < self.near);
        stops
    }

    /// The highest and lowest that is to be seen beyond the plane.
    fn beyond(&self, plan: &Plan, x: f64, y: f64) -> Option<[f64; 2]> {
        let even = (1..=12).map(|k| y + (plan.extent.max[1] - y) * f64::from(k) / 12.0 - 2.0 * self.near);
        let of_slopes = plan.relief.breaks.iter().filter(|b| (b.from[0] > x) != (b.to[0] > x));
        let beside = of_slopes.flat_map(|b| {
            let t = (x - b.from[0]) / (b.to[0] - b.from[0]);
            let at = b.from[1] + t * (b.to[1] - b.from[1]);
            [at - 2.0 * self.near, at + 2.0 * self.near]
        });
        even.chain(beside)
            .filter(|far| *far > y)
            .filter_map(|far| plan.relief.material([x, far]))
            .reduce(|a, b| [a[0].max(b[0]), a[1].min(b[1])])
    }

    /// Notes the slanted faces that end the material of a slab.
    fn add_slants(&mut self, plan: &Plan, y: f64, slab: &Slab) {
        let middle = [f64::midpoint(slab.x[0], slab.x[1]), y];
        for (k, up) in [(0, true), (1, false)] {
            let Some(feature) = plan.relief.slope_at(middle, up) else {
                continue;
            };
            let [a, b] = [0, 1].map(|i| [slab.x[i], slab.z[i][k]]);
            let first = |p: Point, q: Point| if (p[1] > q[1]) == up { [p, q] } else { [q, p] };
            let known = self.slants.iter_mut().find(|s| s.feature == feature);
            match known {
                Some(s) if s.ends.iter().any(|e| distance(*e, a) < 10.0 * self.near) => {
                    let all = [s.ends[0], s.ends[1], a, b];
                    let low = all
                        .iter()
                        .copied()
                        .reduce(|p, q| if q[0] < p[0] { q } else { p })
                        .unwrap_or(a);
                    s.ends = first(low, b);
                }
                Some(_) => {}
                None => self.slants.push(Slant {
                    feature,
                    up,
                    ends: first(a, b),
                }),
            }
        }
    }

    /// Ends top and bottom face, which are the first two edges, where slanted faces begin.
    fn end_faces(&mut self, cut: &[Slab]) {
        for (k, edge) in self.edges.iter_mut().take(2).enumerate() {
            let level = |s: &&Slab| s.z.iter().all(|z| (z[k] - edge.z).abs() < self.near);
            let mut own = cut.iter().filter(level);
            if let Some(first) = own.next() {
                edge.x = [first.x[0], own.next_back().unwrap_or(first).x[1]];
            }
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

    /// Holes and slots that the plane goes through, from the top down: all of them across, along X those that it goes through
    /// the middle of.
    fn add_hollows(&mut self, exercise: &Exercise, plan: &Plan, states: &[FeatureState], thickness: f64) {
        let upright = exercise.features.iter().zip(states);
        let mut hollows: Vec<_> = upright
            .filter(|(f, s)| f.side == Some(Side::Inside) && is_upright(&f.shape, s))
            .filter_map(|(f, s)| {
                let off = self.y_at(s.at[0])? - s.at[1];
                let off = if off.abs() < self.near { 0.0 } else { off };
                let cut = if self.is_across || off == 0.0 {
                    chord(s, off)
                } else {
                    None
                };
                cut.map(|x| (f, s, off, [s.at[0] + x[0], s.at[0] + x[1]]))
            })
            .collect();
        hollows.sort_by(|a, b| b.1.at[2].total_cmp(&a.1.at[2]));
        for (f, s, off, x) in hollows {
            let z = s.at[2];
            let down = if s.direction[2] < 0.0 { -1.0 } else { 1.0 };
            let floor = (z - down * depth_of(&f.shape, s, thickness)).max(-thickness);
            let form = match &f.shape {
                Shape::Sphere { .. } => Form::Circle {
                    middle: [s.at[0], z],
                    radius: (x[1] - x[0]) / 2.0,
                },
                Shape::Cone { .. } => cone(s, off, floor),
                _ => {
                    let [a, b] = self.mouth(plan, s.at, x);
                    closed(vec![[x[0], floor], [x[1], floor], [x[1], b], [x[0], a]])
                }
            };
            self.edges.push(Edge { z: floor, x });
            self.edges.push(Edge { z, x });
            self.shown.push(Shown {
                form,
                fill: Fill::Paper,
                line: Some(Line::Edge),
            });
        }
    }

    /// Heights at which a hole opens at its left and at its right: where it opens into a slanted face, on that face.
    fn mouth(&self, plan: &Plan, at: [f64; 3], x: [f64; 2]) -> [f64; 2] {
        let y = self.y_at(at[0]).unwrap_or(at[1]);
        let surface = plan.relief.off([at[0], at[1]], true).0;
        x.map(|x| {
            let opens = plan.relief.slope_at([x, y], true).is_some() && at[2] > surface - 10.0 * self.near;
            if opens { plan.relief.off([x, y], true).0 } else { at[2] }
        })
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

/// A conical hole, cut this far from its axis: off it the sides are hyperbolas.
fn cone(s: &FeatureState, off: f64, floor: f64) -> Form {
    let (x, z, r) = (s.at[0], s.at[2], s.diameter / 2.0);
    let grow = (s.angle / 2.0).to_radians().tan();
    if off == 0.0 {
        let far = (r - s.length * grow).max(0.0);
        return closed(vec![[x - r, z], [x - far, floor], [x + far, floor], [x + r, z]]);
    }
    // The plane leaves the cone where it is as wide as it is off.
    let deep = (z - floor).min((r - off.abs()) / grow);
    let side: Vec<Point> = (0..=16_u32)
        .map(|k| deep * f64::from(k) / 16.0)
        .map(|t| [((r - t * grow).powi(2) - off * off).max(0.0).sqrt(), z - t])
        .collect();
    let left = side.iter().map(|p| [x - p[0], p[1]]);
    closed(left.chain(side.iter().rev().map(|p| [x + p[0], p[1]])).collect())
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

/// One polygon for each run of slabs without a gap.
fn joined(slabs: &[Slab], near: f64) -> Vec<Vec<Point>> {
    let mut out = Vec::new();
    let mut run: Vec<Slab> = Vec::new();
    let flush = |run: &mut Vec<Slab>, out: &mut Vec<Vec<Point>>| {
        if run.is_empty() {
            return;
        }
        let top = run.iter().flat_map(|s| [[s.x[0], s.z[0][0]], [s.x[1], s.z[1][0]]]);
        let bottom = run
            .iter()
            .rev()
            .flat_map(|s| [[s.x[1], s.z[1][1]], [s.x[0], s.z[0][1]]]);
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
