//! Level and slanted faces put together: how high the material is at each place in plan view, and where two faces meet.
//! Lengths in the unit of the part. Faces that look down are worked with upside down, so that a height is always 0 or less:
//! how far the material has been taken off.

use super::cut::{self, Level};
use super::faces::{RUNS_OUT, outline_beyond};
use super::paper::{Point, along, distance, distance_to_stroke, shifted, sides, within};
use super::plan::Plan;
use crate::exercise::geometry::FeatureState;
use crate::exercise::model::{Exercise, Shape};
use crate::units::decimal_to_f64;

/// Where less than this share of a slanted face is missing down to the outline, it is taken to run out: what would stand there
/// would be thinner than the face is wide (our own reading; the file does not say).
const DOWN_TO_OUTLINE: f64 = 0.5;

/// A face is a wall where its normal rises less than this: 0.6 degrees.
pub(super) const UPRIGHT: f64 = 0.01;

/// A level or slanted face.
#[derive(Debug, Clone)]
pub(super) struct Facet {
    pub(super) feature: usize,
    pub(super) up: bool,
    pub(super) slanted: bool,
    at: Point,
    height: f64,
    /// How the height grows along X and Y.
    pub(super) grade: Point,
    /// Two directions; of a slanted face the level one and the one down the slope.
    axes: [Point; 2],
    /// From its middle along them, drawn out where the face runs out.
    limits: [[f64; 2]; 2],
    /// Half of the extents that the file states.
    half: [f64; 2],
}

impl Facet {
    fn level(level: &Level, thickness: f64) -> Self {
        let at = [
            f64::midpoint(level.x[0], level.x[1]),
            f64::midpoint(level.y[0], level.y[1]),
        ];
        let half = [level.x[1] - at[0], level.y[1] - at[1]];
        Self {
            feature: level.feature,
            up: level.up,
            slanted: false,
            at,
            height: if level.up { level.z } else { -thickness - level.z },
            grade: [0.0; 2],
            axes: [[1.0, 0.0], [0.0, 1.0]],
            limits: half.map(|h| [-h, h]),
            half,
        }
    }

    fn slope(plan: &Plan, feature: usize, at: [f64; 3], normal: [f64; 3], size: [f64; 2], thickness: f64) -> Self {
        let up = normal[2] > 0.0;
        let turn = if up { 1.0 } else { -1.0 };
        let grade = [0, 1].map(|i| -turn * normal[i] / normal[2]);
        let steep = grade[0].hypot(grade[1]);
        let down = grade.map(|g| -g / steep);
        let half = [size[0] / 2.0, size[1] / 2.0 * normal[2].abs()];
        let mut new = Self {
            feature,
            up,
            slanted: true,
            at: [at[0], at[1]],
            height: if up { at[2] } else { -thickness - at[2] },
            grade,
            axes: [[-down[1], down[0]], down],
            limits: half.map(|h| [-h, h]),
            half,
        };
        new.run_out(plan);
        new
    }

    /// Whether it slopes along X at least as much as along Y.
    pub(super) fn faces_x(&self) -> bool {
        self.grade[0].abs() > self.grade[1].abs() * (1.0 - 1e-6)
    }

    /// The same, and more than along Y: what slopes along both alike is one section's, not two's.
    pub(super) fn faces_x_alone(&self) -> bool {
        self.faces_x() && self.grade[1].abs() < self.grade[0].abs() * (1.0 - 1e-6)
    }

    /// Whether it slopes along Y more than along X.
    pub(super) fn faces_y(&self) -> bool {
        !self.faces_x()
    }

    /// Y of its middle.
    pub(super) fn middle_y(&self) -> f64 {
        self.at[1]
    }

    /// Whether a line of constant Y goes through the stated part, off its edges.
    pub(super) fn is_cut_at(&self, y: f64) -> bool {
        let [u, v] = self.axes;
        let reach = self.half[0] * u[1].abs() - self.half[1] * v[1].abs();
        let share = if v[1].abs() < 1e-6 { 0.9 } else { 0.3 };
        (y - self.at[1]).abs() <= share * reach.max(0.0) + 1e-9
    }

    fn place(&self, local: Point) -> Point {
        let [u, v] = self.axes;
        shifted(
            self.at,
            [local[0] * u[0] + local[1] * v[0], local[0] * u[1] + local[1] * v[1]],
        )
    }

    fn local(&self, p: Point) -> Point {
        let d = [p[0] - self.at[0], p[1] - self.at[1]];
        self.axes.map(|a| d[0] * a[0] + d[1] * a[1])
    }

