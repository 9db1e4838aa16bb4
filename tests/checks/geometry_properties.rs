//! What must hold of fits and frames for any points, not only for those of the reference files.

use nalgebra::{Rotation2, Rotation3, Vector2, Vector3};
use platemark::metrology::fit::{self, Cone, Cylinder, Fit, FitError, Slot, zone};
use platemark::metrology::frame::{Datums, Hit, Hole, Rigid, Surface, frame};
use proptest::prelude::*;
use proptest::test_runner::{RngSeed, TestCaseError};

/// The same points in every run, so that what fails here fails everywhere.
fn runs(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20_261_125),
        ..ProptestConfig::default()
    }
}

/// A turn, a scale and a shift, in that order.
#[derive(Debug, Clone, Copy)]
struct Movement {
    angles: [f64; 3],
    scale: f64,
    shift: [f64; 3],
}

impl Movement {
    fn turned(&self, direction: [f64; 3]) -> Vector3<f64> {
        let [roll, pitch, yaw] = self.angles;
        Rotation3::from_euler_angles(roll, pitch, yaw) * Vector3::from(direction)
    }

    fn moved(&self, p: [f64; 3]) -> [f64; 3] {
        (self.turned(p) * self.scale + Vector3::from(self.shift)).into()
    }

    fn turned_flat(&self, direction: [f64; 2]) -> Vector2<f64> {
        Rotation2::new(self.angles[2]) * Vector2::from(direction)
    }

    fn moved_flat(&self, p: [f64; 2]) -> [f64; 2] {
        let shift = Vector2::new(self.shift[0], self.shift[1]);
        (self.turned_flat(p) * self.scale + shift).into()
    }

    /// What rounding of the moved coordinates may do to lengths of figures that are some tens in size and weaken
    /// rounding by `gain` at most.
    fn rounding(&self, gain: f64) -> f64 {
        let largest = self.shift.iter().fold(60.0 * self.scale, |most, s| most.max(s.abs()));
        largest * f64::EPSILON * 8.0 * gain
    }
}

/// Turns, shifts up to ten metres (in millimetres), scales from a thousandth to a thousand.
fn movement() -> impl Strategy<Value = Movement> {
    let shift = || -1e4..1e4;
    let angles = [-3.0..3.0, -1.5..1.5, -3.0..3.0];
    (angles, -3.0..3.0, [shift(), shift(), shift()]).prop_map(|(angles, power, shift)| Movement {
        angles,
        scale: 10_f64.powf(power),
        shift,
    })
}

/// Noise of up to ten micrometres, for the coordinates of some points.
fn noise(count: usize) -> impl Strategy<Value = Vec<[f64; 3]>> {
    prop::collection::vec([-0.01..0.01, -0.01..0.01, -0.01..0.01], count)
}

/// Hits all round a wall whose radius runs with the height, in rings.
fn wall(rings: usize, each: usize, radius: f64, slope: f64, noise: &[[f64; 3]]) -> Vec<[f64; 3]> {
    let hit = |index: usize| {
        let (ring, place) = (index / each, index % each);
        let turn = (small(place) + 0.3 * small(ring)) * std::f64::consts::TAU / small(each);
        let z = 12.0 * small(ring) - 6.0 * small(rings - 1);
        let r = radius + slope * z;
        let [a, b, c] = noise[index];
        [r * turn.cos() + a, r * turn.sin() + b, z + c]
    };
    (0..rings * each).map(hit).collect()
}

/// Hits over a face, in rows of four.
fn rug(noise: &[[f64; 3]]) -> Vec<[f64; 3]> {
    let hit = |(i, n): (usize, &[f64; 3])| [9.0 * small(i % 4) + n[0], 7.0 * small(i / 4) + n[1], n[2]];
    noise.iter().enumerate().map(hit).collect()
}

fn small(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap())
}

fn flat(points: &[[f64; 3]]) -> Vec<[f64; 2]> {
    points.iter().map(|p| [p[0], p[1]]).collect()
}

fn near(what: &str, a: f64, b: f64, tolerance: f64) -> Result<(), TestCaseError> {
    prop_assert!(
        (a - b).abs() <= tolerance,
        "{what}: {a} and {b}, {:e} allowed",
        tolerance
    );
    Ok(())
}

fn same_place<const D: usize>(what: &str, a: [f64; D], b: [f64; D], tolerance: f64) -> Result<(), TestCaseError> {
    for axis in 0..D {
        near(what, a[axis], b[axis], tolerance)?;
    }
    Ok(())
}

