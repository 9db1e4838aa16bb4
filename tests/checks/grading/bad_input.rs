//! Reports of which little or nothing can be said: an honest answer, figures that are figures, and work that is bounded.

use platemark::exercise::file::{read_exercise, read_plates};
use platemark::grading::diagnosis::Diagnoser;
use platemark::grading::diagnosis::priors::Priors;
use platemark::report::model::{Report, ReportItem};
use platemark::units::Reading;
use serde_json::Value;

/// A shipped exercise with its plates and the careful report of its first plate: number and value by line.
struct Shelf {
    exercise: String,
    plates: String,
    serial: String,
    careful: Vec<(String, String)>,
}

fn shelf(code: &str) -> Shelf {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("exercises")
        .join(code);
    let file = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    let serial = format!("{code}-01");
    let report = file(&format!("reports/{serial}--careful.csv"));
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        (cells[0].to_owned(), cells[1].to_owned())
    };
    Shelf {
        exercise: file("exercise.toml"),
        plates: file("plates.toml"),
        careful: report.lines().skip(1).map(row).collect(),
        serial,
    }
}

impl Shelf {
    /// The grade of a report whose values are `value` of the line and of what a careful pair wrote there.
    fn grade(&self, value: &dyn Fn(usize, &str) -> String) -> Value {
        let mut text = String::from("no,measured,call\n");
        for (i, (no, careful)) in self.careful.iter().enumerate() {
            text.push_str(&format!("{no},{},\n", value(i, careful)));
        }
        let options = ["--serial", &self.serial, "--json", "--decimal", "."];
        let outcome = super::command(&self.exercise, &self.plates, &options, &[("r.csv", text.as_bytes())]);
        outcome.grades().remove(0)
    }
}

/// No figure that is none: JSON writes those as nothing, which only some fields may be.
fn is_sound(grade: &Value) {
    let diagnosis = &grade["diagnosis"];
    let p = &diagnosis["probability"];
    assert!(
        p.is_null() || p.as_f64().is_some_and(|p| (0.0..=1.0).contains(&p)),
        "{p}"
    );
    let items = grade["items"].as_array().unwrap();
    for item in items.iter().filter(|i| !i["measured"].is_null()) {
        for key in ["nominal", "deviation", "en", "measurement_score"] {
            assert!(item[key].is_f64(), "{key}: {item}");
        }
    }
    for key in ["as_reported", "with_follow_through", "final"] {
        let mark = &grade["marks"][key];
        assert!(
            mark.as_f64().is_some_and(|m| (0.0..=100.0).contains(&m)),
            "{key}: {mark}"
        );
    }
}

/// A number that has nothing to do with the plate, the same each time (a linear congruential generator's, worked here).
fn odd(i: usize) -> String {
    let mut state = 12_345_u64 + u64::try_from(i).unwrap() * 7919;
    for _ in 0..5 {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
    }
    format!("{}.{:03}", (state >> 40) % 90, (state >> 20) % 1000)
}

/// One report of an exercise: what its values are, and which states are honest.
fn check(code: &str, value: &dyn Fn(usize, &str) -> String, honest: &[&str]) {
    let grade = shelf(code).grade(value);
    is_sound(&grade);
    let state = grade["diagnosis"]["state"].as_str().unwrap();
    assert!(honest.contains(&state), "{code}: {}", grade["diagnosis"]);
}

const CODES: [&str; 2] = ["SB-11", "PC-21"];

#[test]
fn too_little_is_no_fault() {
    for code in CODES {
        check(code, &|_, _| String::new(), &["not-looked-into"]);
        let three = |i: usize, careful: &str| if i < 3 { careful.to_owned() } else { String::new() };
        check(code, &three, &["clean", "unexplained"]);
        let unlike = |i: usize, _: &str| match i {
            0 => "9.737".to_owned(),
            4 => "3.212".to_owned(),
            7 => "31.903".to_owned(),
            _ => String::new(),
        };
        check(code, &unlike, &["unexplained", "clean", "fault-suspected"]);
        let one = |i: usize, careful: &str| if i == 6 { careful.to_owned() } else { String::new() };
        check(code, &one, &["clean", "unexplained"]);
    }
}

#[test]
fn values_that_fit_nothing_are_left_unexplained() {
    for code in CODES {
        check(code, &|_, _| "10.000".to_owned(), &["unexplained"]);
        check(code, &|i, _| odd(i), &["unexplained"]);
        check(code, &|_, _| "1e300".to_owned(), &["unexplained"]);
        check(
            code,
            &|i, careful| if i % 2 == 0 { odd(i) } else { careful.to_owned() },
            &["unexplained"],
        );
    }
}

