//! Grading against cases that were worked apart from the program, and the command line that prints it.
//!
//! The plate of `tests/data/grading` has limits that are hit exactly, a hole and a pin with a bonus at maximum material,
//! a slot whose angle means the same every half turn, and plates that are virtual, calibrated, shop-made and unknown.

use std::collections::BTreeMap;

use clap::Parser;
use platemark::cli::Streams;
use platemark::cli::grade::{GradeArgs, run};
use platemark::exercise::file::{read_exercise, read_plates};
use platemark::exercise::model::Exercise;
use platemark::exercise::plate::Plates;
use platemark::grading::grade::Grade;
use platemark::grading::{self, GradeInput};
use platemark::report::assemble::{Field, FromForm, from_form};
use platemark::report::table::ReadOptions;
use rust_decimal::Decimal;
use serde_json::Value;

const EXERCISE: &str = include_str!("../data/grading/exercise.toml");
const PLATES: &str = include_str!("../data/grading/plates.toml");
const CASES: &str = include_str!("../data/grading/cases.json");

fn exercise(rule: &str) -> Exercise {
    let text = EXERCISE.replace("simple-acceptance", rule);
    let (exercise, problems) = read_exercise("exercise.toml", &text);
    assert!(exercise.is_some(), "{problems:?}");
    exercise.unwrap()
}

fn plates(exercise: &Exercise) -> Plates {
    read_plates("plates.toml", PLATES, exercise).0.unwrap()
}

fn graded(rule: &str, serial: &str, fields: &[Field], hand: &str) -> Grade {
    let exercise = exercise(rule);
    let plates = plates(&exercise);
    let assembled = match from_form(&exercise, fields, &ReadOptions::default()) {
        FromForm::Report(assembled) => Some(assembled),
        FromForm::Problems(_) | FromForm::AskDecimalMark(_) => None,
    };
    let assembled = assembled.unwrap();
    let hand_marks = BTreeMap::from([("Clean".to_owned(), hand.parse::<Decimal>().unwrap())]);
    grading::grade(&GradeInput {
        name: "r.csv",
        exercise: &exercise,
        plate: plates.by_serial(&serial.parse().unwrap()).unwrap(),
        rules: &exercise.marks,
        report: &assembled.report,
        hand_marks: &hand_marks,
    })
}

fn field(no: &str, measured: &str, call: &str) -> Field {
    Field {
        no: no.to_owned(),
        measured: measured.to_owned(),
        call: call.to_owned(),
    }
}

fn fields(case: &Value) -> Vec<Field> {
    let cell = |row: &Value, i: usize| row[i].as_str().unwrap_or_default().to_owned();
    let rows = case["rows"].as_array().unwrap();
    rows.iter()
        .map(|row| field(&cell(row, 0), &cell(row, 1), &cell(row, 2)))
        .collect()
}

#[test]
fn cases_worked_apart_from_the_program() {
    let cases: Value = serde_json::from_str(CASES).unwrap();
    let cases = cases["cases"].as_array().unwrap();
    assert!(cases.len() > 50);
    for (i, case) in cases.iter().enumerate() {
        let text = |key: &str| case[key].as_str().unwrap();
        let hand = text("hand").replace("15/2", "7.5");
        let grade = graded(text("rule"), text("serial"), &fields(case), &hand);
        let shown = serde_json::to_value(&grade).unwrap();
        for item in shown["items"].as_array().unwrap() {
            let expected = &case["items"][item["no"].as_str().unwrap()];
            for (key, wanted) in expected.as_object().unwrap() {
                let same = match (key.as_str(), wanted.as_f64(), item[key].as_f64()) {
                    ("en", Some(w), Some(g)) => (w - g).abs() <= 1e-9 * w.abs().max(1e-3),
                    _ => *wanted == item[key],
                };
                assert!(
                    same,
                    "case {i}, number {}, {key}: wanted {wanted}, given {}\n{case}",
                    item["no"], item[key]
                );
            }
        }
        assert_eq!(shown["marks"]["as_reported"], case["mark"], "case {i}: {case}");
        add_up(&grade);
    }
}

/// The lines of a mark add up to it exactly.
fn add_up(grade: &Grade) {
    if let Some(mark) = grade.marks.r#final {
        let sum: Decimal = grade.marks.lines.iter().map(|l| l.points).sum();
        assert_eq!(sum, mark, "{:?}", grade.marks.lines);
    } else {
        assert!(grade.marks.lines[0].text.contains("No mark"), "{:?}", grade.marks.lines);
    }
}