/// Directions up to their sign.
fn same_direction(what: &str, a: Vector3<f64>, b: [f64; 3], tolerance: f64) -> Result<(), TestCaseError> {
    let angle = a.cross(&Vector3::from(b)).norm();
    prop_assert!(angle <= tolerance, "{what}: {angle:e} rad apart, {tolerance:e} allowed");
    Ok(())
}

fn same_form<F, const N: usize>(before: &Fit<F, N>, after: &Fit<F, N>, by: &Movement) -> Result<(), TestCaseError> {
    let rounding = by.rounding(4.0);
    near("form", before.form * by.scale, after.form, rounding)?;
    for (a, b) in before.residuals.iter().zip(&after.residuals) {
        // A plane's or line's normal may come out the other way.
        near("residual", a.abs() * by.scale, b.abs(), rounding)?;
    }
    Ok(())
}

proptest! {
    #![proptest_config(runs(64))]

    #[test]
    fn moved_points_have_the_moved_circle_and_line(by in movement(), noise in noise(9), radius in 2.0..40.0_f64) {
        let points = flat(&wall(1, 9, radius, 0.0, &noise));
        let moved: Vec<[f64; 2]> = points.iter().map(|p| by.moved_flat(*p)).collect();
        let (before, after) = (fit::circle2d(&points).unwrap(), fit::circle2d(&moved).unwrap());
        same_place("centre", by.moved_flat(before.figure.centre), after.figure.centre, by.rounding(4.0))?;
        near("radius", before.figure.radius * by.scale, after.figure.radius, by.rounding(4.0))?;
        near("variance of r", before.covariance.matrix[2][2], after.covariance.matrix[2][2], 1e-6)?;
        same_form(&before, &after, &by)?;

        let points: Vec<[f64; 2]> = noise.iter().enumerate().map(|(i, n)| [radius * small(i) + n[0], n[1]]).collect();
        let moved: Vec<[f64; 2]> = points.iter().map(|p| by.moved_flat(*p)).collect();
        let (before, after) = (fit::line2d(&points).unwrap(), fit::line2d(&moved).unwrap());
        same_place("point", by.moved_flat(before.figure.point), after.figure.point, by.rounding(8.0))?;
        let turned = by.turned_flat(before.figure.direction);
        let angle = turned.perp(&Vector2::from(after.figure.direction)).abs();
        prop_assert!(angle * radius * by.scale <= by.rounding(4.0), "{angle:e}");
        same_form(&before, &after, &by)?;
    }

    #[test]
    fn moved_points_have_the_moved_plane_and_line(by in movement(), noise in noise(12)) {
        let points: Vec<[f64; 3]> =
            noise.iter().enumerate().map(|(i, n)| [9.0 * small(i % 4) + n[0], 7.0 * small(i / 4) + n[1], n[2]]).collect();
        let moved: Vec<[f64; 3]> = points.iter().map(|p| by.moved(*p)).collect();
        let (before, after) = (fit::plane(&points).unwrap(), fit::plane(&moved).unwrap());
        same_place("point", by.moved(before.figure.point), after.figure.point, by.rounding(4.0))?;
        let turned = by.turned(before.figure.normal);
        same_direction("normal", turned, after.figure.normal, by.rounding(4.0) / by.scale / 10.0)?;
        same_form(&before, &after, &by)?;

        let points: Vec<[f64; 3]> =
            noise.iter().enumerate().map(|(i, n)| [n[0], n[1], 4.0 * small(i) + n[2]]).collect();
        let moved: Vec<[f64; 3]> = points.iter().map(|p| by.moved(*p)).collect();
        let (before, after) = (fit::line3d(&points).unwrap(), fit::line3d(&moved).unwrap());
        same_place("point", by.moved(before.figure.point), after.figure.point, by.rounding(4.0))?;
        let turned = by.turned(before.figure.direction);
        same_direction("direction", turned, after.figure.direction, by.rounding(4.0) / by.scale / 10.0)?;
        same_form(&before, &after, &by)?;
    }

    #[test]
    fn moved_points_have_the_moved_round_figures(by in movement(), noise in noise(15), radius in 4.0..25.0_f64) {
        let points = wall(1, 15, radius, 0.0, &noise);
        let moved: Vec<[f64; 3]> = points.iter().map(|p| by.moved(*p)).collect();
        let (before, after) = (fit::circle3d(&points).unwrap(), fit::circle3d(&moved).unwrap());
        same_place("centre", by.moved(before.figure.centre), after.figure.centre, by.rounding(8.0))?;
        near("radius", before.figure.radius * by.scale, after.figure.radius, by.rounding(8.0))?;
        same_form(&before, &after, &by)?;

        // Rings of a ball, from the equator up.
        let points: Vec<[f64; 3]> = wall(1, 15, 1.0, 0.0, &noise)
            .iter()
            .enumerate()
            .map(|(i, p)| {
                let (s, c) = (small(i) * 0.1).sin_cos();
                let [x, y, z] = noise[i];
                [radius * c * p[0] + x, radius * c * p[1] + y, radius * s + z]
            })
            .collect();
        let moved: Vec<[f64; 3]> = points.iter().map(|p| by.moved(*p)).collect();
        let (before, after) = (fit::sphere(&points).unwrap(), fit::sphere(&moved).unwrap());
        same_place("centre", by.moved(before.figure.centre), after.figure.centre, by.rounding(16.0))?;
        near("radius", before.figure.radius * by.scale, after.figure.radius, by.rounding(16.0))?;
        same_form(&before, &after, &by)?;

        let points = wall(3, 5, radius, 0.0, &noise);
        let moved: Vec<[f64; 3]> = points.iter().map(|p| by.moved(*p)).collect();
        let (before, after) = (fit::cylinder(&points, None).unwrap(), fit::cylinder(&moved, None).unwrap());
        same_place("point", by.moved(before.figure.point), after.figure.point, by.rounding(16.0))?;
        near("radius", before.figure.radius * by.scale, after.figure.radius, by.rounding(8.0))?;
        let turned = by.turned(before.figure.direction);
        same_direction("direction", turned, after.figure.direction, by.rounding(4.0) / by.scale)?;
        same_form(&before, &after, &by)?;
    }

    #[test]
    fn moved_points_have_the_moved_cone_and_slot(by in movement(), noise in noise(18), radius in 9.0..25.0_f64) {
        let points = wall(3, 6, radius, 0.4, &noise);
        let moved: Vec<[f64; 3]> = points.iter().map(|p| by.moved(*p)).collect();
        let (before, after) = (fit::cone(&points, None).unwrap(), fit::cone(&moved, None).unwrap());
        same_place("point", by.moved(before.figure.point), after.figure.point, by.rounding(16.0))?;
        near("radius", before.figure.radius * by.scale, after.figure.radius, by.rounding(8.0))?;
        near("half angle", before.figure.half_angle, after.figure.half_angle, by.rounding(4.0) / by.scale)?;
        let along = by.turned(before.figure.direction).dot(&Vector3::from(after.figure.direction));
        prop_assert!(along > 0.9, "a cone opens one way");
        same_form(&before, &after, &by)?;

        let points: Vec<[f64; 2]> = noise.iter().enumerate().map(|(i, n)| around_slot(i, radius, 5.0, n)).collect();
        let moved: Vec<[f64; 2]> = points.iter().map(|p| by.moved_flat(*p)).collect();
        let (before, after) = (fit::slot(&points, None).unwrap(), fit::slot(&moved, None).unwrap());
        same_place("centre", by.moved_flat(before.figure.centre), after.figure.centre, by.rounding(16.0))?;
        near("width", before.figure.width() * by.scale, after.figure.width(), by.rounding(16.0))?;
        near("length", before.figure.length() * by.scale, after.figure.length(), by.rounding(32.0))?;
        same_form(&before, &after, &by)?;
    }

    #[test]
    fn moved_points_have_the_moved_zones(by in movement(), noise in noise(14), radius in 4.0..40.0_f64) {
        let points = flat(&wall(1, 14, radius, 0.0, &noise));
        let moved: Vec<[f64; 2]> = points.iter().map(|p| by.moved_flat(*p)).collect();
        let rounding = by.rounding(4.0);
        let (before, after) =
            (zone::minimum_zone_circle(&points).unwrap(), zone::minimum_zone_circle(&moved).unwrap());
        near("roundness", before.width * by.scale, after.width, rounding)?;
        let (before, after) =
            (zone::minimum_circumscribed_circle(&points).unwrap(), zone::minimum_circumscribed_circle(&moved).unwrap());
        near("circumscribed", before.radius * by.scale, after.radius, rounding)?;
        let (before, after) =
            (zone::maximum_inscribed_circle(&points).unwrap(), zone::maximum_inscribed_circle(&moved).unwrap());
        near("inscribed", before.radius * by.scale, after.radius, rounding)?;
        let (before, after) = (zone::straightness(&points).unwrap(), zone::straightness(&moved).unwrap());
        near("straightness", before.width * by.scale, after.width, rounding)?;
        let points: Vec<[f64; 3]> =
            noise.iter().enumerate().map(|(i, n)| [radius * small(i % 4), 9.0 * small(i / 4), n[2]]).collect();
        let moved: Vec<[f64; 3]> = points.iter().map(|p| by.moved(*p)).collect();
        let (before, after) = (zone::flatness(&points).unwrap(), zone::flatness(&moved).unwrap());
        near("flatness", before.width * by.scale, after.width, rounding)?;
    }

    #[test]
    fn a_point_on_the_figure_does_not_raise_the_residual(noise in noise(12), radius in 4.0..25.0_f64, turn in 0.0..6.2_f64) {
        let (s, c) = turn.sin_cos();
        let points = flat(&wall(1, 12, radius, 0.0, &noise));
        let before = fit::circle2d(&points).unwrap();
        let [x, y] = before.figure.centre;
        let r = before.figure.radius;
        let more = [&points[..], &[[x + r * c, y + r * s]]].concat();
        lower(&before, &fit::circle2d(&more).unwrap())?;

        let points = wall(3, 4, radius, 0.0, &noise);
        let before = fit::cylinder(&points, None).unwrap();
        let direction = Vector3::from(before.figure.direction);
        let side = direction.cross(&Vector3::new(c, s, 0.1)).normalize() * before.figure.radius;
        let on_wall = Vector3::from(before.figure.point) + direction * (5.0 * c) + side;
        let more = [&points[..], &[on_wall.into()]].concat();
        lower(&before, &fit::cylinder(&more, None).unwrap())?;

        let points = wall(3, 4, radius, 0.3, &noise);
        let before = fit::cone(&points, None).unwrap();
        let direction = Vector3::from(before.figure.direction);
        let side = direction.cross(&Vector3::new(c, s, 0.1)).normalize();
        let along = 4.0 * c;
        let across = side * (before.figure.radius + along * before.figure.half_angle.tan());
        let on_wall = Vector3::from(before.figure.point) + direction * along + across;
        let more = [&points[..], &[on_wall.into()]].concat();
        lower(&before, &fit::cone(&more, None).unwrap())?;

        let points: Vec<[f64; 2]> = (0..18).map(|i| around_slot(i, radius, 3.0, &noise[i % 12])).collect();
        let before = fit::slot(&points, None).unwrap();
        let figure = before.figure;
        let [x, y] = figure.direction;
        let along = figure.half_length * c;
        let on_side = [
            figure.centre[0] + along * x - figure.radius * y, figure.centre[1] + along * y + figure.radius * x
        ];
        let more = [&points[..], &[on_side]].concat();
        lower(&before, &fit::slot(&more, None).unwrap())?;

        let points: Vec<[f64; 3]> = noise
            .iter()
            .enumerate()
            .map(|(i, n)| (Vector3::new(small(i).cos(), small(i).sin(), 0.15 * small(i) - 0.8).normalize() * radius, n))
            .map(|(p, n)| (p + Vector3::from(*n)).into())
            .collect();
        let before = fit::sphere(&points).unwrap();
        let outward = Vector3::new(c, s, c * s).normalize() * before.figure.radius;
        let more = [&points[..], &[(Vector3::from(before.figure.centre) + outward).into()]].concat();
        lower(&before, &fit::sphere(&more).unwrap())?;

        let edge: Vec<[f64; 2]> = noise.iter().enumerate().map(|(i, n)| [radius * small(i) + n[0], n[1]]).collect();
        let before = fit::line2d(&edge).unwrap();
        let on_line = [0, 1].map(|axis| before.figure.point[axis] + radius * c * before.figure.direction[axis]);
        let more = [&edge[..], &[on_line]].concat();
        lower(&before, &fit::line2d(&more).unwrap())?;

        let points = rug(&noise);
        let before = fit::plane(&points).unwrap();
        let in_plane = Vector3::from(before.figure.point) + Vector3::from(before.figure.u) * c;
        let more = [&points[..], &[in_plane.into()]].concat();
        lower(&before, &fit::plane(&more).unwrap())?;
    }

    #[test]
    fn zones_lie_as_their_definitions_say(noise in noise(14), radius in 2.0..40.0_f64) {
        let points = flat(&wall(1, 14, radius, 0.0, &noise));
        let least_squares = fit::circle2d(&points).unwrap();
        let ring = zone::minimum_zone_circle(&points).unwrap();
        let around = zone::minimum_circumscribed_circle(&points).unwrap();
        let inside = zone::maximum_inscribed_circle(&points).unwrap();
        let slack = 1e-13 * radius;
        prop_assert!(ring.width <= least_squares.form + slack);
        prop_assert!(ring.width <= around.zone_width + slack && ring.width <= inside.zone_width + slack);
        prop_assert!(inside.radius <= least_squares.figure.radius && least_squares.figure.radius <= around.radius);
        // Contacts: two and two, or three and one.
        let (outer, inner) = (ring.active_outer.len(), ring.active_inner.len());
        prop_assert!(outer + inner >= 4 && outer >= 1 && inner >= 1, "{outer} {inner}");
        for p in &points {
            let to = |centre: [f64; 2]| (Vector2::from(*p) - Vector2::from(centre)).norm();
            prop_assert!(to(ring.centre) <= ring.outer_radius + slack && to(ring.centre) >= ring.inner_radius - slack);
            prop_assert!(to(around.centre) <= around.radius + slack && to(inside.centre) >= inside.radius - slack);
        }
        let points = rug(&noise);
        let edge: Vec<[f64; 2]> = points.iter().map(|p| [p[0] + 0.1 * p[1], p[2]]).collect();
        let strip = zone::straightness(&edge).unwrap();
        prop_assert!(strip.active_low.len() + strip.active_high.len() >= 3, "{strip:?}");
        prop_assert!(strip.width <= fit::line2d(&edge).unwrap().form + slack);
        let slab = zone::flatness(&points).unwrap();
        prop_assert!(slab.active_low.len() + slab.active_high.len() >= 4, "{slab:?}");
        prop_assert!(slab.width <= fit::plane(&points).unwrap().form + slack);
    }

    #[test]
    fn the_frame_of_exact_points_is_exact(
        angles in [-3.1..3.1, -1.2..1.2, -3.1..3.1], shift in [-1e3..1e3, -1e3..1e3, -1e3..1e3], tip in 0.0..3.0_f64
    ) {
        let [roll, pitch, yaw] = angles;
        let wanted = Rigid {
            rotation: Rotation3::from_euler_angles(roll, pitch, yaw).into_inner(),
            translation: shift.into(),
        };
        let hits = |part: &[[f64; 3]], approach: [f64; 3]| -> Vec<Hit> {
            let approach = wanted.rotation.tr_mul(&Vector3::from(approach)).into();
            part.iter().map(|p| Hit { tip: wanted.to_machine(*p), approach: Some(approach) }).collect()
        };
        let top = hits(&[[15.0, 12.0, tip], [115.0, 17.0, tip], [60.0, 70.0, tip], [20.0, 66.0, tip]], [0.0, 0.0, -1.0]);
        let left = hits(&[[-tip, 15.0, -5.0], [-tip, 66.0, -7.0]], [1.0, 0.0, 0.0]);
        let front = hits(&[[60.0, -tip, -6.0]], [0.0, 1.0, 0.0]);
        let round = |x: f64, y: f64| -> Vec<Hit> {
            let at = |turn: f64| [x + 4.0 * turn.cos(), y + 4.0 * turn.sin(), -5.0];
            hits(&[0.0, 1.7, 3.0, 4.4].map(at), [0.0, 0.0, -1.0])
        };
        let (first, second) = (round(20.0, 30.0), round(95.0, 61.0));
        let primary = Surface::top(&top);
        let origin = Hole { hits: &first, at: [20.0, 30.0] };
        for datums in [
            Datums::Faces { primary, secondary: Surface::left(&left), tertiary: Surface::front(&front) },
            Datums::LineHole { primary, secondary: Surface::left(&left), origin },
            Datums::TwoHoles { primary, origin, toward: Hole { hits: &second, at: [95.0, 61.0] } },
        ] {
            let found = frame(&datums, tip).unwrap().movement;
            prop_assert!((found.rotation - wanted.rotation).amax() < 1e-13, "{found:?}");
            prop_assert!((found.translation - wanted.translation).amax() < 5e-11, "{found:?}");
            let turned = found.rotation * found.rotation.transpose() - nalgebra::Matrix3::identity();
            prop_assert!(turned.amax() < 1e-14 && found.rotation.determinant() > 0.0, "{found:?}");
        }
    }
}

