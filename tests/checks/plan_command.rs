//! The command that says what a measuring plan can achieve.

use std::io::Cursor;

use clap::Parser;
use platemark::cli::Streams;
use platemark::cli::plan::{PlanArgs, run};
use serde_json::Value;

#[derive(Debug, Parser)]
struct Command {
    #[command(flatten)]
    args: PlanArgs,
}

const STEP_BLOCK: &str = include_str!("../../exercises/SB-11/exercise.toml");

/// Status, standard output and standard error for an exercise on standard input; none for an option that is refused.
fn outcome(exercise: &str, options: &[&str]) -> Option<(bool, String, String)> {
    let command = Command::parse_from(["plan", "-"].iter().chain(options));
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let mut streams = Streams {
        input: Box::new(Cursor::new(exercise.as_bytes().to_vec())),
        output: Box::new(&mut out),
        errors: Box::new(&mut err),
    };
    let status = run(&command.args, &mut streams).ok()?;
    drop(streams);
    let success = format!("{status:?}") == format!("{:?}", std::process::ExitCode::SUCCESS);
    Some((
        success,
        String::from_utf8(out).unwrap(),
        String::from_utf8(err).unwrap(),
    ))
}

fn json(exercise: &str, options: &[&str]) -> Value {
    let all: Vec<&str> = options.iter().chain(&["--json"]).copied().collect();
    let (success, out, err) = outcome(exercise, &all).unwrap();
    assert!(success && err.is_empty(), "{err}");
    serde_json::from_str(&out).unwrap()
}

fn expanded(value: &Value, no: usize) -> f64 {
    value["characteristics"][no - 1]["expanded_uncertainty"]
        .as_f64()
        .unwrap()
}

#[test]
fn a_table_for_people() {
    let (success, out, err) = outcome(STEP_BLOCK, &[]).unwrap();
    assert!(success && err.is_empty(), "{err}");
    let lines: Vec<&str> = out.lines().collect();
    insta::assert_snapshot!(lines[..8].join("\n"), @r"
    SB-11  Step block: three faces make a frame, and every number hangs on it
    What the measuring plan can achieve. Lengths in mm, angles in degrees; U with k = 2, its parts as standard uncertainties.
    Taken: u of one touch 0.002, u of the tip's diameter 0.00200, 20 degrees within 0.5 K, U of the machine 0.000004 per length.

       no  characteristic                             points     frame       tip    length temperature          U    stated
        1  Top face: flatness                        0.00245   0.00000   0.00000   0.00000     0.00000    0.00490   0.00500
        2  First step: z                             0.00082   0.00224   0.00000   0.00002     0.00005    0.00476   0.00803
        3  First step: parallelism                   0.00283   0.00238   0.00000   0.00000     0.00000    0.00740   0.00800
    ");
    insta::assert_snapshot!(lines[lines.len() - 1], @"Every characteristic reaches what is stated. The tightest that more touches ease is 4, at 83 % of it: 8 touches in place of 4 on datum A (at the places that it has, each in turn) would bring it to 61 %.");
}

#[test]
fn conditions_count() {
    let usual = json(STEP_BLOCK, &[]);
    assert_eq!(usual["exercise"], "SB-11");
    assert_eq!(usual["characteristics"].as_array().unwrap().len(), 17);
    let warm = json(STEP_BLOCK, &["--within", "5"]);
    let coarse = json(STEP_BLOCK, &["--tip-uncertainty", "0.01"]);
    // Flatness sees neither; a diameter sees both.
    for other in [&warm, &coarse] {
        assert!((expanded(&usual, 1) - expanded(other, 1)).abs() < 1e-12);
        assert!(expanded(other, 7) > expanded(&usual, 7));
    }
    // Source: k u of the tip alone, 2 x 0.01, and twice the repeatability of 0.002 from four points; tolerance 1e-6, the
    // terms of length and temperature.
    assert!(
        (expanded(&coarse, 7) - 2.0 * 0.01_f64.hypot(0.002)).abs() < 1e-6,
        "{}",
        expanded(&coarse, 7)
    );
}

#[test]
fn what_is_not_reached_comes_with_advice() {
    let sharper = STEP_BLOCK.replace("expanded_uncertainty = 0.008", "expanded_uncertainty = 0.0055");
    let (_, out, _) = outcome(&sharper, &[]).unwrap();
    assert!(out.contains("not reached"), "{out}");
    insta::assert_snapshot!(out.lines().last().unwrap(), @"Not reached: 3, 4, 5, 7, 12. First of all 2 touches in place of 1 on datum C (at the same place), which mends one of them.");
    let value = json(&sharper, &[]);
    let short: Vec<&Value> = value["characteristics"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|c| c["reached"] == false)
        .collect();
    assert!(!short.is_empty());
    assert!(value["first"]["mends"].as_u64().unwrap() > 0, "{}", value["first"]);
}

#[test]
fn what_is_wrong_is_said() {
    let (success, out, err) = outcome(&STEP_BLOCK.replace("units    = \"mm\"", "units    = \"foot\""), &[]).unwrap();
    assert!(!success && out.is_empty() && err.contains("foot"), "{err}");
    for options in [
        ["--within", "-1"],
        ["--temperature", "900"],
        ["--tip-uncertainty", "NaN"],
    ] {
        let [option, value] = options;
        assert!(
            outcome(STEP_BLOCK, &[&format!("{option}={value}")]).is_none(),
            "{options:?}"
        );
    }
}