    /// The height of the face, or of its plane beyond it.
    fn height_at(&self, p: Point) -> f64 {
        self.height + self.grade[0] * (p[0] - self.at[0]) + self.grade[1] * (p[1] - self.at[1])
    }

    fn holds(&self, p: Point) -> bool {
        let local = self.local(p);
        (0..2).all(|k| self.limits[k][0] <= local[k] && local[k] <= self.limits[k][1])
    }

    /// Whether a place is on the face or a little beyond it towards another face.
    fn is_near(&self, other: &Self, p: Point) -> bool {
        let is_along_y = other.grade[1].abs() > other.grade[0].abs();
        let way = usize::from(self.slanted || is_along_y);
        let end = usize::from(self.local(other.at)[way] > 0.0);
        let local = self.local(p);
        (0..2).all(|k| {
            let more = |e: usize| {
                if (k, e) == (way, end) {
                    2.0 * RUNS_OUT * self.half[k]
                } else {
                    0.0
                }
            };
            self.limits[k][0] - more(0) <= local[k] && local[k] <= self.limits[k][1] + more(1)
        })
    }

    /// The place nearest to `p` at which the planes of both faces are equally high; `None` where they are parallel.
    fn crossing(&self, other: &Self, p: Point) -> Option<Point> {
        let w = [self.grade[0] - other.grade[0], self.grade[1] - other.grade[1]];
        let square = w[0] * w[0] + w[1] * w[1];
        let off = (other.height_at(p) - self.height_at(p)) / square;
        (square > 1e-12).then(|| shifted(p, [w[0] * off, w[1] * off]))
    }

    /// Whether a place lies on one of two faces, or where both would be if they went on until they meet.
    fn joins(&self, other: &Self, p: Point) -> bool {
        let both = |q: Point| self.is_near(other, q) && other.is_near(self, q);
        (self.is_near(other, p) || other.is_near(self, p)) && self.crossing(other, p).is_some_and(both)
    }

    /// How far it is from a place on one side of the stated face to the outline; nothing where the side is outside already, and
    /// `None` where the whole strip across the face is.
    fn missing(&self, plan: &Plan, axis: usize, end: usize, station: f64) -> Option<f64> {
        let way = if end == 0 { -1.0 } else { 1.0 };
        let mut local = [station; 2];
        local[axis] = way * self.half[axis];
        let to = self.place(local);
        local[axis] -= way;
        let mut inner = [station; 2];
        inner[axis] = 0.0;
        let inner = self.place(inner);
        if !within(along(inner, self.at, 0.001), &plan.outline) {
            return None;
        }
        if !within(along(to, self.at, 0.001), &plan.outline) {
            return Some(0.0);
        }
        outline_beyond(plan, self.place(local), to).map(|edge| distance(to, edge))
    }

    /// Draws the face out to the top face and to the outline on the sides where little is missing.
    fn run_out(&mut self, plan: &Plan) {
        let open = [0, 1].map(|axis| {
            [0, 1].map(|end| {
                let other = self.half[1 - axis];
                let gaps = [-1.0, -0.5, 0.0, 0.5, 1.0].map(|s| self.missing(plan, axis, end, s * other));
                let least = gaps.into_iter().flatten().fold(f64::INFINITY, f64::min);
                let most = if (axis, end) == (1, 1) {
                    DOWN_TO_OUTLINE
                } else {
                    RUNS_OUT
                };
                (least, least < most * 2.0 * self.half[axis])
            })
        });
        let top = self.height / self.grade[0].hypot(self.grade[1]);
        let gap = -self.half[1] - top;
        // The slope of an edge goes up to the top face, however little of it is measured.
        let most = if open[1][1].1 { 1.0 } else { RUNS_OUT } * 2.0 * self.half[1];
        let meets_top = gap <= most && gap <= open[1][0].0 + 100.0 * plan.nothing;
        if meets_top {
            self.limits[1][0] = top;
        }
        // Twice, because how far one side goes hangs on the others.
        for (axis, end) in [(1, 0), (1, 1), (0, 0), (0, 1)].repeat(2) {
            if open[axis][end].1 && !(meets_top && (axis, end) == (1, 0)) {
                let far = self.half[axis] + self.farthest(plan, axis, end);
                self.limits[axis][end] = if end == 0 { -far } else { far };
            }
        }
        // Beyond the top face there is nothing to take off.
        self.limits[1][0] = self.limits[1][0].max(top);
    }