/// Hits along both sides and round both ends.
fn around_slot(index: usize, half_length: f64, radius: f64, noise: &[f64; 3]) -> [f64; 2] {
    let [a, b, _] = *noise;
    let along = half_length * (small(index % 5) - 2.0) / 2.5;
    match index {
        0..5 => [along + a, radius + b],
        5..10 => [along + a, -radius + b],
        _ => {
            let (s, c) = (small(index - 10) * 0.4 - 0.6).sin_cos();
            let side = if index.is_multiple_of(2) { 1.0 } else { -1.0 };
            [side * (half_length + radius * c) + a, radius * s + b]
        }
    }
}

fn lower<F, const N: usize>(before: &Fit<F, N>, after: &Fit<F, N>) -> Result<(), TestCaseError> {
    let (before, after) = (before.sum_of_squares(), after.sum_of_squares());
    prop_assert!(after <= before * (1.0 + 1e-9) + 1e-24, "{before:e} became {after:e}");
    Ok(())
}

/// Numbers of every kind: ordinary, the same, tiny, huge, not finite.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        8 => -100.0..100.0_f64,
        4 => (-3_i8..3).prop_map(f64::from),
        1 => any::<f64>(),
        1 => Just(0.0),
        1 => prop_oneof![
            Just(f64::NAN), Just(f64::INFINITY), Just(f64::NEG_INFINITY), Just(1e300), Just(-1e300), Just(1e-300),
            Just(f64::MIN_POSITIVE), Just(5e-324), Just(1e16), Just(1e69), Just(1e-69),
        ],
    ]
}

