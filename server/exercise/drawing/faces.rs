//! Flat faces in plan view: which of their edges are seen, and where they run out through the side of the body.

use super::paper::{Point, along, distance, distance_to_stroke, nearest_share, shifted, sides};
use super::plan::{Drawn, Form, Place, Plan};
use super::relief::UPRIGHT;
use super::svg::Line;

/// The part of a face that is stated is the part that is measured, which ends a little before the body does. Where less
/// than this share of its length is missing, the face is taken to run out (our own reading; the file does not say).
pub(super) const RUNS_OUT: f64 = 0.25;

/// Adds the edges of a face, if they are not among the breaks of slanted ones, and gives where it can be pointed at. `size`
/// holds its extents: of a face along two axes in the order x, y, z; of a slanted one the level one first.
pub(super) fn add(
    plan: &mut Plan,
    feature: usize,
    at: [f64; 3],
    normal: [f64; 3],
    size: [f64; 2],
    thickness: f64,
) -> Place {
    let middle = [at[0], at[1]];
    if normal[2].abs() < UPRIGHT {
        return add_upright(plan, feature, middle, normal, size[0]);
    }
    let flat = normal[2].abs() > 1.0 - 1e-6;
    let level = normal[0].hypot(normal[1]);
    let (u, v) = if flat {
        ([size[0] / 2.0, 0.0], [0.0, size[1] / 2.0])
    } else {
        // Along the face and level, then across it, foreshortened.
        let d = [-normal[1] / level, normal[0] / level];
        let (long, short) = (size[0] / 2.0, size[1] / 2.0 * normal[2].abs());
        ([d[0] * long, d[1] * long], [-d[1] * short, d[0] * short])
    };
    let corner = |a: f64, b: f64| shifted(middle, [a * u[0] + b * v[0], a * u[1] + b * v[1]]);
    let corners = [
        corner(-1.0, -1.0),
        corner(1.0, -1.0),
        corner(1.0, 1.0),
        corner(-1.0, 1.0),
    ];
    let unseen = normal[2] < 0.0;
    let depth_nothing = 1e-6 * thickness;
    // The top and the bottom themselves have no edges but the outline.
    let is_end_face = flat && (at[2].abs() < depth_nothing || (at[2] + thickness).abs() < depth_nothing);
    if !is_end_face && !plan.relief.draws(feature) {
        add_rectangle(plan, feature, corners, unseen);
    }
    Place::Face { corners, unseen }
}

/// A wall: one edge.
fn add_upright(plan: &mut Plan, feature: usize, middle: Point, normal: [f64; 3], length: f64) -> Place {
    let level = normal[0].hypot(normal[1]);
    let half = [-normal[1] / level * length / 2.0, normal[0] / level * length / 2.0];
    let (from, to) = (shifted(middle, [-half[0], -half[1]]), shifted(middle, half));
    if !on_outline(plan, from, to) {
        let open = [runs_out(plan, to, from), runs_out(plan, from, to)];
        add_edge(plan, feature, from, to, open, Line::Edge);
    }
    Place::Edge { from, to }
}

/// Adds the lines at which slanted faces end or meet others.
pub(super) fn add_breaks(plan: &mut Plan) {
    for edge in std::mem::take(&mut plan.relief.breaks) {
        let line = if edge.up { Line::Edge } else { Line::Hidden };
        if !on_outline(plan, edge.from, edge.to) {
            add_edge(plan, edge.feature, edge.from, edge.to, [false; 2], line);
        }
        plan.relief.breaks.push(edge);
    }
}

fn add_rectangle(plan: &mut Plan, feature: usize, corners: [Point; 4], unseen: bool) {
    let line = if unseen { Line::Hidden } else { Line::Edge };
    let middle_of = |i: usize| along(corners[i], corners[(i + 1) % 4], 0.5);
    // Side i lies between corners i and i + 1; it is missing where the face runs out through it.
    let open = [0, 1, 2, 3].map(|i| !unseen && runs_out(plan, middle_of((i + 2) % 4), middle_of(i)));
    for i in 0..4 {
        let (a, b) = (corners[i], corners[(i + 1) % 4]);
        if !open[i] && !on_outline(plan, a, b) {
            add_edge(plan, feature, a, b, [open[(i + 3) % 4], open[(i + 1) % 4]], line);
        }
    }
}