/// 25.05 against 25 +0.05 conforms, however it was computed in binary; by the rules, exactly limit - U conforms and
/// exactly limit + U is undecided (JCGM 106 and ISO 14253-1 as `spec` of the format reads them).
#[test]
fn limits_are_decimal() {
    for (rule, measured, call) in [
        ("simple-acceptance", "25.05", "conforming"),
        ("simple-acceptance", "25.0500", "conforming"),
        ("simple-acceptance", "25.050000000000000000001", "nonconforming"),
        ("guarded-acceptance", "25.042", "conforming"),
        ("guarded-acceptance", "25.0420001", "nonconforming"),
        ("guarded-acceptance", "25.008", "conforming"),
        ("three-way", "25.042", "conforming"),
        ("three-way", "25.0421", "undecided"),
        ("three-way", "25.058", "undecided"),
        ("three-way", "25.0581", "nonconforming"),
        ("three-way", "24.992", "undecided"),
        ("three-way", "24.9919", "nonconforming"),
    ] {
        let grade = graded(rule, "CK-01-01", &[field("1", measured, call)], "0");
        let own = grade.items[0].call_by_own_value.map(|c| c.as_str());
        assert_eq!(own, Some(call), "{rule} {measured}");
    }
}

#[test]
fn a_value_out_of_all_reason_is_graded() {
    for measured in ["1e300", "-1e300", "1e-300", "0", "99999999999999999999"] {
        let row = format!("no,measured,call\n1,{measured},nonconforming\n");
        let (status, out, err) = command(&["--serial", "CK-01-01", "--json"], &[("r.csv", row.as_bytes())]);
        assert_eq!(status, "0", "{measured}: {err}");
        let grade: Value = serde_json::from_str(&out).unwrap();
        assert_eq!(grade["items"][0]["measurement_score"], 0.0);
        assert_eq!(grade["items"][0]["call_by_own_value"], "nonconforming");
    }
}

#[derive(Debug, Parser)]
struct Command {
    #[command(flatten)]
    args: GradeArgs,
}

/// Status, output and errors of `platemark grade` on the fixture, with these options and reports.
fn command(options: &[&str], reports: &[(&str, &[u8])]) -> (String, String, String) {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    std::fs::write(path("exercise.toml"), EXERCISE).unwrap();
    std::fs::write(path("plates.toml"), PLATES).unwrap();
    let mut words = vec!["grade".to_owned(), "--exercise".to_owned(), path("exercise.toml")];
    words.extend(["--plates".to_owned(), path("plates.toml")]);
    words.extend(
        options
            .iter()
            .map(|o| o.replace("FOLDER", folder.path().to_str().unwrap())),
    );
    for (name, bytes) in reports {
        std::fs::write(path(name), bytes).unwrap();
        if *name != "serials.csv" {
            words.push(path(name));
        }
    }
    let command = Command::parse_from(words);
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let mut streams = Streams {
        input: Box::new(std::io::empty()),
        output: Box::new(&mut out),
        errors: Box::new(&mut err),
    };
    let status = run(&command.args, &mut streams);
    drop(streams);
    let mut err = String::from_utf8(err).unwrap();
    let status = match status {
        Ok(_) => "0",
        Err(error) => {
            err.push_str(&format!("{error:#}"));
            "1"
        }
    };
    (status.to_owned(), String::from_utf8(out).unwrap(), err)
}