    /// How far beyond one side the outline is at most, within the extent across it.
    fn farthest(&self, plan: &Plan, axis: usize, end: usize) -> f64 {
        let [low, high] = self.limits[1 - axis];
        let inset = 1e-4 * (high - low);
        let corners = plan.outline.iter().map(|p| self.local(*p)[1 - axis]);
        let stations = corners
            .filter(|s| low < *s && *s < high)
            .chain([low + inset, high - inset]);
        let far = stations
            .filter_map(|s| self.missing(plan, axis, end, s))
            .fold(0.0, f64::max);
        // The outline itself ends it; not beyond as much again as is stated.
        (far + 0.02 * self.half[axis]).min(2.0 * self.half[axis])
    }

    /// The corners of its box.
    fn corners(&self, more: Point) -> [Point; 4] {
        let [u, v] = self.limits;
        [
            self.place([u[0] - more[0], v[0] - more[1]]),
            self.place([u[1] + more[0], v[0] - more[1]]),
            self.place([u[1] + more[0], v[1] + more[1]]),
            self.place([u[0] - more[0], v[1] + more[1]]),
        ]
    }
}

/// How two faces meet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Meet {
    /// The higher of both is the surface.
    Valley,
    /// The lower of both is.
    Ridge,
}

/// A line in plan view at which the surface breaks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Break {
    pub(super) from: Point,
    pub(super) to: Point,
    pub(super) feature: usize,
    pub(super) up: bool,
}

/// All level and slanted faces of a body.
#[derive(Debug, Clone, Default)]
pub(super) struct Relief {
    /// Flat faces between top and bottom.
    pub(super) levels: Vec<Level>,
    pub(super) facets: Vec<Facet>,
    meets: Vec<(usize, usize, Meet)>,
    pub(super) breaks: Vec<Break>,
    outline: Vec<Point>,
    thickness: f64,
    near: f64,
}

impl Relief {
    pub(super) fn of(exercise: &Exercise, plan: &Plan, states: &[FeatureState]) -> Self {
        let thickness = decimal_to_f64(exercise.body.thickness);
        let levels = cut::levels(exercise, plan, states);
        let mut facets: Vec<Facet> = levels.iter().map(|l| Facet::level(l, thickness)).collect();
        for (i, (f, s)) in exercise.features.iter().zip(states).enumerate() {
            if let Shape::Plane { normal, size, .. } = &f.shape
                && is_slanted(*normal)
            {
                let size = size.map(decimal_to_f64);
                facets.push(Facet::slope(plan, i, s.at, *normal, size, thickness));
            }
        }
        let mut relief = Self {
            levels,
            facets,
            meets: Vec::new(),
            breaks: Vec::new(),
            outline: plan.outline.clone(),
            thickness,
            near: 100.0 * plan.nothing,
        };
        relief.meets = relief.all_meets();
        relief.breaks = relief.all_breaks(plan);
        relief
    }

    /// Slanted faces.
    pub(super) fn slopes(&self) -> impl Iterator<Item = (usize, &Facet)> {
        self.facets.iter().enumerate().filter(|(_, f)| f.slanted)
    }

    /// Whether the edges of a feature are among the breaks.
    pub(super) fn draws(&self, feature: usize) -> bool {
        let own = |f: &Facet| f.feature == feature;
        self.slopes().any(|(_, f)| own(f))
            || self
                .meets
                .iter()
                .any(|(i, j, _)| [i, j].iter().any(|k| self.facets.get(**k).is_some_and(own)))
    }

    /// A valley where each face is above the other's plane at its own middle, a ridge where it is below.
    fn all_meets(&self) -> Vec<(usize, usize, Meet)> {
        let mut meets = Vec::new();
        for (i, a) in self.facets.iter().enumerate() {
            for (j, b) in self.facets.iter().enumerate().skip(i + 1) {
                if a.up != b.up || !(a.slanted || b.slanted) {
                    continue;
                }
                let over = [a.height - b.height_at(a.at), b.height - a.height_at(b.at)];
                if over.iter().all(|o| *o > self.near) {
                    meets.push((i, j, Meet::Valley));
                } else if over.iter().all(|o| *o < -self.near) {
                    meets.push((i, j, Meet::Ridge));
                }
            }
        }
        meets.retain(|(i, j, _)| self.touch(*i, *j));
        meets
    }

    /// Whether two faces come near each other.
    fn touch(&self, i: usize, j: usize) -> bool {
        let Some((a, b)) = self.facets.get(i).zip(self.facets.get(j)) else {
            return false;
        };
        let shares = (0..=12).map(|k| f64::from(k) / 12.0);
        let more = [2.0 * RUNS_OUT * a.half[0], 2.0 * RUNS_OUT * a.half[1]];
        let [c, d, e, f] = a.corners(more);
        let place = |s: f64, t: f64| along(along(c, d, s), along(f, e, s), t);
        shares.clone().any(|s| shares.clone().any(|t| a.joins(b, place(s, t))))
    }