/// An edge, drawn out to the outline at the ends that are open, left out where another edge covers it.
fn add_edge(plan: &mut Plan, feature: usize, from: Point, to: Point, open: [bool; 2], line: Line) {
    let a = if open[0] {
        outline_beyond(plan, to, from).unwrap_or(from)
    } else {
        from
    };
    let b = if open[1] {
        outline_beyond(plan, from, to).unwrap_or(to)
    } else {
        to
    };
    if !plan.drawn.iter().any(|d| covers(plan, d, line, [a, b])) {
        let new = Drawn {
            line,
            form: Form::Chain {
                points: vec![a, b],
                closed: false,
            },
            feature: Some(feature),
        };
        let kept: Vec<bool> = plan
            .drawn
            .iter()
            .map(|d| !ends_of(d).is_some_and(|e| covers(plan, &new, d.line, e)))
            .collect();
        let mut kept = kept.iter();
        plan.drawn.retain(|_| kept.next().copied().unwrap_or(true));
        plan.push(line, new.form, feature);
    }
}

/// Both ends of a single straight line.
fn ends_of(drawn: &Drawn) -> Option<[Point; 2]> {
    match &drawn.form {
        Form::Chain { points, closed: false } => <[Point; 2]>::try_from(points.as_slice()).ok(),
        _ => None,
    }
}

/// Whether a line of the same type already runs where this one does.
fn covers(plan: &Plan, drawn: &Drawn, line: Line, ends: [Point; 2]) -> bool {
    let near = plan.nothing * 100.0;
    drawn.line == line && ends_of(drawn).is_some_and(|[a, b]| ends.iter().all(|p| distance_to_stroke(*p, a, b) < near))
}

/// Whether little is missing from `to` on to the outline, seen from `from`.
fn runs_out(plan: &Plan, from: Point, to: Point) -> bool {
    outline_beyond(plan, from, to).is_some_and(|edge| distance(to, edge) < RUNS_OUT * distance(from, to))
}

/// The first place of the outline from `to` on, in the direction from `from`. A place on the outline is its own.
pub(super) fn outline_beyond(plan: &Plan, from: Point, to: Point) -> Option<Point> {
    let d = [to[0] - from[0], to[1] - from[1]];
    let length = d[0].hypot(d[1]);
    let slack = tolerance(plan) / length;
    let meets = |(a, b): (Point, Point)| {
        let e = [b[0] - a[0], b[1] - a[1]];
        let det = d[0] * e[1] - d[1] * e[0];
        if det.abs() < 1e-12 * length * e[0].hypot(e[1]) {
            return None;
        }
        let w = [a[0] - to[0], a[1] - to[1]];
        let t = (w[0] * e[1] - w[1] * e[0]) / det;
        let s = (w[0] * d[1] - w[1] * d[0]) / det;
        (t >= -slack && (-1e-9..=1.0 + 1e-9).contains(&s)).then_some(t.max(0.0))
    };
    let first = sides(&plan.outline).filter_map(meets).fold(f64::INFINITY, f64::min);
    first
        .is_finite()
        .then(|| along([0.0; 2], d, first))
        .map(|by| shifted(to, by))
}

/// How near an edge counts as the outline: 0.4 % of the body, which is less than a line's width on paper.
fn tolerance(plan: &Plan) -> f64 {
    plan.nothing * 4000.0
}

/// Whether a stroke lies on one side of the outline.
pub(super) fn on_outline(plan: &Plan, from: Point, to: Point) -> bool {
    let near = tolerance(plan);
    sides(&plan.outline).any(|(a, b)| {
        let close = |p: Point| {
            let t = nearest_share(p, a, b);
            distance(p, along(a, b, t)) < near
        };
        close(from) && close(to)
    })
}

/// The extents of a level face, drawn out to the outline on the sides where it runs out.
pub(super) fn run_out(plan: &Plan, middle: Point, x: &mut [f64; 2], y: &mut [f64; 2]) {
    for (axis, range) in [(0, x), (1, y)] {
        let at = |v: f64| {
            let mut p = middle;
            p[axis] = v;
            p
        };
        let [low, high] = *range;
        for (from, to, end) in [(high, low, 0), (low, high, 1)] {
            if runs_out(plan, at(from), at(to))
                && let Some(edge) = outline_beyond(plan, at(from), at(to))
            {
                range[end] = edge[axis];
            }
        }
    }
}
