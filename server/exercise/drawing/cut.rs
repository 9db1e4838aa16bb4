//! Where the plate is cut to be seen from the front: a stepped plane, parallel to X, through what is deep, conical or not on
//! the top face (ISO 128-3, section in several parallel planes). Lengths in the unit of the part.

use super::paper::{Point, distance, distance_to_stroke};
use super::plan::Plan;
use super::relief::Facet;
use crate::exercise::geometry::FeatureState;
use crate::exercise::model::{Exercise, Shape, Side};
use crate::units::decimal_to_f64;

/// A stretch of the cutting plane at one Y.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stretch {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) y: f64,
}

/// A flat face between top and bottom: the material ends there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Level {
    pub(super) feature: usize,
    pub(super) z: f64,
    pub(super) x: [f64; 2],
    pub(super) y: [f64; 2],
    /// Whether it looks up.
    pub(super) up: bool,
}

/// What should be cut: its extent along X, the Y of its middle, and how much it matters.
#[derive(Debug, Clone, Copy)]
struct Wish {
    from: f64,
    to: f64,
    y: f64,
    weight: f64,
}

/// Whether the feature is round or a slot and stands upright.
pub(super) fn is_upright(shape: &Shape, state: &FeatureState) -> bool {
    shape.is_sized() && state.direction[2].abs() > 0.5
}

/// The extent of a feature along X where it is cut this far from its middle along Y; `None` where it is not cut.
pub(super) fn chord(state: &FeatureState, off: f64) -> Option<[f64; 2]> {
    if off.abs() < 1e-9 {
        let half = half_chord(state);
        return Some([-half, half]);
    }
    if state.width <= 0.0 {
        let square = (state.diameter / 2.0).powi(2) - off * off;
        return (square > 0.0).then(|| [-square.sqrt(), square.sqrt()]);
    }
    // A slot, walked over: where (t, off) is no farther than half the width from the stroke between the arc centres.
    let (sin, cos) = state.angle.to_radians().sin_cos();
    let reach = (state.length - state.width) / 2.0;
    let ends = [-reach, reach].map(|r| [r * cos, r * sin]);
    let inside = |t: &f64| distance_to_stroke([*t, off], ends[0], ends[1]) <= state.width / 2.0;
    let steps = (-1000..=1000_i32).map(|k| state.length / 2.0 * f64::from(k) / 1000.0);
    let mut own = steps.filter(inside);
    let first = own.next()?;
    Some([first, own.next_back().unwrap_or(first)])
}

