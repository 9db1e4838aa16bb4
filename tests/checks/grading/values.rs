//! Single lines of reports against values worked by hand.

use std::collections::BTreeMap;

use serde_json::Value;

use super::command;

const EXERCISE: &str = include_str!("../../data/grading/rules/exercise.toml");
const PLATES: &str = include_str!("../../data/grading/rules/plates.toml");
const VALUES: &str = include_str!("../../data/grading/rules/values.txt");

/// The exercise with these keys in `[marks]`, parted by semicolons.
fn exercise(rules: &str) -> String {
    EXERCISE.replace("[marks]\n", &format!("[marks]\n{}\n", rules.replace(';', "\n")))
}

fn graded(rules: &str, plate: &str, rows: &[(&str, &str, &str)]) -> Value {
    let text: String = rows.iter().map(|(no, x, call)| format!("{no},{x},{call}\n")).collect();
    let report = format!("no,measured,call\n{text}");
    let serial = format!("RU-01-{plate}");
    let options = ["--serial", &serial, "--json"];
    command(&exercise(rules), PLATES, &options, &[("r.csv", report.as_bytes())])
        .grades()
        .remove(0)
}

fn item<'a>(grade: &'a Value, no: &str) -> &'a Value {
    let items = grade["items"].as_array().unwrap();
    items.iter().find(|i| i["no"] == no).unwrap()
}

fn call(letter: &str) -> &'static str {
    match letter {
        "c" => "conforming",
        "n" => "nonconforming",
        "u" => "undecided",
        _ => "",
    }
}

/// Lines of the table that can stand in one report: each number once, and a position apart from the size that would
/// give it a bonus.
fn reports<'a>(lines: &[Vec<&'a str>]) -> Vec<Vec<Vec<&'a str>>> {
    let mut reports: Vec<Vec<Vec<&str>>> = Vec::new();
    for line in lines {
        let fits = |report: &&mut Vec<Vec<&str>>| {
            let apart = |other: &Vec<&str>| {
                let (a, b) = (line[1], other[1]);
                line[0] == other[0] && a != b && !matches!((a, b), ("1", "4") | ("4", "1"))
            };
            report.iter().all(apart)
        };
        match reports.iter_mut().find(fits) {
            Some(report) => report.push(line.clone()),
            None => reports.push(vec![line.clone()]),
        }
    }
    reports
}

fn near(given: &Value, wanted: &str, tolerance: f64) -> bool {
    let wanted: f64 = wanted.parse().unwrap();
    given
        .as_f64()
        .is_some_and(|g| (g - wanted).abs() <= tolerance * wanted.abs().max(1.0))
}

fn check(item: &Value, line: &[&str]) {
    let exact = |key: &str, wanted: &str| item[key].as_f64() == Some(wanted.parse().unwrap());
    let good = near(&item["reference"], line[4], 1e-11)
        && near(&item["reference_expanded_uncertainty"], line[5], 1e-10)
        && near(&item["en"], line[6], 1e-8)
        && exact("measurement_score", line[7])
        && item["call_by_own_value"] == call(line[8])
        && item["call_by_reference"] == call(line[9])
        && item["in_doubt"] == (line[10] == "doubt")
        && near(&item["probability_of_conformity"], line[11], 1e-8)
        && exact("call_for_own_value_score", line[12])
        && exact("call_for_plate_score", line[13]);
    assert!(good, "wanted {line:?}, given {item:#}");
}

#[test]
fn lines_worked_by_hand() {
    let mut tables: BTreeMap<&str, Vec<Vec<&str>>> = BTreeMap::new();
    let mut rules = "";
    for line in VALUES.lines().filter(|l| !l.starts_with('#')) {
        if let Some(new) = line.strip_prefix("rules") {
            rules = new.trim();
        } else {
            tables.entry(rules).or_default().push(line.split_whitespace().collect());
        }
    }
    assert_eq!(tables.len(), 6);
    let mut checked = 0;
    for (rules, lines) in &tables {
        for report in reports(lines) {
            let rows: Vec<(&str, &str, &str)> = report.iter().map(|l| (l[1], l[2], call(l[3]))).collect();
            let grade = graded(rules, report[0][0], &rows);
            for line in &report {
                check(item(&grade, line[1]), line);
                checked += 1;
            }
        }
    }
    assert_eq!(checked, tables.values().map(Vec::len).sum::<usize>());
}

/// Position max 0.2 at maximum material of a hole 20 +0.05/0. Worked by hand: the bonus is the size less 20.
#[test]
fn the_bonus_of_the_pairs_own_size() {
    for (size, position, own, note) in [
        ("20.03", "0.23", "conforming", "bonus of 0.030 mm from the pair's size"),
        ("20.03", "0.2301", "nonconforming", "Limit 0.230 mm"),
        ("20.05", "0.25", "conforming", "Limit 0.250 mm"),
        ("20.05", "0.2501", "nonconforming", "Limit 0.250 mm"),
        ("20", "0.2", "conforming", "Limit 0.200 mm"),
        ("20", "0.2001", "nonconforming", "Limit 0.200 mm"),
        // Not measured: no bonus.
        ("", "0.2", "conforming", "bonus of 0.000 mm from the pair's size"),
        ("", "0.2001", "nonconforming", "bonus of 0.000 mm from the pair's size"),
        // Out of its limits on either side: nonconforming, however good the position is.
        ("20.0501", "0.1", "nonconforming", "the size is out of its limits"),
        ("19.9999", "0.1", "nonconforming", "the size is out of its limits"),
    ] {
        let grade = graded("", "01", &[("1", size, "conforming"), ("4", position, own)]);
        let item = item(&grade, "4");
        assert_eq!(item["call_by_own_value"], own, "{size} {position}");
        assert_eq!(item["call_for_own_value_score"], 1.0, "{size} {position}");
        assert_eq!(item["upper"], 0.2);
        assert!(
            item["note"].as_str().unwrap().contains(note),
            "{note}: {}",
            item["note"]
        );
    }
}