/// Clouds of points, among them lines, planes, repeated points and points that differ in their last digits.
fn any_points() -> impl Strategy<Value = Vec<[f64; 3]>> {
    let free = prop::collection::vec([any_number(), any_number(), any_number()], 0..14);
    let numbers = prop::collection::vec(-5_i8..5, 1..12);
    let ordinary = || prop::array::uniform3(-100.0..100.0_f64);
    let straight = (ordinary(), ordinary(), numbers).prop_map(|(from, along, steps)| {
        let at = |step: f64| std::array::from_fn(|axis| from[axis] + step * along[axis]);
        steps.into_iter().map(|step| at(f64::from(step))).collect()
    });
    let level = prop::collection::vec([-9.0..9.0_f64, -9.0..9.0].prop_map(|[x, y]| [x, y, 4.0]), 3..14);
    let digits =
        (ordinary(), prop::collection::vec(prop::array::uniform3(0_u8..4), 1..12)).prop_map(|(from, steps)| {
            let near = |value: f64, ulps: u8| f64::from_bits(value.to_bits() + u64::from(ulps));
            steps
                .into_iter()
                .map(|step| std::array::from_fn(|axis| near(from[axis], step[axis])))
                .collect()
        });
    prop_oneof![4 => free, 1 => straight, 1 => level, 1 => digits]
}

