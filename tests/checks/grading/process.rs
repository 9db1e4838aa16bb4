//! The program as a process: exit status 0 graded, 1 for input at fault, 2 for usage.

use std::io::Write;
use std::process::{Command, Output, Stdio};

use super::{EXERCISE, PLATES};

const REPORT: &str = "no,measured,call\n1,25.02,conforming\n";

/// `platemark grade` with these words in a folder with the exercise, its plates and `r.csv`.
fn run(words: &[&str], input: &str) -> Output {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in [("exercise.toml", EXERCISE), ("plates.toml", PLATES), ("r.csv", REPORT)] {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let mut child = Command::new(env!("CARGO_BIN_EXE_platemark"))
        .current_dir(&folder)
        .arg("grade")
        .args(words)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A command that refuses its words does not read what it is given.
    child.stdin.take().unwrap().write_all(input.as_bytes()).ok();
    child.wait_with_output().unwrap()
}

#[test]
fn the_status_tells_usage_from_input() {
    let usual = ["--exercise", "exercise.toml", "--plates", "plates.toml"];
    let check = |words: &[&str], status: i32, said: &str| {
        let all: Vec<&str> = usual.iter().chain(words).copied().collect();
        let output = run(&all, REPORT);
        let err = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(status), "{words:?}: {err}");
        assert!(err.contains(said), "{said}: {err}");
        assert_eq!(output.stdout.is_empty(), status != 0, "{words:?}");
    };
    check(&["--serial", "CK-01-01", "r.csv", "--json"], 0, "");
    check(&["--serial", "CK-01-01", "-", "--json"], 0, "");
    check(&["--serial", "CK-01-01", "r.csv", "r.csv"], 0, "");
    check(
        &["--serial", "CK-01-99", "r.csv"],
        1,
        "the plates file has CK-01-01, CK-01-02",
    );
    check(&["--serial", "not a serial!", "r.csv"], 1, "r.csv");
    check(&["--serial", "CK-01-01", "absent.csv"], 1, "absent.csv: cannot be read");
    check(&["--serials", "absent.csv", "r.csv"], 1, "absent.csv: cannot be read");
    check(&["--serial", "CK-01-01", "--line", "Clean", "r.csv"], 1, "name=points");
    check(
        &["--serial", "CK-01-01", "--line", "Clean=much", "r.csv"],
        1,
        "`much` is not a number",
    );
    check(&["--serial", "CK-01-01"], 2, "<REPORT>");
    check(&["r.csv"], 2, "--serial");
    check(
        &["--serial", "CK-01-01", "--serials", "s.csv", "r.csv"],
        2,
        "cannot be used with",
    );
    check(&["--serial", "CK-01-01", "--unit", "cm", "r.csv"], 2, "--unit");
    check(
        &["--serial", "CK-01-01", "--decimal", "dot", "r.csv"],
        2,
        "use point, comma or mixed",
    );
    check(&["--serial", "CK-01-01", "--jsn", "r.csv"], 2, "--json");
    let output = run(&["--exercise", "exercise.toml", "--serial", "CK-01-01", "r.csv"], "");
    assert_eq!(output.status.code(), Some(2));
    let output = run(&["--help"], "");
    assert_eq!(output.status.code(), Some(0));
    assert!(String::from_utf8_lossy(&output.stdout).contains("Example:"));
}