/// Reference size and position of plates 04 to 06, worked by hand: 20.07 is out of limits, which decides whatever the
/// bonus of 0.07; 20.03 lifts the limit to 0.23, from which 0.3 is far (0.07) and 0.22 is not (0.01 within the zone of
/// 2 x (0.005 + 60 x 0.00002) = 0.0124).
#[test]
fn the_bonus_of_the_plates_size() {
    for (plate, reference, by_reference, doubt) in [
        ("04", 0.2, "nonconforming", false),
        ("05", 0.3, "nonconforming", false),
        ("06", 0.22, "conforming", true),
    ] {
        // The pair's own size gives 0.05: its own limit is 0.25.
        let grade = graded("", plate, &[("1", "20.05", "conforming"), ("4", "0.24", "conforming")]);
        let item = item(&grade, "4");
        assert_eq!(item["reference"], reference);
        assert_eq!(item["call_by_own_value"], "conforming");
        assert_eq!(
            (&item["call_by_reference"], &item["in_doubt"]),
            (&by_reference.into(), &doubt.into()),
            "{plate}"
        );
        let earned = if by_reference == "conforming" { 1.0 } else { 0.0 };
        assert_eq!(item["call_for_plate_score"], earned, "{plate}");
    }
}

/// What is not established has the pair's side only: what the own number says, and why nothing is scored.
#[test]
fn not_established_is_kept_and_not_scored() {
    let grade = graded("", "03", &[("9", "30.25", "nonconforming"), ("4", "0.1", "conforming")]);
    for (no, own) in [("9", "nonconforming"), ("4", "conforming"), ("5", "")] {
        let item = item(&grade, no);
        for key in [
            "reference",
            "reference_expanded_uncertainty",
            "en",
            "measurement_score",
            "call_by_reference",
            "in_doubt",
            "probability_of_conformity",
            "call_for_own_value_score",
            "call_for_plate_score",
        ] {
            assert_eq!(item[key], Value::Null, "{no} {key}");
        }
        let expected = if own.is_empty() { Value::Null } else { own.into() };
        assert_eq!(item["call_by_own_value"], expected);
        assert!(
            item["note"].as_str().unwrap().starts_with("Not graded"),
            "{}",
            item["note"]
        );
    }
    // The deviation is the pair's number less the nominal: 30.25 - 30.
    assert_eq!(item(&grade, "9")["deviation"], 0.25);
}

/// What a line says of itself.
#[test]
fn notes_say_what_is_particular() {
    let rows = [
        ("1", "20.0254", ""),
        ("2", "60.0505", "conforming"),
        ("3", "", "conforming"),
    ];
    let grade = graded("", "02", &rows);
    for (no, words) in [
        ("1", &["No call was made", "so near a limit"][..]),
        (
            "2",
            &["The call says conforming, the pair's own number says nonconforming"],
        ),
        ("3", &["Not measured"]),
    ] {
        for word in words {
            let note = item(&grade, no)["note"].as_str().unwrap().to_owned();
            assert!(note.contains(word), "{no}: {note}");
        }
    }
    let grade = graded("", "01", &[("2", "60.03", "conforming")]);
    assert_eq!(item(&grade, "2")["note"], Value::Null);
}

/// The same limit in inches, and reports in the other unit: 25.05 in is 636.27 mm, 0.985 in is 25.019 mm.
#[test]
fn inches() {
    let inch = EXERCISE
        .replace("units = \"mm\"", "units = \"inch\"")
        .replace("diameter = 20\n", "diameter = 25\n");
    let plates = "format = 1\nexercise = \"RU-01\"\n[[plate]]\nserial = \"RU-01-01\"\nkind = \"virtual\"\n";
    for (report, options, measured, own) in [
        ("no,measured\n1,25.05\n", &[][..], 25.05, "conforming"),
        ("no,measured\n1,25.0500001\n", &[], 25.050_000_1, "nonconforming"),
        ("no,measured,unit\n1,636.27,mm\n", &[], 25.05, "conforming"),
        (
            "no,measured,unit\n1,636.270001,mm\n",
            &[],
            25.050_000_039_370_08,
            "nonconforming",
        ),
        ("no,measured\n1,636.27\n", &["--unit", "mm"], 25.05, "conforming"),
        (
            "no,measured,unit\n1,25.05,inch\n",
            &["--unit", "mm"],
            25.05,
            "conforming",
        ),
    ] {
        let mut all = vec!["--serial", "RU-01-01", "--json"];
        all.extend(options);
        let grades = command(&inch, plates, &all, &[("r.csv", report.as_bytes())]).grades();
        let item = item(&grades[0], "1");
        assert_eq!(item["call_by_own_value"], own, "{report}");
        assert!(
            (item["measured"].as_f64().unwrap() - measured).abs() < 1e-12,
            "{report}: {item}"
        );
    }
}