    /// What is taken off at a place, and by which face; 0 and none where nothing is.
    pub(super) fn off(&self, p: Point, up: bool) -> (f64, Option<usize>) {
        let mut there: Vec<(usize, f64)> = Vec::new();
        let mut add = |i: usize, f: &Facet| {
            if !there.iter().any(|t| t.0 == i) {
                there.push((i, f.height_at(p)));
            }
        };
        for (i, f) in self.facets.iter().enumerate().filter(|(_, f)| f.up == up) {
            if f.holds(p) {
                add(i, f);
            }
        }
        for (i, j, _) in &self.meets {
            if let Some((a, b)) = self.facets.get(*i).zip(self.facets.get(*j))
                && a.up == up
                && a.joins(b, p)
            {
                add(*i, a);
                add(*j, b);
            }
        }
        let beaten = |(i, h): &(usize, f64)| {
            there.iter().any(|(j, other)| match self.meet(*i, *j) {
                Some(Meet::Valley) => other > h,
                Some(Meet::Ridge) => other < h,
                None => false,
            })
        };
        let low = |a: &&(usize, f64), b: &&(usize, f64)| a.1.total_cmp(&b.1);
        let unbeaten = there.iter().filter(|t| !beaten(t)).min_by(low);
        match unbeaten.or_else(|| there.iter().min_by(low)) {
            Some((i, h)) if *h < 0.0 => (*h, Some(*i)),
            _ => (0.0, None),
        }
    }

    fn meet(&self, i: usize, j: usize) -> Option<Meet> {
        let pair = (i.min(j), i.max(j));
        self.meets.iter().find(|(a, b, _)| (*a, *b) == pair).map(|m| m.2)
    }

    /// Top and bottom of the material at a place in plan view.
    pub(super) fn material(&self, at: Point) -> Option<[f64; 2]> {
        if !within(at, &self.outline) {
            return None;
        }
        let top = self.off(at, true).0;
        let bottom = -self.thickness - self.off(at, false).0;
        (top > bottom).then_some([top, bottom])
    }

    /// Whether the surface is a slanted face at a place, and which feature it is.
    pub(super) fn slope_at(&self, at: Point, up: bool) -> Option<usize> {
        let facet = self.off(at, up).1.and_then(|i| self.facets.get(i));
        facet.filter(|f| f.slanted).map(|f| f.feature)
    }

    /// Where a line of constant Y runs on a face: from the first to the last X.
    pub(super) fn run(&self, facet: usize, y: f64) -> Option<[f64; 2]> {
        let up = self.facets.get(facet)?.up;
        let mut stops = self.stops(y);
        stops.extend(crossings(&self.outline, y));
        stops.sort_by(f64::total_cmp);
        let on = |p: &&[f64]| {
            let middle = [f64::midpoint(p[0], p[1]), y];
            p[1] - p[0] > self.near && within(middle, &self.outline) && self.off(middle, up).1 == Some(facet)
        };
        let own: Vec<&[f64]> = stops.windows(2).filter(on).collect();
        Some([own.first()?[0], own.last()?[1]])
    }

    /// Where the breaks cross a line of constant Y.
    pub(super) fn stops(&self, y: f64) -> Vec<f64> {
        let ends: Vec<Point> = self.breaks.iter().flat_map(|b| [b.from, b.to]).collect();
        let pairs = ends.chunks_exact(2);
        pairs
            .filter(|p| (p[0][1] > y) != (p[1][1] > y))
            .map(|p| along(p[0], p[1], (y - p[0][1]) / (p[1][1] - p[0][1]))[0])
            .collect()
    }

