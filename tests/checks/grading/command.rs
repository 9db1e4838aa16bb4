//! The command line that prints grades: its JSON, its options, and what it says of input at fault.

use serde_json::Value;

use super::{EXERCISE, Outcome, PLATES};

fn command(options: &[&str], reports: &[(&str, &[u8])]) -> Outcome {
    super::command(EXERCISE, PLATES, options, reports)
}

/// A report on one plate.
fn one(report: &[u8], options: &[&str]) -> Outcome {
    let mut all = vec!["--serial", "CK-01-01", "--json"];
    all.extend(options);
    command(&all, &[("r.csv", report)])
}

/// Far beyond what a decimal or even a quotient of doubles holds: still a number in every field, and nothing earned.
#[test]
fn a_value_out_of_all_reason_is_graded() {
    for measured in ["1e300", "-1e300", "1e-300", "0", "99999999999999999999", "1.7e308"] {
        let row = format!("no,measured,call\n1,{measured},nonconforming\n4,{measured},nonconforming\n");
        let grades = one(row.as_bytes(), &[]).grades();
        let item = &grades[0]["items"][0];
        assert_eq!(item["measurement_score"], 0.0);
        assert_eq!(item["call_by_own_value"], "nonconforming");
        for key in ["measured", "deviation", "en"] {
            assert!(item[key].is_f64(), "{measured}: {key} is {}", item[key]);
        }
    }
}

/// All keys of the documented shape are there, and a class's folder is graded in order.
#[test]
fn the_shape_of_the_json() {
    let serials = b"report,serial\nb.csv,CK-01-02\na.csv,CK-01-01\n";
    let rows = b"no,measured,call\n1,25.02,conforming\n";
    let options = ["--serials", "FOLDER/serials.csv", "--json", "--line", "Clean=7.5"];
    let outcome = command(&options, &[("serials.csv", serials), ("a.csv", rows), ("b.csv", rows)]);
    assert_eq!(outcome.err, "");
    let grades = outcome.grades();
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
        "alternatives faults left_out probability state unexplained"
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
        let Outcome { status, out, err } = one(report, options);
        assert_eq!((status, out.as_str()), (1, ""), "{err}");
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
    // Not one line can be read, and yet the numbers are on the print.
    check(
        b"no,measured\n1,big\n2,small\n",
        &[],
        &[":2:", ":3:", "is not a number"],
    );
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
        let grades = one(report.as_bytes(), options).grades();
        let given = grades[0]["items"][0]["measured"].as_f64().unwrap();
        assert!((given - measured).abs() < 1e-12, "{report}: {given}");
    };
    check("no,measured\n1,\"25,021\"\n", &["--decimal", "comma"], 25.021);
    check("no,measured\n1,\"25,021\"\n", &["--decimal", "point"], 25021.0);
    check("no,measured\n1,0.985\n", &["--unit", "inch"], 25.019);
    check("no,measured,unit\n1,0.985,inch\n", &[], 25.019);
    check("no,measured,unit\n1,2.5021,cm\n", &[], 25.021);
}

/// A class's folder: each report by the line of the serials file that names it.
#[test]
fn the_serials_of_a_folder() {
    let rows: &[u8] = b"no,measured,call\n1,25.02,conforming\n";
    let serials = |text: &str| {
        let reports: [(&str, &[u8]); 3] = [("serials.csv", text.as_bytes()), ("a.csv", rows), ("b.csv", rows)];
        command(&["--serials", "FOLDER/serials.csv", "--json"], &reports)
    };
    for good in [
        "report,serial\na.csv,CK-01-01\nb.csv,CK-01-02\n",
        "\u{feff}Serial;Pair;Report\r\nCK-01-02;7;b.csv\r\nCK-01-01;8;a.csv\r\n",
        " report , serial \n c.csv , CK-01-04 \n a.csv , CK-01-01 \n b.csv , CK-01-02 \n",
    ] {
        let grades = serials(good).grades();
        let given: Vec<(&Value, &Value)> = grades.iter().map(|g| (&g["report"], &g["serial"])).collect();
        assert_eq!(
            given,
            [
                (&"a.csv".into(), &"CK-01-01".into()),
                (&"b.csv".into(), &"CK-01-02".into())
            ]
        );
    }
    let check = |text: &str, words: &[&str]| {
        let Outcome { status, out, err } = serials(text);
        assert_eq!((status, out.as_str()), (1, ""), "{err}");
        for word in words {
            assert!(err.contains(word), "{word}: {err}");
        }
    };
    check("", &["serials.csv", "no column `report`"]);
    check("report,plate\na.csv,CK-01-01\n", &["serials.csv", "no column `serial`"]);
    check("report,serial\na.csv,CK-01-01\n", &["b.csv", "no line for this report"]);
    check(
        "report,serial\na.csv,CK-01-01\nb.csv,CK-01-09\n",
        &[
            "b.csv: there is no plate CK-01-09",
            "CK-01-01, CK-01-02, CK-01-03, CK-01-04",
        ],
    );
    check(
        "report,serial\na.csv,CK-01-01\nb.csv,CK-01-02\na.csv,CK-01-02\n",
        &["a.csv", "stands twice", "lines 2 and 4"],
    );
}

