//! Orientation of one feature to another: the first of the two is turned by what the plate has, against the second as
//! that one truly lies.

use super::surface::slope_for;
use super::{Touch, turned_about};
use crate::exercise::geometry::{FeatureState, dot, must_be_alike};
use crate::exercise::model::{Characteristic, Exercise, Owner, Quantity, Shape};
use crate::procedure::reads::{cross, face_directions};

/// Turns the first feature of every pair whose parallelism or perpendicularity is asked for.
pub(super) fn orient(
    exercise: &Exercise,
    nominal: &[FeatureState],
    states: &[FeatureState],
    touches: &mut [Vec<Touch>],
) {
    for c in &exercise.characteristics {
        let (Owner::Between(pair), Quantity::Parallelism | Quantity::Perpendicularity) = (c.owner, c.of) else {
            continue;
        };
        let Some([a, b]) = exercise.between.get(pair).map(|b| b.features) else {
            continue;
        };
        let (Some(first), Some(second), Some(state)) =
            (exercise.features.get(a), exercise.features.get(b), states.get(a))
        else {
            continue;
        };
        let (Some(printed), Some(other)) = (nominal.get(b), touches.get(b).and_then(|t| t.first())) else {
            continue;
        };
        // How the second lies: its normal where it is a face, whose touches all have that one.
        let is_face = |shape: &Shape| matches!(shape, Shape::Plane { .. });
        let lies = is_face(&second.shape).then_some((printed.direction, other.normal));
        let Some(turned) = touches.get_mut(a) else { continue };
        let wanted = state.own.get(&c.of).copied().unwrap_or(0.0);
        if let (true, Some(own_normal)) = (is_face(&first.shape), first.shape.normal()) {
            face(c, own_normal, state, lies, wanted, turned);
        } else {
            let length = state.length.max(f64::MIN_POSITIVE);
            turn(
                turned,
                state.at,
                axis_of(&first.shape),
                (wanted / length).clamp(-1.0, 1.0).asin(),
            );
        }
    }
}

/// What a line, slot or axis turns about to lean.
fn axis_of(shape: &Shape) -> [f64; 3] {
    match shape {
        Shape::Cylinder { axis, .. } | Shape::Cone { axis, .. } => face_directions(*axis)[0],
        _ => [0.0, 0.0, 1.0],
    }
}

/// A face against another: turned as that one is, and then so far that the zone of its touches is as wide as wanted. `of`
/// is its normal as printed, which says its two directions.
fn face(
    c: &Characteristic,
    of: [f64; 3],
    state: &FeatureState,
    lies: Option<([f64; 3], [f64; 3])>,
    wanted: f64,
    touches: &mut [Touch],
) {
    let Some((printed, lying)) = lies else { return };
    let axis = cross(printed, lying);
    let sine = dot(axis, axis).sqrt();
    if sine > 0.0 {
        turn(
            touches,
            state.at,
            axis.map(|v| v / sine),
            sine.atan2(dot(printed, lying)),
        );
    }
    let Some(normal) = touches.first().map(|t| t.normal) else {
        return;
    };
    let alike = must_be_alike(c.of, true, true);
    let across = if alike { lying } else { normal };
    let places = |d: [f64; 3]| -> Vec<(f64, f64)> {
        let local = touches.iter().map(|t| [0, 1, 2].map(|i| t.at[i] - state.at[i]));
        local.map(|p| (dot(p, d), dot(p, across))).collect()
    };
    // Alike: along its longer side. Square: along the other's normal, which is the way that counts.
    let extent = |d: &[f64; 3]| places(*d).iter().fold(0.0_f64, |most, (u, _)| most.max(u.abs()));
    let directions = face_directions(of);
    let along = if alike {
        directions.into_iter().max_by(|a, b| extent(a).total_cmp(&extent(b)))
    } else {
        directions
            .into_iter()
            .max_by(|a, b| dot(*a, lying).abs().total_cmp(&dot(*b, lying).abs()))
    };
    let Some(along) = along else { return };
    let slope = slope_for(&places(along), wanted) * dot(normal, across).signum();
    turn(touches, state.at, cross(along, normal), slope.atan());
}

/// All touches about a place.
fn turn(touches: &mut [Touch], about: [f64; 3], axis: [f64; 3], angle: f64) {
    for touch in touches {
        let local = [0, 1, 2].map(|i| touch.at[i] - about[i]);
        let moved = turned_about(local, axis, angle);
        touch.at = [0, 1, 2].map(|i| about[i] + moved[i]);
        touch.normal = turned_about(touch.normal, axis, angle);
    }
}
