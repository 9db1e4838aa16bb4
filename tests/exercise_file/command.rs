//! The command that checks files.

use std::fs;
use std::path::Path;

use clap::Parser;
use platemark::cli::check::{CheckArgs, run_with};

use super::{EXERCISE, PLATES};

#[derive(Debug, Parser)]
struct Command {
    #[command(flatten)]
    args: CheckArgs,
}

/// Exit status as it is shown and standard output, with the folder's name taken out of it.
fn outcome(folder: &Path, words: &[&str], stdin: &[u8]) -> (String, String) {
    let named = words.iter().map(|word| match *word {
        file if file.ends_with(".toml") => folder.join(file).display().to_string(),
        other => other.to_owned(),
    });
    let command = Command::parse_from(std::iter::once("check".to_owned()).chain(named));
    let mut out = Vec::new();
    let status = run_with(&command.args, &mut &*stdin, &mut out).unwrap();
    let folder = format!("{}{}", folder.display(), std::path::MAIN_SEPARATOR);
    (
        format!("{status:?}"),
        String::from_utf8(out).unwrap().replace(&folder, ""),
    )
}

fn success() -> String {
    format!("{:?}", std::process::ExitCode::SUCCESS)
}

fn failure() -> String {
    format!("{:?}", std::process::ExitCode::FAILURE)
}

/// A folder with the good exercise and its plates.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("exercise.toml"), EXERCISE).unwrap();
    fs::write(folder.path().join("plates.toml"), PLATES).unwrap();
    folder
}

#[test]
fn good_files_have_one_line() {
    let folder = folder();
    for words in [&["exercise.toml", "plates.toml"][..], &["plates.toml", "exercise.toml"]] {
        let (status, out) = outcome(folder.path(), words, b"");
        assert_eq!(
            (status, out.as_str()),
            (success(), "2 files checked: nothing to mend.\n")
        );
    }
    // The exercise beside the plates is found.
    let (status, out) = outcome(folder.path(), &["plates.toml"], b"");
    assert_eq!(
        (status, out.as_str()),
        (success(), "1 file checked: nothing to mend.\n")
    );
}

#[test]
fn problems_of_all_files_are_printed() {
    let folder = folder();
    let few_points = EXERCISE.replace("normal = [-1, 1, 0]\npoints = 12", "normal = [-1, 1, 0]\npoints = 5");
    fs::write(folder.path().join("exercise.toml"), few_points).unwrap();
    fs::write(
        folder.path().join("plates.toml"),
        PLATES.replace("x = 0.12", "z = 0.12"),
    )
    .unwrap();
    let (status, out) = outcome(folder.path(), &["exercise.toml", "plates.toml"], b"");
    assert_eq!(status, failure());
    insta::assert_snapshot!(out, @r"
    exercise.toml:96:8: warning: straightness from 5 points says little. Ask for eight points or more, as in `points = 8`.
    plates.toml:9:22: a circle has no z to plant here. Under `bore` it can be `x`, `y`, `diameter` or `roundness`.
    2 files checked: 1 error, 1 warning.
    ");
    let (status, out) = outcome(folder.path(), &["exercise.toml"], b"");
    assert_eq!(status, success());
    assert!(out.ends_with("1 file checked: no errors, 1 warning.\n"), "{out}");
}

#[test]
fn json_is_one_array() {
    let folder = folder();
    let (status, out) = outcome(folder.path(), &["--json", "exercise.toml"], b"");
    assert_eq!((status, out.as_str()), (success(), "[]\n"));
    fs::write(
        folder.path().join("exercise.toml"),
        EXERCISE.replace("\"mm\"", "\"cm\""),
    )
    .unwrap();
    let (status, out) = outcome(folder.path(), &["exercise.toml", "--json"], b"");
    assert_eq!(status, failure());
    let value: serde_json::Value = serde_json::from_str(&out).unwrap();
    let expected = serde_json::json!([{
        "file": "exercise.toml", "line": 5, "column": 12, "severity": "error",
        "what": "`cm` is no unit", "mend": "It can be `mm` or `inch`.",
    }]);
    assert_eq!(value, expected);
}

#[test]
fn standard_input_is_either_file() {
    let folder = folder();
    let (status, out) = outcome(folder.path(), &["-"], EXERCISE.as_bytes());
    assert_eq!(
        (status, out.as_str()),
        (success(), "1 file checked: nothing to mend.\n")
    );
    let (status, _) = outcome(folder.path(), &["exercise.toml", "-"], PLATES.as_bytes());
    assert_eq!(status, success());
    let (status, out) = outcome(folder.path(), &["-"], PLATES.as_bytes());
    assert_eq!(status, failure());
    insta::assert_snapshot!(out, @r"
    <stdin>:1:1: the exercise TP-01 of these plates is not at hand. Put `exercise.toml` beside the file, or name it as well.
    1 file checked: 1 error.
    ");
}

#[test]
fn files_that_cannot_be_read_are_named() {
    let folder = folder();
    fs::write(folder.path().join("latin.toml"), b"format = 1\ntitle = \"\xe9\"\n").unwrap();
    let (status, out) = outcome(folder.path(), &["latin.toml"], b"");
    assert_eq!(status, failure());
    insta::assert_snapshot!(out, @r"
    latin.toml:2:10: there is a byte that is not UTF-8. Save the file as UTF-8 text.
    1 file checked: 1 error.
    ");
    let (status, out) = outcome(folder.path(), &["absent.toml"], b"");
    assert_eq!(status, failure());
    assert!(out.starts_with("absent.toml:1:1: the file cannot be read ("), "{out}");
}

#[test]
fn plates_need_their_exercise_without_errors() {
    let folder = folder();
    fs::write(
        folder.path().join("exercise.toml"),
        EXERCISE.replace("\"mm\"", "\"cm\""),
    )
    .unwrap();
    let (status, out) = outcome(folder.path(), &["plates.toml"], b"");
    assert_eq!(status, failure());
    insta::assert_snapshot!(out, @r"
    plates.toml:1:1: the exercise of these plates, exercise.toml, has errors. Mend it first; the plates are checked against it.
    1 file checked: 1 error.
    ");
    fs::remove_file(folder.path().join("exercise.toml")).unwrap();
    fs::write(folder.path().join("other.toml"), EXERCISE.replace("TP-01", "TP-09")).unwrap();
    let (_, out) = outcome(folder.path(), &["plates.toml", "other.toml"], b"");
    insta::assert_snapshot!(out, @r"
    plates.toml:2:12: these are plates of TP-01, and the exercise is TP-09. Put the file beside its own exercise, or mend the code.
    2 files checked: 1 error.
    ");
    assert!(Command::try_parse_from(["check"]).is_err());
}