fn sound<F: std::fmt::Debug, const N: usize>(fit: Result<Fit<F, N>, FitError>) -> Result<(), TestCaseError> {
    match fit {
        // Every number that is not finite prints itself so.
        Ok(fit) => {
            let text = format!("{fit:?}");
            prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        }
        Err(error) => prop_assert!(!error.to_string().is_empty()),
    }
    Ok(())
}

fn sound_zone<Z: std::fmt::Debug>(zone: Result<Z, FitError>) -> Result<(), TestCaseError> {
    let text = format!("{:?}", zone.ok());
    prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
    Ok(())
}

proptest! {
    #![proptest_config(runs(150))]

    #[test]
    fn any_points_give_a_sound_answer(points in any_points(), other in any_points(), wild in prop::array::uniform3(any_number())) {
        let plane = flat(&points);
        sound(fit::line2d(&plane))?;
        sound(fit::line3d(&points))?;
        sound(fit::plane(&points))?;
        sound(fit::circle2d(&plane))?;
        sound(fit::circle3d(&points))?;
        sound(fit::sphere(&points))?;
        sound(fit::cylinder(&points, None))?;
        sound(fit::cone(&points, None))?;
        sound(fit::slot(&plane, None))?;
        sound(fit::parallel_lines(&plane, &flat(&other)))?;
        let [a, b, c] = wild;
        sound(fit::cylinder(&points, Some(&Cylinder { point: wild, direction: [b, c, a], radius: a })))?;
        sound(fit::cone(&points, Some(&Cone { point: wild, direction: [b, c, a], radius: a, half_angle: b })))?;
        sound(fit::slot(&plane, Some(&Slot { centre: [a, b], direction: [b, c], half_length: c, radius: a })))?;
        sound_zone(zone::straightness(&plane))?;
        sound_zone(zone::flatness(&points))?;
        sound_zone(zone::minimum_zone_circle(&plane))?;
        sound_zone(zone::minimum_circumscribed_circle(&plane))?;
        sound_zone(zone::maximum_inscribed_circle(&plane))?;
    }

    #[test]
    fn any_hits_give_a_sound_frame(top in any_points(), left in any_points(), front in any_points(), radius in any_number()) {
        let hits = |points: &[[f64; 3]]| -> Vec<Hit> {
            points.iter().map(|p| Hit { tip: *p, approach: (p[0] > 0.0).then_some([p[1], p[2], p[0]]) }).collect()
        };
        let [top, left, front] = [hits(&top), hits(&left), hits(&front)];
        let primary = Surface::top(&top);
        for datums in [
            Datums::Faces { primary, secondary: Surface::left(&left), tertiary: Surface::front(&front) },
            Datums::LineHole { primary, secondary: Surface::left(&left), origin: Hole { hits: &front, at: [1.0, 2.0] } },
            Datums::TwoHoles {
                primary,
                origin: Hole { hits: &left, at: [1.0, 2.0] },
                toward: Hole { hits: &front, at: [5.0, 2.0] },
            },
        ] {
            if let Ok(found) = frame(&datums, radius) {
                let text = format!("{found:?}");
                prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
            }
        }
    }
}