/// All files at fault are named at once, and what is in order is not printed by half.
#[test]
fn one_report_at_fault_holds_back_all() {
    let good: &[u8] = b"no,measured\n1,25.02\n";
    let reports: [(&str, &[u8]); 3] = [("a.csv", good), ("b.csv", b""), ("c.csv", b"no,measured\n8,1\n1,25\n")];
    let Outcome { status, out, err } = command(&["--serial", "CK-01-01", "--json"], &reports);
    assert_eq!((status, out.as_str()), (1, ""));
    insta::assert_snapshot!(err, @r"
    b.csv: the file is empty. Check that the table was saved into it and hand it in again.
    c.csv:2: There is no number “8” on this print; it has 1 to 7. Correct the number or take the line out.
    ");
}

#[test]
fn standard_input_is_a_report() {
    let outcome = command(
        &["--serial", "CK-01-01", "--json"],
        &[("-", b"no,measured,call\n1,25.02,conforming\n")],
    );
    assert_eq!(outcome.grades()[0]["items"][0]["measured"], 25.02);
}

/// Exercise and plates files at fault: all their problems, with line and column.
#[test]
fn files_at_fault_are_told() {
    let report: [(&str, &[u8]); 1] = [("r.csv", b"no,measured\n1,25.02\n")];
    let options = ["--serial", "CK-01-01", "--json"];
    let check = |exercise: &str, plates: &str, words: &[&str]| {
        let Outcome { status, out, err } = super::command(exercise, plates, &options, &report);
        assert_eq!((status, out.as_str()), (1, ""), "{err}");
        for word in words {
            assert!(err.contains(word), "{word}: {err}");
        }
    };
    let typo = EXERCISE
        .replacen("tolerance =", "tolerence =", 1)
        .replace("\"mm\"", "\"cm\"");
    check(
        &typo,
        PLATES,
        &[
            "exercise.toml:5:9",
            "`cm`",
            "unknown key `tolerence`",
            "Did you mean `tolerance`",
        ],
    );
    check(
        EXERCISE,
        &PLATES.replace("planted", "plantet"),
        &["plates.toml:7:1", "plantet"],
    );
    check(
        EXERCISE,
        &PLATES.replace("= \"CK-01\"", "= \"CK-02\""),
        &["plates.toml:2:12", "CK-02"],
    );
}

/// What a person reads without `--json`. The mark worked by hand: the lines weigh 8 together, 54 x 3/8 + 22.5 x 3/8 +
/// 13.5 x 3/8 + 7.5 = 41.25.
#[test]
fn a_table_for_people() {
    let report: &[u8] =
        b"no,measured,call\n1,25.02,conforming\n2,40.05,conforming\n3,0.1,nonconforming\n4,179.98,\n6,,\n";
    let outcome = command(&["--serial", "CK-01-02", "--line", "Clean=7.5"], &[("r.csv", report)]);
    assert_eq!(outcome.status, 0, "{}", outcome.err);
    insta::assert_snapshot!(outcome.out, @r"
    r.csv: CK-01 plate CK-01-02, mm
        no of                  measured   reference     E_n    score  call           own value      plate         
         1 diameter              25.020      25.060   −4.00    0.000  conforming     conforming     nonconforming (in doubt)
         2 x                     40.050      40.042    0.80    1.000  conforming     conforming     conforming (in doubt)
         3 position               0.100       0.084    0.94    1.000  nonconforming  conforming     nonconforming
         4 angle                 −0.020       0.000   −0.80    1.000  -              conforming     conforming
         5 position                   -       0.000       -    0.000  -              -              conforming
         6 diameter                   -       8.000       -    0.000  -              -              conforming (in doubt)
         7 position                   -       0.000       -    0.000  -              -              conforming
       +20.250 Measurement: 3 of 7 agree with the plate
        +8.438 Call for the plate: 2 of 7 right
        +5.063 Call for the own value: 2 of 7 right
        +7.500 By hand: Clean (7.5 of 10)
        +0.049 Rounded to one decimal
          41.3 mark out of 100
    ");
}