#[test]
fn one_value_beyond_all_reason_spoils_itself_alone() {
    for code in CODES {
        let shelf = shelf(code);
        for wrong in ["1e300", "-1e300", "1.7e308", "99999999999999999999"] {
            let grade = shelf.grade(&|i, careful| if i == 4 { wrong.to_owned() } else { careful.to_owned() });
            is_sound(&grade);
            let diagnosis = &grade["diagnosis"];
            // Nothing but this one value may be blamed.
            let no = &shelf.careful[4].0;
            for fault in diagnosis["faults"].as_array().unwrap() {
                assert_eq!(fault["parameters"]["item"], **no, "{code} {wrong}: {diagnosis}");
            }
            let scores = grade["items"].as_array().unwrap();
            let lost = scores
                .iter()
                .filter(|i| i["no"] != **no && i["measurement_score"] == 0.0)
                .count();
            assert_eq!(lost, 0, "{code} {wrong}");
        }
    }
}

/// A plate of so many holes, each with three characteristics.
fn many(holes: usize) -> (String, String) {
    let head = r#"format = 1
code = "MANY-1"
title = "Far too many"
units = "mm"
decimals = 3
general_tolerance = "±0.05"
[body]
outline = [[0, 0], [600, 0], [600, 600], [0, 600]]
thickness = 20
material = "steel"
[datum_frame]
A = { face = "top", sets = "z", at = 0, touches = [[8, 8], [492, 8], [492, 492], [8, 492]] }
B = { face = "front", sets = "y", at = 0, touches = [[10, -8], [490, -8]] }
C = { face = "left", sets = "x", at = 0, touches = [[30, -8]] }
[measurement]
expanded_uncertainty = 0.008
per_length = 4e-6
repeatability = 0.001
tip_diameter = 2.0
"#;
    let mut exercise = head.to_owned();
    for i in 0..holes {
        let (x, y) = (20 + 48 * (i % 10), 20 + 48 * (i / 10));
        exercise.push_str(&format!(
            "[[feature]]\nkey = \"h-{i}\"\nkind = \"circle\"\nat = [{x}, {y}, 0]\ndiameter = {}\n",
            6 + i % 5
        ));
        for (k, of) in ["diameter", "x", "y"].iter().enumerate() {
            let no = 3 * i + k + 1;
            exercise.push_str(&format!("[[feature.characteristic]]\nno = \"{no}\"\nof = \"{of}\"\n"));
        }
    }
    let plates = "format = 1\nexercise = \"MANY-1\"\n[[plate]]\nserial = \"MANY-1-1\"\nkind = \"virtual\"\n".to_owned();
    (exercise, plates)
}

#[test]
fn work_is_bounded_however_many_values_fit_nothing() {
    // Of fifteen holes and of four: hypotheses that were weighed exactly, as the answer says.
    for holes in [4, 15] {
        let (exercise, plates) = many(holes);
        let exercise = read_exercise("exercise.toml", &exercise).0.unwrap();
        let plates = read_plates("plates.toml", &plates, &exercise).0.unwrap();
        let diagnoser = Diagnoser::new(&exercise, &plates.plates, Priors::default()).unwrap();
        let item = |i: usize, value: String| ReportItem {
            no: exercise.characteristics[i].no.clone(),
            measured: Some(value.parse::<Reading>().unwrap()),
            call: None,
        };
        let report = Report {
            items: (0..3 * holes).map(|i| item(i, odd(i))).collect(),
        };
        let finding = diagnoser.diagnose(&plates.plates[0].serial, &report);
        // Tolerance: three times what is weighed of 28 ordinary characteristics; without a bound it would be millions.
        assert!(finding.weighed < 1500, "{holes}: {}", finding.weighed);
        assert!(finding.faults.is_empty(), "{holes}: {finding:?}");
        assert!(finding.left_out.is_finite() && (0.0..=1.0).contains(&finding.left_out));
    }
}

#[test]
fn a_print_of_absurdly_many_characteristics_is_graded_and_not_looked_into() {
    let (exercise, plates) = many(60);
    let rows: String = (0..180).map(|i| format!("{},{},\n", i + 1, odd(i))).collect();
    let text = format!("no,measured,call\n{rows}");
    let options = ["--serial", "MANY-1-1", "--json", "--decimal", "."];
    let grades = super::command(&exercise, &plates, &options, &[("r.csv", text.as_bytes())]).grades();
    is_sound(&grades[0]);
    assert_eq!(grades[0]["diagnosis"]["state"], "not-looked-into");
    assert_eq!(grades[0]["items"].as_array().unwrap().len(), 180);
}
