//! The command that shows what a file is read as.

use std::fs;

use clap::Parser;
use platemark::cli::read::{ReadArgs, run};
use platemark::report::table::Role;

#[derive(Debug, Parser)]
struct Command {
    #[command(flatten)]
    args: ReadArgs,
}

/// Exit status as it is shown, standard output, standard error.
fn outcome(content: &[u8], options: &[&str]) -> (String, String, String) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("report.csv");
    fs::write(&file, content).unwrap();
    let words = ["read", file.to_str().unwrap()];
    let command = Command::parse_from(words.iter().chain(options));
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let status = run(&command.args, &mut out, &mut err).unwrap();
    (
        format!("{status:?}"),
        String::from_utf8(out).unwrap(),
        String::from_utf8(err).unwrap(),
    )
}

fn success() -> String {
    format!("{:?}", std::process::ExitCode::SUCCESS)
}

fn failure() -> String {
    format!("{:?}", std::process::ExitCode::FAILURE)
}

#[test]
fn one_json_object() {
    let (status, out, err) = outcome(b"no,measured\n1,2\n", &["--json"]);
    let value: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!((status, err.as_str()), (success(), ""));
    assert_eq!(
        (&value["format"], &value["rows"][0]["measured"]),
        (&"csv".into(), &"2".into())
    );
}

#[test]
fn a_table_for_people() {
    let content = "no;name;measured;unit;call\n1;Bore\x1b[31m;32,034;mm;ok\n2;Slot;10,0;mm;n.i.O.\n3;;20 kg;;\nThe end;;;;\n4;;;mm;?\n";
    let (status, out, err) = outcome(content.as_bytes(), &[]);
    assert_eq!((status, err.as_str()), (success(), ""));
    insta::assert_snapshot!(out, @r"
    report: encoding utf-8, delimiter semicolon, decimal mark comma, headings on line 1
    columns: label, name, measured, unit, call

    line  no  name       measured  unit  call
    2     1   Bore [31m  32.034    mm    conforming
    3     2   Slot       10.0      mm    nonconforming
    6     4                        mm    undecided

    not read:
      line 4: “20 kg” has a unit that is not known here. Use mm, cm, m, um, inch, deg or rad. [unknown_unit]
      line 5: “The end” is text, not a row of the table. Nothing to do if it is a footer. [not_a_row]

    read with a reservation:
      line 6: “4” has no measured value and counts as not measured. [missing_value]
    ");
}

#[test]
fn what_must_be_asked() {
    let (status, out, _) = outcome(b"no;measured\n1;12,031\n2;5\n", &[]);
    assert_eq!(status, success());
    insta::assert_snapshot!(out, @r"
    report: encoding utf-8, delimiter semicolon, headings on line 1
    columns: label, measured

    Is the decimal mark a comma or a point? Say so with --decimal comma, point or mixed.
      decimal comma: 12.031  5
      decimal point: 12031  5
    ");
    let (_, out, _) = outcome(b"1;12\n", &[]);
    assert!(out.contains("--columns no,measured,call"), "{out}");
}

#[test]
fn answers() {
    let (_, out, _) = outcome(b"no;measured\n1;12,031\n", &["--decimal", "comma"]);
    assert!(out.contains("12.031"), "{out}");
    let (_, out, _) = outcome(
        b"1\t12,031\n",
        &[
            "--columns",
            "no,measured",
            "--decimal",
            ".",
            "--delimiter",
            "tab",
            "--unit",
            "in",
        ],
    );
    assert!(out.contains("12031") && out.contains("inch"), "{out}");
}

#[test]
fn refusals_go_to_standard_error() {
    let check = |content: &[u8], part: &str| {
        let (status, out, err) = outcome(content, &["--json"]);
        assert_eq!((status, out.as_str()), (failure(), ""));
        assert!(err.contains(part), "{err}");
    };
    check(b"", "empty");
    check(b"Dear instructor", "no table");
    check(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01", "not a text file");
    check(b"PK\x03\x04", "zip archive");
    check(b"<?xml version=\"1.0\"?><a/>", "XML");
    check(b"FILNAM/'PLATE', 05.2\n", "DMIS");
    check(&vec![b'1'; 8 * 1024 * 1024 + 1], "8388609 bytes");
}

#[test]
fn usage() {
    let parse = |options: &[&str]| Command::try_parse_from(["read", "report.csv"].iter().chain(options));
    assert_eq!(
        parse(&["--columns", "no,-,measured"]).unwrap().args.columns.unwrap().0,
        [Some(Role::Label), None, Some(Role::Measured)]
    );
    for wrong in [
        ["--decimal", "dot"],
        ["--delimiter", "ab"],
        ["--columns", "no,call"],
        ["--unit", "kg"],
    ] {
        assert_eq!(parse(&wrong).unwrap_err().exit_code(), 2, "{wrong:?}");
    }
    let missing = Command::parse_from(["read", "no-such-file.csv"]);
    let error = run(&missing.args, &mut Vec::new(), &mut Vec::new()).unwrap_err();
    assert!(error.to_string().contains("no-such-file.csv"), "{error}");
}
