//! Points of the check plate, reduced again: what is fitted to them is what the plate is.

use super::*;
use crate::exercise::model::{Axis, Quantity};
use crate::metrology::fit;
use crate::procedure::tests::plate::{dec, exercise, plate};

/// The plate with more deviations, so that nothing is at its nominal by chance.
fn off_plate() -> Plate {
    let mut plate = plate();
    for (key, of, by) in [
        ("slot", Quantity::X, "0.03"),
        ("slot", Quantity::Angle, "0.2"),
        ("slot", Quantity::Length, "0.05"),
        ("slot", Quantity::Width, "-0.02"),
        ("edge", Quantity::X, "0.04"),
        ("edge", Quantity::Angle, "-0.1"),
        ("step", Quantity::Z, "-0.03"),
        ("chamfer", Quantity::Angle, "0.15"),
        ("ball", Quantity::Z, "0.02"),
        ("ball", Quantity::Form, "0.008"),
        ("ball", Quantity::Diameter, "0.01"),
        ("reamed", Quantity::X, "-0.06"),
        ("reamed", Quantity::Cylindricity, "0.01"),
        ("touch", Quantity::X, "-0.07"),
    ] {
        plate
            .planted
            .entry(key.parse().unwrap())
            .or_default()
            .insert(of, dec(by));
    }
    plate
}

const SETTING: Setting = Setting {
    angle_deg: 17.0,
    tilt_deg: [0.3, -0.2],
    offset: [210.0, -35.0, -400.0],
};

/// Tip centres and directions of a feature, brought back to the part frame by the known setting.
fn of(points: &[ProbedPoint], feature: &str) -> Vec<([f64; 3], [f64; 3])> {
    let rows = SETTING.rows();
    let back = |v: [f64; 3]| [0, 1, 2].map(|j| (0..3).map(|i| rows[i][j] * v[i]).sum::<f64>());
    let mine = points.iter().filter(|p| p.feature == feature);
    mine.map(|p| (back([0, 1, 2].map(|i| p.tip[i] - SETTING.offset[i])), back(p.direction)))
        .collect()
}

fn probed(noise: f64) -> Vec<ProbedPoint> {
    probed_points(
        &exercise(),
        &off_plate(),
        &SETTING,
        noise,
        &mut Sampler::new(5, "points"),
    )
}

/// Surface points: tip centres less the tip radius of 2 along the direction.
fn surface(points: &[ProbedPoint], feature: &str) -> Vec<[f64; 3]> {
    of(points, feature)
        .iter()
        .map(|(p, n)| [0, 1, 2].map(|i| p[i] - 2.0 * n[i]))
        .collect()
}

fn near(found: f64, expected: f64) {
    // Source: what was planted in the plate; tolerance: a fit that has converged.
    assert!((found - expected).abs() < 1e-6, "{found}, not {expected}");
}

fn plan(points: &[[f64; 3]]) -> Vec<[f64; 2]> {
    points.iter().map(|p| [p[0], p[1]]).collect()
}

#[test]
fn datum_touches_are_tip_centres_outside_their_faces() {
    let points = probed(0.0);
    for (letter, axis, tip, count) in [("A", 2, 2.0, 4), ("B", 0, -2.0, 2), ("C", 1, -2.0, 1)] {
        let found = of(&points, letter);
        assert_eq!(found.len(), count);
        for (p, _) in found {
            near(p[axis], tip);
        }
    }
}

#[test]
fn holes_and_pins_come_back() {
    let points = probed(0.0);
    let bore = fit::circle2d(&plan(&surface(&points, "bore"))).unwrap();
    near(bore.figure.centre[0], 70.1);
    near(bore.figure.centre[1], 39.95);
    near(2.0 * bore.figure.radius, 20.02);
    near(bore.form, 0.004);
    // The tip is inside a hole and outside a pin.
    let centres = |key: &str| {
        let tips: Vec<[f64; 3]> = of(&points, key).iter().map(|(p, _)| *p).collect();
        fit::circle2d(&plan(&tips)).unwrap().figure.radius
    };
    near(centres("bore"), 10.01 - 2.0);
    near(centres("pin"), 4.0 + 2.0);
    let ball = fit::sphere(&surface(&points, "ball")).unwrap();
    near(ball.figure.centre[2], 5.02);
    near(2.0 * ball.figure.radius, 12.01);
    near(ball.form, 0.008);
    // Six points fit more than one cylinder: the nominal says which.
    let nominal = fit::Cylinder {
        point: [30.0, 50.0, -7.5],
        direction: [0.0, 0.0, 1.0],
        radius: 5.0,
    };
    let reamed = fit::cylinder(&surface(&points, "reamed"), Some(&nominal)).unwrap();
    near(2.0 * reamed.figure.radius, 10.0);
    near(reamed.form, 0.01);
    let lean = reamed.figure.direction[0].hypot(reamed.figure.direction[1]);
    near(15.0 * lean, 0.012);
    let at_top =
        reamed.figure.point[0] - reamed.figure.point[2] * reamed.figure.direction[0] / reamed.figure.direction[2];
    near(at_top, 29.94);
}

