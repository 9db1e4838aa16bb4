//! The drawings of the exercises that are shipped: readable on a screen, on an upright page and on one across.

use std::fs;
use std::path::Path;

use platemark::exercise::drawing::{DrawingOptions, PaperBox, Picture, plan_view};
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

fn check(exercise: &Exercise, picture: &Picture) {
    for (i, a) in picture.lettering.iter().enumerate() {
        assert!(!meet(a, &picture.plate), "{}: {a:?} lies on the plate", exercise.code);
        for b in &picture.lettering[i + 1..] {
            assert!(!meet(a, b), "{}: {a:?} meets {b:?}", exercise.code);
        }
    }
    for c in &exercise.characteristics {
        let balloon = format!("id=\"b-{}\" href=\"#c-{}\"", c.no, c.no);
        assert_eq!(
            picture.svg.matches(&balloon).count(),
            1,
            "{}: balloon {}",
            exercise.code,
            c.no
        );
    }
}

#[test]
fn no_lettering_of_a_shipped_drawing_meets_another_and_every_number_has_its_balloon() {
    for exercise in shipped() {
        for options in [
            DrawingOptions::screen(),
            DrawingOptions::page_upright(),
            DrawingOptions::page_across(),
        ] {
            let picture = plan_view(&exercise, &options);
            check(&exercise, &picture);
            for i in 0..2 {
                assert!(
                    picture.size_mm[i] <= options.room_mm[i],
                    "{}: {:?}",
                    exercise.code,
                    picture.size_mm
                );
            }
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
