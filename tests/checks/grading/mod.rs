//! Grading against cases that were worked apart from the program, and the command line that prints it.
//!
//! The plate of `tests/data/grading` has limits that are hit exactly, a hole and a pin with a bonus at maximum material,
//! a slot whose angle means the same every half turn, and plates that are virtual, calibrated, shop-made and unknown.
//! That of `tests/data/grading/rules` has uncertainties that grow with length, and distances and angles of two features.

mod bad_input;
mod cases;
mod command;
mod independent;
mod marks;
mod process;
mod values;

use clap::Parser;
use platemark::cli::Streams;
use platemark::cli::grade::{GradeArgs, run};
use serde_json::Value;

const EXERCISE: &str = include_str!("../../data/grading/exercise.toml");
const PLATES: &str = include_str!("../../data/grading/plates.toml");

#[derive(Debug, Parser)]
struct Command {
    #[command(flatten)]
    args: GradeArgs,
}

/// What a command left behind.
struct Outcome {
    status: u8,
    out: String,
    err: String,
}

impl Outcome {
    /// The grades that were printed; the command must have ended well.
    fn grades(&self) -> Vec<Value> {
        assert_eq!(self.status, 0, "{}", self.err);
        self.out.lines().map(|l| serde_json::from_str(l).unwrap()).collect()
    }
}

/// `platemark grade` on an exercise and its plates, with these options and reports. `FOLDER` in an option stands for
/// where all files lie; a report named `serials.csv` is written there and not graded, one named `-` is standard input.
fn command(exercise: &str, plates: &str, options: &[&str], reports: &[(&str, &[u8])]) -> Outcome {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    std::fs::write(path("exercise.toml"), exercise).unwrap();
    std::fs::write(path("plates.toml"), plates).unwrap();
    let mut words = vec!["grade".to_owned(), "--exercise".to_owned(), path("exercise.toml")];
    words.extend(["--plates".to_owned(), path("plates.toml")]);
    words.extend(
        options
            .iter()
            .map(|o| o.replace("FOLDER", folder.path().to_str().unwrap())),
    );
    let mut input: &[u8] = b"";
    for (name, bytes) in reports {
        if *name == "-" {
            input = bytes;
            words.push("-".to_owned());
            continue;
        }
        std::fs::write(path(name), bytes).unwrap();
        if *name != "serials.csv" {
            words.push(path(name));
        }
    }
    let command = Command::parse_from(words);
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let mut streams = Streams {
        input: Box::new(input),
        output: Box::new(&mut out),
        errors: Box::new(&mut err),
    };
    let status = run(&command.args, &mut streams);
    drop(streams);
    let text = |bytes: Vec<u8>| {
        String::from_utf8(bytes)
            .unwrap()
            .replace(&format!("{}/", folder.path().display()), "")
    };
    let (out, mut err) = (text(out), text(err));
    let status = match status {
        Ok(_) => 0,
        Err(error) => {
            err.push_str(&text(format!("{error:#}").into_bytes()));
            1
        }
    };
    Outcome { status, out, err }
}