/// A million points of a kind; debug builds, which are far slower, take fewer.
fn many(at: impl Fn(f64) -> [f64; 3]) -> Vec<[f64; 3]> {
    let count = if cfg!(debug_assertions) { 3_000_u32 } else { 1_000_000 };
    (0..count).map(|i| at(f64::from(i))).collect()
}

/// All fits on the same points.
fn every_fit(points: &[[f64; 3]]) -> Result<(), TestCaseError> {
    let plane = flat(points);
    sound(fit::line2d(&plane))?;
    sound(fit::line3d(points))?;
    sound(fit::plane(points))?;
    sound(fit::circle2d(&plane))?;
    sound(fit::circle3d(points))?;
    sound(fit::sphere(points))?;
    sound(fit::cylinder(points, None))?;
    sound(fit::cone(points, None))?;
    sound(fit::slot(&plane, None))?;
    sound_zone(zone::straightness(&plane))?;
    sound_zone(zone::flatness(points))?;
    sound_zone(zone::minimum_circumscribed_circle(&plane))
}

/// The zones of circles, which look longest where there is no circle.
fn every_ring(points: &[[f64; 3]]) -> Result<(), TestCaseError> {
    let plane = flat(points);
    sound_zone(zone::minimum_zone_circle(&plane))?;
    sound_zone(zone::maximum_inscribed_circle(&plane))
}

#[test]
fn very_many_points_give_a_sound_answer() {
    let same = many(|_| [3.0, 4.0, 5.0]);
    let line = many(|i| [i, 2.0 * i, -i]);
    let face = many(|i| [(0.618 * i).fract(), (0.755 * i).fract(), 2.0]);
    let circle = many(|i| [i.cos(), i.sin(), 0.0]);
    let whole = |c: f64| (1e3 * c).round() / 1e3;
    let wall = many(|i| [10.0 * i.cos(), 10.0 * i.sin(), (0.618 * i).fract() * 9.0].map(whole));
    let filled = many(|i| [0.618 * i, 0.755 * i, 0.570 * i].map(f64::fract));
    for points in [&same, &line, &face, &wall] {
        every_fit(points).unwrap();
    }
    for points in [&same, &circle, &wall] {
        every_ring(points).unwrap();
    }
    // Where no figure is near, the search goes through all its starts.
    if cfg!(not(debug_assertions)) {
        every_fit(&circle).unwrap();
        every_fit(&filled).unwrap();
        every_ring(&line).unwrap();
        every_ring(&face).unwrap();
        every_ring(&filled).unwrap();
    }
}
