//! The command that proposes plates.

use std::path::Path;

use clap::Parser;
use platemark::cli::Streams;
use platemark::cli::propose::{ProposeArgs, run};
use platemark::exercise::file::{read_exercise, read_plates};

#[derive(Debug, Parser)]
struct Command {
    #[command(flatten)]
    args: ProposeArgs,
}

/// What is printed, and what is said beside it.
fn outcome(options: &[&str]) -> Result<(String, String), String> {
    let exercise = path("SB-11/exercise.toml");
    let words = ["propose", exercise.as_str()];
    let command =
        Command::try_parse_from(words.into_iter().chain(options.iter().copied())).map_err(|e| e.to_string())?;
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let mut streams = Streams {
        input: Box::new(&[][..]),
        output: Box::new(&mut out),
        errors: Box::new(&mut err),
    };
    run(&command.args, &mut streams).map_err(|e| format!("{e:#}"))?;
    drop(streams);
    Ok((String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap()))
}

fn path(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("exercises");
    folder.join(name).display().to_string()
}

#[test]
fn what_is_printed_is_a_plates_file() {
    let (text, said) = outcome(&["--copies", "6", "--seed", "9f1c0a7be2d44c51"]).unwrap();
    assert_eq!(said, "");
    let exercise = std::fs::read_to_string(path("SB-11/exercise.toml")).unwrap();
    let exercise = read_exercise("exercise.toml", &exercise).0.unwrap();
    let plates = read_plates("plates.toml", &text, &exercise).0.unwrap();
    let serials: Vec<&str> = plates.plates.iter().map(|p| p.serial.as_str()).collect();
    assert_eq!(
        serials,
        ["SB-11-01", "SB-11-02", "SB-11-03", "SB-11-04", "SB-11-05", "SB-11-06"]
    );
    let again = outcome(&["--copies", "6", "--seed", "9f1c0a7be2d44c51"]).unwrap();
    assert_eq!(again.0, text);
    let other = outcome(&["--copies", "6", "--seed", "9f1c0a7be2d44c52"]).unwrap();
    assert_ne!(other.0, text);
}

#[test]
fn plates_that_there_are_keep_their_serials() {
    let plates = path("SB-11/plates.toml");
    let options = ["--copies", "2", "--seed", "1", "--plates", plates.as_str(), "--json"];
    let (text, said) = outcome(&options).unwrap();
    let json: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(json["plates"][0]["serial"], "SB-11-08");
    assert_eq!(json["plates"][1]["serial"], "SB-11-09");
    assert!(said.contains("No copy is nonconforming at number"), "{said}");
    assert!(
        said.contains("6 copies with 3 nonconforming on each reach all."),
        "{said}"
    );
}

#[test]
fn what_cannot_be_met_is_said() {
    let error = outcome(&["--copies", "40", "--seed", "3", "--apart", "15"]).unwrap_err();
    assert!(
        error.contains("with 17 characteristics and 40 copies two copies would be alike"),
        "{error}"
    );
    assert!(
        outcome(&["--copies", "2", "--seed", "xyz"])
            .unwrap_err()
            .contains("hexadecimal")
    );
    let without_seed = outcome(&["--copies", "1"]).unwrap().0;
    assert_ne!(without_seed, outcome(&["--copies", "1"]).unwrap().0);
}