#[test]
fn slots_lines_and_points_come_back() {
    let points = probed(0.0);
    let slot = fit::slot(&plan(&surface(&points, "slot")), None).unwrap().figure;
    near(slot.centre[0], 50.03);
    near(slot.centre[1], 20.0);
    near(slot.length(), 30.05);
    near(slot.width(), 9.98);
    near(slot.direction[1].atan2(slot.direction[0]).to_degrees(), 30.2);
    let edge = surface(&points, "edge");
    let line = fit::line2d(&plan(&edge)).unwrap();
    near(line.form, 0.006);
    near(
        line.figure.direction[1]
            .atan2(line.figure.direction[0])
            .to_degrees()
            .rem_euclid(180.0),
        89.9,
    );
    let x_at_middle =
        line.figure.point[0] + (30.0 - line.figure.point[1]) * line.figure.direction[0] / line.figure.direction[1];
    near(x_at_middle, 100.04);
    for p in surface(&points, "touch") {
        near(p[0], 99.93);
    }
}

#[test]
fn faces_have_their_place_form_and_orientation() {
    let points = probed(0.0);
    let spread = |values: Vec<f64>| {
        let (low, high) = values
            .iter()
            .fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
        high - low
    };
    let step = surface(&points, "step");
    let plane = fit::plane(&step).unwrap();
    near(step.iter().map(|p| p[2]).sum::<f64>() / 4.0, -8.03);
    near(plane.form, 0.01);
    near(spread(step.iter().map(|p| p[2]).collect()), 0.02);
    let wall = surface(&points, "wall");
    near(spread(wall.iter().map(|p| p[0]).collect()), 0.015);
    let chamfer = fit::plane(&surface(&points, "chamfer")).unwrap().figure;
    near(chamfer.normal[2].abs().acos().to_degrees(), 45.15);
}

#[test]
fn noise_is_that_of_the_machine() {
    let (clean, noisy) = (probed(0.0), probed(1.0));
    let mut squares = 0.0;
    for (a, b) in clean.iter().zip(&noisy) {
        let d = [0, 1, 2].map(|i| b.tip[i] - a.tip[i]);
        let along = dot(d, a.direction);
        near(dot(d, d), along * along);
        squares += along * along;
    }
    let count = clean.iter().map(|_| 1.0).sum::<f64>();
    // Source: repeatability 0.002; tolerance five standard errors of a standard deviation.
    let found = (squares / count).sqrt();
    assert!((found / 0.002 - 1.0).abs() < 5.0 / (2.0 * count).sqrt(), "{found}");
}

#[test]
fn every_count_gives_as_many_touches_and_loses_no_form() {
    for count in 3..=13 {
        let mut exercise = exercise();
        for feature in &mut exercise.features {
            feature.points = feature.points.max(count);
        }
        let points = probed_points(&exercise, &off_plate(), &SETTING, 0.0, &mut Sampler::new(5, "points"));
        for feature in &exercise.features {
            let touches = surface(&points, feature.key.as_str());
            assert_eq!(
                touches.len(),
                usize::try_from(feature.points).unwrap(),
                "{}",
                feature.key
            );
            let form = match feature.key.as_str() {
                "bore" => fit::circle2d(&plan(&touches)).unwrap().form,
                "step" => fit::plane(&touches).unwrap().form,
                "edge" => fit::line2d(&plan(&touches)).unwrap().form,
                "ball" => fit::sphere(&touches).unwrap().form,
                _ => continue,
            };
            let own = [("bore", 0.004), ("step", 0.01), ("edge", 0.006), ("ball", 0.008)];
            let expected = own.iter().find(|(k, _)| *k == feature.key.as_str()).unwrap().1;
            near(form, expected);
        }
    }
}

#[test]
fn the_table_is_read_back() {
    let points = probed(1.0);
    let table = table(&points, 3).unwrap();
    let mut lines = table.lines();
    assert_eq!(lines.next(), Some("feature,x,y,z,i,j,k"));
    let first: Vec<&str> = lines.next().unwrap().split(',').collect();
    assert_eq!(first[0], "A");
    for (text, value) in first[1..4].iter().zip(points[0].tip) {
        assert!((text.parse::<f64>().unwrap() - value).abs() <= 0.5e-4 + 1e-12);
        assert_eq!(text.split_once('.').unwrap().1.len(), 4);
    }
    assert_eq!(table.lines().count(), points.len() + 1);
}

#[test]
fn a_part_clamped_by_eye_is_on_the_table() {
    let setting = Setting::by_eye(LengthUnit::Inch, &mut Sampler::new(1, "setting"));
    assert!(setting.angle_deg.abs() <= 6.0 && setting.tilt_deg.iter().all(|t| t.abs() <= 0.05));
    assert!((150.0..450.0).contains(&(setting.offset[0] * 25.4)));
    // A right-handed rotation.
    let rows = SETTING.rows();
    near(dot(cross(rows[0], rows[1]), rows[2]), 1.0);
    assert_eq!(Axis::Z.index(), 2);
}