/// All keys of the documented shape are there, and a class's folder is graded in order.
#[test]
fn the_shape_of_the_json() {
    let serials = b"report,serial\nb.csv,CK-01-02\na.csv,CK-01-01\n";
    let rows = b"no,measured,call\n1,25.02,conforming\n";
    let options = ["--serials", "FOLDER/serials.csv", "--json", "--line", "Clean=7.5"];
    let (status, out, err) = command(&options, &[("serials.csv", serials), ("a.csv", rows), ("b.csv", rows)]);
    assert_eq!((status.as_str(), err.as_str()), ("0", ""));
    let grades: Vec<Value> = out.lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert_eq!(grades.len(), 2);
    assert_eq!(
        (&grades[0]["report"], &grades[0]["serial"]),
        (&"a.csv".into(), &"CK-01-01".into())
    );
    assert_eq!(
        (&grades[1]["report"], &grades[1]["serial"]),
        (&"b.csv".into(), &"CK-01-02".into())
    );
    let keys = |value: &Value| value.as_object().unwrap().keys().cloned().collect::<Vec<_>>().join(" ");
    assert_eq!(keys(&grades[0]), "diagnosis exercise items marks report serial");
    assert_eq!(
        keys(&grades[0]["items"][0]),
        "call call_by_own_value call_by_reference call_for_own_value_score call_for_plate_score corrected deviation en \
         in_doubt lower measured measurement_score nominal no note of probability_of_conformity reference \
         reference_expanded_uncertainty upper"
            .replace("nominal no note", "no nominal note")
    );
    assert_eq!(
        keys(&grades[0]["diagnosis"]),
        "alternatives faults probability state unexplained"
    );
    assert_eq!(keys(&grades[0]["marks"]), "as_reported final lines with_follow_through");
    assert_eq!(grades[0]["items"][0]["upper"], 25.05);
    assert_eq!(grades[0]["items"][2]["lower"], Value::Null);
    let hand = grades[0]["marks"]["lines"]
        .as_array()
        .unwrap()
        .iter()
        .find(|l| l["points"] == 7.5);
    assert!(hand.is_some(), "{}", grades[0]["marks"]);
}

/// Input at fault ends with status 1, nothing printed, and words that say where and how to mend it.
#[test]
fn input_at_fault_is_told() {
    let big = vec![b'x'; 50 * 1024 * 1024];
    let check = |report: &[u8], options: &[&str], words: &[&str]| {
        let mut all = vec!["--serial", "CK-01-01", "--json"];
        all.extend(options);
        let (status, out, err) = command(&all, &[("r.csv", report)]);
        assert_eq!((status.as_str(), out.as_str()), ("1", ""), "{err}");
        for word in words {
            assert!(err.contains(word), "{word}: {err}");
        }
    };
    check(b"", &[], &["the file is empty"]);
    check(
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\0\0\0\0\0\0\0",
        &[],
        &["not a text file"],
    );
    check(&big, &[], &["52428800 bytes"]);
    check(
        b"no,measured\n1,25.02\n1,25.03\n",
        &[],
        &["stands twice", "lines 2 and 3"],
    );
    check(
        b"no,measured\n1,25.02\n31,25.03\n",
        &[],
        &[":3:", "no number \u{201c}31\u{201d} on this print; it has 1 to 7"],
    );
    check(
        b"no,measured\n31,25.02\n32,25.03\n",
        &[],
        &["None of the numbers", "CK-01", "another exercise"],
    );
    check(b"no,measured\n1,big\n", &[], &[":2:", "is not a number"]);
    check(
        b"no,measured,call\n1,\"25,021\",conforming\n",
        &[],
        &["--decimal comma reads 25.021", "--decimal point reads 25021"],
    );
    check(
        b"1,25.02,conforming\n2,40.0,conforming\n",
        &[],
        &["no heading row", "no,measured,call"],
    );
    check(b"no,measured,unit\n4,0.001,rad\n", &[], &["radians", "degrees"]);
    check(b"no,measured,unit\n1,25,deg\n", &[], &["is a length"]);
    check(
        b"no,measured\n1,25.02\n",
        &["--line", "Tidy=3"],
        &["no line marked by hand", "Clean"],
    );
    check(b"no,measured\n1,25.02\n", &["--line", "Clean=11"], &["0 to 10"]);
}

/// What was asked can be answered: the decimal mark, and the unit of lengths that state none.
#[test]
fn questions_are_settled_by_options() {
    let check = |report: &str, options: &[&str], measured: f64| {
        let mut all = vec!["--serial", "CK-01-01", "--json"];
        all.extend(options);
        let (status, out, err) = command(&all, &[("r.csv", report.as_bytes())]);
        assert_eq!(status, "0", "{err}");
        let grade: Value = serde_json::from_str(&out).unwrap();
        let given = grade["items"][0]["measured"].as_f64().unwrap();
        assert!((given - measured).abs() < 1e-12, "{report}: {given}");
    };
    check("no,measured\n1,\"25,021\"\n", &["--decimal", "comma"], 25.021);
    check("no,measured\n1,\"25,021\"\n", &["--decimal", "point"], 25021.0);
    check("no,measured\n1,0.985\n", &["--unit", "inch"], 25.019);
    check("no,measured,unit\n1,0.985,inch\n", &[], 25.019);
    check("no,measured,unit\n1,2.5021,cm\n", &[], 25.021);
}