/// Half of the extent of a feature along X at the Y of its middle.
pub(super) fn half_chord(state: &FeatureState) -> f64 {
    if state.width <= 0.0 {
        return state.diameter / 2.0;
    }
    // A slot: the largest t at which (t, 0) is no farther than half the width from the stroke between the arc centres.
    let (sin, cos) = state.angle.to_radians().sin_cos();
    let reach = (state.length - state.width) / 2.0;
    let inside = |t: f64| {
        let on = (t * cos).clamp(-reach, reach);
        distance([t, 0.0], [on * cos, on * sin]) <= state.width / 2.0
    };
    let (mut low, mut high) = (0.0, state.length);
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        if inside(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

/// How deep a feature goes from its place.
pub(super) fn depth_of(shape: &Shape, state: &FeatureState, thickness: f64) -> f64 {
    match shape {
        Shape::Slot { depth, .. } => depth.map_or(thickness, decimal_to_f64),
        _ => state.length,
    }
}

/// Flat faces between top and bottom, drawn out to the outline where they run out.
pub(super) fn levels(exercise: &Exercise, plan: &Plan, states: &[FeatureState]) -> Vec<Level> {
    let thickness = decimal_to_f64(exercise.body.thickness);
    let near = 1e-6 * thickness;
    let level = |(feature, (f, s)): (usize, (&crate::exercise::model::Feature, &FeatureState))| {
        let Shape::Plane { normal, size, .. } = &f.shape else {
            return None;
        };
        let z = s.at[2];
        if normal[2].abs() < 1.0 - 1e-6 || z > -near || z < near - thickness {
            return None;
        }
        let [w, h] = size.map(decimal_to_f64);
        let mut x = [s.at[0] - w / 2.0, s.at[0] + w / 2.0];
        let mut y = [s.at[1] - h / 2.0, s.at[1] + h / 2.0];
        super::faces::run_out(plan, [s.at[0], s.at[1]], &mut x, &mut y);
        Some(Level {
            feature,
            z,
            x,
            y,
            up: normal[2] > 0.0,
        })
    };
    exercise
        .features
        .iter()
        .zip(states)
        .enumerate()
        .filter_map(level)
        .collect()
}

/// Round features and slots with one middle are cut together.
fn wishes(exercise: &Exercise, states: &[FeatureState], near: f64) -> Vec<Wish> {
    let thickness = decimal_to_f64(exercise.body.thickness);
    let mut groups: Vec<(Point, Wish)> = Vec::new();
    for (f, s) in exercise
        .features
        .iter()
        .zip(states)
        .filter(|(f, s)| is_upright(&f.shape, s))
    {
        let half = half_chord(s);
        let blind = depth_of(&f.shape, s, thickness) < thickness - near || s.at[2].abs() > near;
        let shaped = matches!(f.shape, Shape::Cone { .. } | Shape::Sphere { .. }) || f.side == Some(Side::Outside);
        let weight = if shaped {
            4.0
        } else if blind {
            2.0
        } else {
            0.2
        };
        let at = [s.at[0], s.at[1]];
        match groups.iter_mut().find(|(m, _)| distance(*m, at) < near) {
            Some((_, wish)) => {
                wish.from = wish.from.min(at[0] - half);
                wish.to = wish.to.max(at[0] + half);
                wish.weight += weight;
            }
            None => groups.push((
                at,
                Wish {
                    from: at[0] - half,
                    to: at[0] + half,
                    y: at[1],
                    weight,
                },
            )),
        }
    }
    let mut wishes: Vec<Wish> = groups.into_iter().map(|g| g.1).collect();
    // What matters most first, then from the left.
    wishes.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(a.from.total_cmp(&b.from)));
    wishes
}

/// Steps of the cutting plane at most.
const STEPS: usize = 4;

/// The cutting plane from the left of the body to its right, through slanted faces first. `gap` is what lies between two
/// things that are cut.
pub(super) fn path(exercise: &Exercise, plan: &Plan, states: &[FeatureState], gap: f64) -> Vec<Stretch> {
    let near = 100.0 * plan.nothing;
    let middles: Vec<Wish> = wishes(exercise, states, near);
    let score = |y: f64| {
        let at_y = middles.iter().filter(|w| (w.y - y).abs() < near);
        at_y.map(|w| w.weight).sum::<f64>()
    };
    let heights: Vec<f64> = middles.iter().map(|w| w.y).collect();
    let mut taken = through_slopes(plan, Facet::faces_x, gap, &heights, &score);
    let free = |taken: &[Wish], w: &Wish| taken.iter().all(|t| w.to + gap < t.from || t.to + gap < w.from);
    let steps = |taken: &[Wish], w: &Wish| {
        let mut all: Vec<Wish> = taken.iter().copied().chain([*w]).collect();
        all.sort_by(|a, b| a.from.total_cmp(&b.from));
        all.windows(2).filter(|p| (p[0].y - p[1].y).abs() > near).count()
    };
    for wish in middles {
        // A plain hole shows nothing that the plan does not: it is cut where the plane comes by.
        let worth = wish.weight >= 1.0 || steps(&taken, &wish) == steps(&taken, taken.first().unwrap_or(&wish));
        if worth && free(&taken, &wish) && steps(&taken, &wish) <= STEPS && !taken.is_empty() | (wish.weight >= 1.0) {
            taken.push(wish);
        }
    }
    for level in &plan.relief.levels {
        if crosses(&stretches(&taken, plan), level, 2.0 * gap) {
            continue;
        }
        let width = level.x[1] - level.x[0];
        let window = (2.0 * gap).min(width / 2.0);
        let place = |share: f64| {
            let middle = level.x[0] + window / 2.0 + share * (width - window);
            let here = stretches(&taken, plan);
            let y = here
                .iter()
                .find(|s| s.from <= middle && middle <= s.to)
                .map_or(f64::NAN, |s| s.y);
            // Off the edges of the face, and no step where none is needed.
            let inset = 0.25 * (level.y[1] - level.y[0]);
            Wish {
                from: middle - window / 2.0,
                to: middle + window / 2.0,
                y: if y.is_nan() {
                    f64::midpoint(level.y[0], level.y[1])
                } else {
                    y
                }
                .clamp(level.y[0] + inset, level.y[1] - inset),
                weight: 0.0,
            }
        };
        let shares = [0.5, 0.35, 0.65, 0.2, 0.8, 0.05, 0.95, 0.0, 1.0];
        if let Some(wish) = shares
            .map(place)
            .into_iter()
            .find(|w| free(&taken, w) && steps(&taken, w) <= STEPS + 1)
        {
            taken.push(wish);
        }
    }
    stretches(&taken, plan)
}

/// The cutting plane through slanted faces alone, as far off everything else as it can be.
pub(super) fn path_across(plan: &Plan, gap: f64) -> Vec<Stretch> {
    let forms = plan.drawn.iter().filter(|d| d.feature.is_some());
    let boxes: Vec<_> = forms
        .filter(|d| !matches!(d.form, super::plan::Form::Chain { .. }))
        .map(|d| super::plan::area_of(&d.form))
        .collect();
    let [low, high] = [plan.extent.min[1], plan.extent.max[1]];
    let heights: Vec<f64> = (1..80_u32).map(|k| low + (high - low) * f64::from(k) / 80.0).collect();
    let clear = |y: f64| {
        let of_boxes = boxes.iter().map(|b| (b.min[1] - y).max(y - b.max[1]));
        let of_places = plan.places.iter().map(|p| (p.middle()[1] - y).abs());
        let of_lines = plan.touches.iter().chain(&plan.outline).map(|p| (p[1] - y).abs());
        let least = of_boxes.chain(of_places).chain(of_lines).fold(f64::INFINITY, f64::min);
        // Three times the gap is enough; then the nearer to the middle the better.
        least.min(3.0 * gap) - 1e-3 * (y - f64::midpoint(low, high)).abs()
    };
    stretches(&through_slopes(plan, Facet::faces_x_alone, gap, &heights, &clear), plan)
}

/// Cuts through the slanted faces that are `wanted`, with as few steps as can be: at each step the Y that
/// meets most of them, and among those the best by `score`.
fn through_slopes(
    plan: &Plan,
    wanted: fn(&Facet) -> bool,
    gap: f64,
    heights: &[f64],
    score: &dyn Fn(f64) -> f64,
) -> Vec<Wish> {
    let relief = &plan.relief;
    let mut left: Vec<usize> = relief.slopes().filter(|(_, f)| wanted(f)).map(|s| s.0).collect();
    let mut taken: Vec<Wish> = Vec::new();
    while !left.is_empty() {
        let own: Vec<f64> = left
            .iter()
            .filter_map(|i| relief.facets.get(*i).map(Facet::middle_y))
            .collect();
        let cuts = |y: f64| -> Vec<(usize, Wish)> {
            let within = |i: &&usize| relief.facets.get(**i).is_some_and(|f| f.is_cut_at(y));
            let wish = |i: &usize| {
                relief.run(*i, y).map(|[from, to]| Wish {
                    from,
                    to,
                    y,
                    weight: 0.0,
                })
            };
            let apart = |w: &Wish| {
                let beside =
                    |t: &Wish| (t.y - y).abs() < 100.0 * plan.nothing || w.to + gap < t.from || t.to + gap < w.from;
                taken.iter().all(beside)
            };
            let all = left.iter().filter(within).filter_map(|i| wish(i).map(|w| (*i, w)));
            all.filter(|(_, w)| apart(w)).collect()
        };
        let worth = |y: &f64| (cuts(*y).len(), score(*y));
        let best = own.iter().chain(heights).copied().reduce(|a, b| {
            let (x, y) = (worth(&a), worth(&b));
            if y.0 > x.0 || (y.0 == x.0 && y.1 > x.1 + 1e-9) {
                b
            } else {
                a
            }
        });
        let cut = best.map_or_else(Vec::new, cuts);
        if cut.is_empty() {
            break;
        }
        left.retain(|i| !cut.iter().any(|(k, _)| k == i));
        taken.extend(cut.into_iter().map(|c| c.1));
    }
    taken
}

/// Whether the plane comes through a face for some way.
fn crosses(path: &[Stretch], level: &Level, long: f64) -> bool {
    let width = level.x[1] - level.x[0];
    path.iter().any(|s| {
        let shared = s.to.min(level.x[1]) - s.from.max(level.x[0]);
        shared > long.min(width / 2.0) && level.y[0] < s.y && s.y < level.y[1]
    })
}

fn stretches(taken: &[Wish], plan: &Plan) -> Vec<Stretch> {
    let mut sorted = taken.to_vec();
    sorted.sort_by(|a, b| a.from.total_cmp(&b.from));
    let (left, right) = (plan.extent.min[0], plan.extent.max[0]);
    let mut out: Vec<Stretch> = Vec::new();
    for wish in sorted {
        match out.last_mut() {
            Some(last) if (last.y - wish.y).abs() < 100.0 * plan.nothing => last.to = wish.to,
            Some(last) => {
                let step = f64::midpoint(last.to, wish.from);
                last.to = step;
                out.push(Stretch {
                    from: step,
                    to: wish.to,
                    y: wish.y,
                });
            }
            None => out.push(Stretch {
                from: left,
                to: wish.to,
                y: wish.y,
            }),
        }
    }
    match out.last_mut() {
        Some(last) => last.to = right,
        None => out.push(Stretch {
            from: left,
            to: right,
            y: plan.extent.middle()[1],
        }),
    }
    out
}
