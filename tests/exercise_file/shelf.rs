//! The exercises that come with the program are read without an error and written back as they were.

use std::fs;
use std::path::Path;

use platemark::exercise::file::{Problem, Severity, read_exercise, read_plates, write_exercise, write_plates};

fn errors(problems: &[Problem]) -> Vec<String> {
    problems
        .iter()
        .filter(|p| p.severity == Severity::Error)
        .map(ToString::to_string)
        .collect()
}

#[test]
fn every_shipped_exercise_and_its_plates_go_round() {
    let shelf = Path::new(env!("CARGO_MANIFEST_DIR")).join("exercises");
    let mut seen = 0;
    for folder in fs::read_dir(shelf).unwrap() {
        let folder = folder.unwrap().path();
        let name = folder.join("exercise.toml").display().to_string();
        let (exercise, problems) = read_exercise(&name, &fs::read_to_string(&name).unwrap());
        assert_eq!(errors(&problems), [""; 0]);
        let exercise = exercise.unwrap();
        assert_eq!(folder.file_name().unwrap().to_str(), Some(exercise.code.as_str()));
        let written = write_exercise(&exercise);
        let (again, problems) = read_exercise("written", &written);
        assert_eq!(errors(&problems), [""; 0]);
        assert_eq!(again.as_ref(), Some(&exercise));
        assert_eq!(write_exercise(&again.unwrap()), written);

        let name = folder.join("plates.toml").display().to_string();
        let (plates, problems) = read_plates(&name, &fs::read_to_string(&name).unwrap(), &exercise);
        assert_eq!(errors(&problems), [""; 0]);
        let plates = plates.unwrap();
        assert!(!plates.plates.is_empty());
        let (again, problems) = read_plates("written", &write_plates(&plates), &exercise);
        assert_eq!(errors(&problems), [""; 0]);
        assert_eq!(again, Some(plates));
        seen += 1;
    }
    assert!(seen > 0);
}
