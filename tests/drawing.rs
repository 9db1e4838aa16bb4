//! The drawings of the exercises that are shipped: readable on a screen, on an upright page and on one across.

use std::fs;
use std::path::Path;

use platemark::exercise::drawing::{DrawingOptions, PaperBox, Picture, drawing_pages, plan_view};
use platemark::exercise::file::read_exercise;
use platemark::exercise::model::Exercise;

fn shipped() -> Vec<Exercise> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("exercises");
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path().join("exercise.toml");
        if path.exists() {
            let text = fs::read_to_string(&path).unwrap();
            found.push(read_exercise(&path.display().to_string(), &text).0.unwrap());
        }
    }
    assert!(found.len() >= 6, "the shipped exercises");
    found
}

fn meet(a: &PaperBox, b: &PaperBox) -> bool {
    (0..2).all(|i| a.min[i] < b.max[i] && b.min[i] < a.max[i])
}

/// No lettering meets another or lies on the plan view.
fn check_boxes(exercise: &Exercise, picture: &Picture, has_plan: bool) {
    for (i, a) in picture.lettering.iter().enumerate() {
        assert!(
            !has_plan || !meet(a, &picture.plate),
            "{}: {a:?} lies on the plate",
            exercise.code
        );
        for b in &picture.lettering[i + 1..] {
            assert!(!meet(a, b), "{}: {a:?} meets {b:?}", exercise.code);
        }
    }
}

/// Every characteristic has one balloon, written after `before`.
fn check_balloons(exercise: &Exercise, svg: &str, before: &str, after: &str) {
    for c in &exercise.characteristics {
        let balloon = format!("{before}{}{after}", c.no);
        assert_eq!(svg.matches(&balloon).count(), 1, "{}: balloon {}", exercise.code, c.no);
    }
}

fn fits(exercise: &Exercise, picture: &Picture, room_mm: [f64; 2]) {
    let fits = (0..2).all(|i| picture.size_mm[i] <= room_mm[i]);
    assert!(fits, "{}: {:?} in {room_mm:?}", exercise.code, picture.size_mm);
}

#[test]
fn no_lettering_of_a_shipped_drawing_meets_another_and_every_number_has_its_balloon() {
    for exercise in shipped() {
        for options in [DrawingOptions::screen(), DrawingOptions::desk()] {
            let picture = plan_view(&exercise, &options);
            check_boxes(&exercise, &picture, true);
            check_balloons(&exercise, &picture.svg, "id=\"b-", "\" href");
            fits(&exercise, &picture, options.room_mm);
        }
    }
}

#[test]
fn a_shipped_drawing_fits_on_a4_and_letter_at_its_scale() {
    for exercise in shipped() {
        for options in [DrawingOptions::a4_across(), DrawingOptions::letter_across()] {
            let pages = drawing_pages(&exercise, &options);
            assert!((1..=2).contains(&pages.len()), "{}", exercise.code);
            for (i, page) in pages.iter().enumerate() {
                check_boxes(&exercise, page, i == 0);
                fits(&exercise, page, options.room_mm);
                assert_eq!(page.scale, pages[0].scale);
            }
            let all: String = pages.iter().map(|p| p.svg.as_str()).collect();
            check_balloons(&exercise, &all, "text-anchor=\"middle\">", "</text>\n</g>");
            // The plate is as long on paper as the scale says.
            let long = |k: usize| exercise.body.outline.iter().map(move |p| p[k]);
            let width = long(0).max().unwrap() - long(0).min().unwrap();
            let width: f64 = exercise.units.to_mm(width).to_string().parse().unwrap();
            let drawn = pages[0].plate.max[0] - pages[0].plate.min[0];
            assert!(
                (drawn - width * pages[0].scale.factor()).abs() < 0.01,
                "{}",
                exercise.code
            );
        }
    }
}

#[test]
fn every_number_of_a_shipped_exercise_has_its_cut_out() {
    for exercise in shipped() {
        for i in 0..exercise.characteristics.len() {
            let options = DrawingOptions::around(i);
            let picture = plan_view(&exercise, &options);
            assert_eq!(format!("{:?}", picture.size_mm), format!("{:?}", options.room_mm));
            let [balloon] = picture.lettering.as_slice() else {
                panic!("one balloon")
            };
            let window = picture
                .svg
                .split("viewBox=\"")
                .nth(1)
                .and_then(|t| t.split('"').next())
                .unwrap();
            let window: Vec<f64> = window.split(' ').map(|n| n.parse().unwrap()).collect();
            let inside = |k: usize| balloon.min[k] >= window[k] && balloon.max[k] <= window[k] + window[k + 2];
            assert!(
                inside(0) && inside(1),
                "{} {}: the balloon is in the cut-out",
                exercise.code,
                exercise.characteristics[i].no
            );
        }
    }
}
