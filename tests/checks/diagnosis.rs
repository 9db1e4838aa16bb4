//! The benchmark of the diagnosis, small and seeded, on one exercise that is shipped and one that was held back.

use std::io::Cursor;

use clap::Parser;
use platemark::cli::Streams;
use platemark::cli::study::{StudyArgs, run};

#[derive(Debug, Parser)]
struct Command {
    #[command(flatten)]
    args: StudyArgs,
}

/// What `study` prints.
fn study(options: &[&str]) -> String {
    let command = Command::parse_from(["study"].iter().chain(options));
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let mut streams = Streams {
        input: Box::new(Cursor::new(Vec::new())),
        output: Box::new(&mut out),
        errors: Box::new(&mut err),
    };
    run(&command.args, &mut streams).unwrap();
    drop(streams);
    String::from_utf8(out).unwrap()
}

/// Number of reports, and per cent that are right, of a row.
fn row(table: &str, name: &str) -> (f64, f64) {
    let line = table.lines().find(|l| l.starts_with(name)).unwrap();
    let mut words = line[name.len()..].split_whitespace().map(|w| w.parse().unwrap());
    (words.next().unwrap(), words.next().unwrap())
}

/// Exercise, then the least per cent right of clean reports and of one fault. With so few reports the figures are coarse:
/// the limits are the goals of the project's page of diagnosis less what two reports are worth.
fn check(exercise: &str, clean: f64, one: f64) {
    let mut options = vec!["--exercise", exercise, "--seed", "4"];
    options.extend(["--reports", "1", "--clean", "25", "--calibration", "0"]);
    options.extend(["--baseline", "0"]);
    let table = study(&options);
    for (name, least) in [("clean", clean), ("one fault", one)] {
        let (reports, right) = row(&table, name);
        assert!(reports >= 18.0 && right >= least, "{exercise}, {name}: {table}");
    }
}

#[test]
fn a_small_study_of_a_shipped_exercise() {
    check("exercises/SB-11", 99.5, 90.0);
}

#[test]
fn a_small_study_of_an_exercise_held_back() {
    check("tests/data/diagnosis/HG-62", 99.5, 90.0);
}
