//! Cases that were worked apart from the program: whole reports under three decision rules.

use std::collections::BTreeMap;

use platemark::exercise::file::{read_exercise, read_plates};
use platemark::exercise::model::Exercise;
use platemark::exercise::plate::Plates;
use platemark::grading::grade::Grade;
use platemark::grading::{self, GradeInput};
use platemark::report::assemble::{Field, FromForm, from_form};
use platemark::report::table::ReadOptions;
use rust_decimal::Decimal;
use serde_json::Value;

use super::{EXERCISE, PLATES};

const CASES: &str = include_str!("../../data/grading/cases.json");

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
        siblings: &plates.plates,
        decided: &grading::decided::UNDECIDED,
        set_up: None,
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