    /// The lines at which slanted faces end or meet others.
    fn all_breaks(&self, plan: &Plan) -> Vec<Break> {
        let lines = self.lines(plan);
        let outline: Vec<(Point, Point)> = sides(&self.outline).collect();
        let step = 2.0 * self.near;
        let mut breaks: Vec<Break> = Vec::new();
        for (from, to, up) in &lines {
            let others = lines.iter().filter(|l| l.2 == *up).map(|l| (l.0, l.1));
            let mut shares: Vec<f64> = others
                .chain(outline.iter().copied())
                .filter_map(|(a, b)| share_where_crossed(*from, *to, a, b))
                .chain([0.0, 1.0])
                .collect();
            shares.sort_by(f64::total_cmp);
            let d = super::paper::direction(*from, *to);
            let side = |p: Point, way: f64| shifted(p, [-d[1] * step * way, d[0] * step * way]);
            let mut run: Option<Break> = None;
            for pair in shares.windows(2) {
                let (a, b) = (along(*from, *to, pair[0]), along(*from, *to, pair[1]));
                if distance(a, b) < self.near {
                    continue;
                }
                let middle = along(a, b, 0.5);
                let [left, right] = [1.0, -1.0].map(|way| side(middle, way));
                let inside = within(left, &self.outline) && within(right, &self.outline);
                let faces = [left, right].map(|p| self.off(p, *up).1);
                let known = breaks
                    .iter()
                    .any(|k| k.up == *up && distance_to_stroke(middle, k.from, k.to) < step);
                if !inside || faces[0] == faces[1] || known {
                    breaks.extend(run.take());
                    continue;
                }
                match &mut run {
                    Some(b_run) if distance(b_run.to, a) < step => b_run.to = b,
                    _ => {
                        breaks.extend(run.take());
                        run = self.feature_of(faces).map(|feature| Break {
                            from: a,
                            to: b,
                            feature,
                            up: *up,
                        });
                    }
                }
            }
            breaks.extend(run);
        }
        breaks
    }

    /// The slanted one of two faces.
    fn feature_of(&self, faces: [Option<usize>; 2]) -> Option<usize> {
        let facets = || faces.into_iter().flatten().filter_map(|i| self.facets.get(i));
        facets()
            .find(|f| f.slanted)
            .or_else(|| facets().next())
            .map(|f| f.feature)
    }

    /// Lines at which the surface may break: sides of slanted faces and of what meets them, and where two planes cross.
    fn lines(&self, plan: &Plan) -> Vec<(Point, Point, bool)> {
        let mut lines = Vec::new();
        for (i, f) in self.facets.iter().enumerate() {
            let met = self.meets.iter().any(|(a, b, _)| *a == i || *b == i);
            if f.slanted || met {
                // The sides go on as far as another face may draw this one out.
                let mut more = f.half.map(|h| 2.0 * RUNS_OUT * h);
                if f.slanted {
                    more[0] = 0.0;
                }
                let [low, high] = [f.corners([more[0], 0.0]), f.corners([0.0, more[1]])];
                lines.extend([(low[0], low[1], f.up), (low[2], low[3], f.up)]);
                lines.extend([(high[1], high[2], f.up), (high[3], high[0], f.up)]);
            }
        }
        let long = plan.extent.width().hypot(plan.extent.height());
        for (i, j, _) in &self.meets {
            let Some((a, b)) = self.facets.get(*i).zip(self.facets.get(*j)) else {
                continue;
            };
            let Some(on) = a.crossing(b, along(a.at, b.at, 0.5)) else {
                continue;
            };
            let w = [a.grade[0] - b.grade[0], a.grade[1] - b.grade[1]];
            let d = [-w[1], w[0]].map(|d| d / w[0].hypot(w[1]) * long);
            lines.push((shifted(on, [-d[0], -d[1]]), shifted(on, d), a.up));
        }
        lines
    }
}

/// Whether a face is neither level nor a wall.
pub(super) fn is_slanted(normal: [f64; 3]) -> bool {
    (UPRIGHT..1.0 - 1e-6).contains(&normal[2].abs())
}

/// Where a line of constant Y meets the outline.
pub(super) fn crossings(outline: &[Point], y: f64) -> Vec<f64> {
    sides(outline)
        .filter(|(a, b)| (a[1] > y) != (b[1] > y))
        .map(|(a, b)| a[0] + (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]))
        .collect()
}

/// The share of the way from `from` to `to` at which a stroke crosses it or ends on it.
fn share_where_crossed(from: Point, to: Point, a: Point, b: Point) -> Option<f64> {
    let (d, e) = ([to[0] - from[0], to[1] - from[1]], [b[0] - a[0], b[1] - a[1]]);
    let det = d[0] * e[1] - d[1] * e[0];
    let size = d[0].hypot(d[1]) * e[0].hypot(e[1]);
    if det.abs() < 1e-12 * size {
        return None;
    }
    let w = [a[0] - from[0], a[1] - from[1]];
    let t = (w[0] * e[1] - w[1] * e[0]) / det;
    let s = (w[0] * d[1] - w[1] * d[0]) / det;
    ((0.0..=1.0).contains(&t) && (-1e-9..=1.0 + 1e-9).contains(&s)).then_some(t)
}
