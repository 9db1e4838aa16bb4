//! Where the plate is cut to be seen from the front: a stepped plane, parallel to X, through what is deep, conical or not on
//! the top face (ISO 128-3, section in several parallel planes). Lengths in the unit of the part.

use super::paper::{Point, distance};
use super::plan::Plan;
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
    let level = |(f, s): (&crate::exercise::model::Feature, &FeatureState)| {
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
            z,
            x,
            y,
            up: normal[2] > 0.0,
        })
    };
    exercise.features.iter().zip(states).filter_map(level).collect()
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

/// The cutting plane from the left of the body to its right. `gap` is what lies between two things that are cut.
pub(super) fn path(
    exercise: &Exercise,
    plan: &Plan,
    states: &[FeatureState],
    levels: &[Level],
    gap: f64,
) -> Vec<Stretch> {
    let near = 100.0 * plan.nothing;
    let mut taken: Vec<Wish> = Vec::new();
    let free = |taken: &[Wish], w: &Wish| taken.iter().all(|t| w.to + gap < t.from || t.to + gap < w.from);
    let steps = |taken: &[Wish], w: &Wish| {
        let mut all: Vec<Wish> = taken.iter().copied().chain([*w]).collect();
        all.sort_by(|a, b| a.from.total_cmp(&b.from));
        all.windows(2).filter(|p| (p[0].y - p[1].y).abs() > near).count()
    };
    for wish in wishes(exercise, states, near) {
        // A plain hole shows nothing that the plan does not: it is cut where the plane comes by.
        let worth = wish.weight >= 1.0 || steps(&taken, &wish) == steps(&taken, taken.first().unwrap_or(&wish));
        if worth && free(&taken, &wish) && steps(&taken, &wish) <= STEPS && !taken.is_empty() | (wish.weight >= 1.0) {
            taken.push(wish);
        }
    }
    for level in levels {
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
