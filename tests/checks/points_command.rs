//! The command that prints a plate's probed points.

use std::path::Path;

use clap::Parser;
use platemark::cli::points::{PointsArgs, run};
use platemark::report::table::{ReadOptions, Table, read};

#[derive(Debug, Parser)]
struct Command {
    #[command(flatten)]
    args: PointsArgs,
}

/// What is printed for plate SB-11-V1, and what is said of the input.
fn outcome(options: &[&str]) -> Result<(String, String), String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("exercises/SB-11");
    let [exercise, plates] = ["exercise.toml", "plates.toml"].map(|f| folder.join(f).display().to_string());
    let words = ["points", &exercise, "--plates", &plates];
    let command =
        Command::try_parse_from(words.into_iter().chain(options.iter().copied())).map_err(|e| e.to_string())?;
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let status = run(&command.args, &mut out, &mut err).map_err(|e| format!("{e:#}"))?;
    assert_eq!(format!("{status:?}"), format!("{:?}", std::process::ExitCode::SUCCESS));
    Ok((String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap()))
}

#[test]
fn the_reader_takes_what_is_printed() {
    let (out, err) = outcome(&["--serial", "SB-11-V1", "--seed", "7"]).unwrap();
    assert_eq!(err, "");
    let Table::Points(table) = read(out.as_bytes(), &ReadOptions::default()).unwrap() else {
        panic!("no points")
    };
    assert_eq!(table.points.len(), out.lines().count() - 1);
    assert_eq!(table.points[0].feature, "A");
    assert!(table.points.iter().all(|p| p.k.is_some()));
    assert!(table.head.warnings.is_empty() && table.head.rejected.is_empty());
}

#[test]
fn one_seed_gives_one_table_and_another_another() {
    let of = |seed: &str| outcome(&["--serial", "SB-11-V1", "--seed", seed]).unwrap().0;
    assert_eq!(of("7"), of("7"));
    assert_ne!(of("7"), of("8"));
}

#[test]
fn the_setting_can_be_given() {
    let options = [
        "--serial",
        "SB-11-V1",
        "--seed",
        "7",
        "--angle",
        "-90",
        "--offset",
        "-10,20,5",
        "--noiseless",
        "--json",
    ];
    let (out, _) = outcome(&options).unwrap();
    let shown: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(shown["setting"]["offset"], serde_json::json!([-10.0, 20.0, 5.0]));
    assert_eq!((&shown["units"], &shown["tip_diameter"]), (&"mm".into(), &4.0.into()));
    // Datum B is the front face, y = 0, touched at x = 8: turned by -90 degrees about Z its outward normal -y becomes -x;
    // the tip of radius 2 stands at x = -10 + 0 - 2 and y = 20 - 8 but for the tilt.
    let first = shown["points"]
        .as_array()
        .unwrap()
        .iter()
        .find(|p| p["feature"] == "B")
        .unwrap()
        .clone();
    let near = |key: &str, wanted: f64| (first[key].as_f64().unwrap() - wanted).abs() < 0.05;
    assert!(near("x", -12.0) && near("y", 12.0) && near("i", -1.0), "{first}");
}

#[test]
fn what_is_wrong_is_said() {
    let unknown = outcome(&["--serial", "SB-11-99", "--seed", "7"]).unwrap_err();
    assert!(
        unknown.starts_with("the plates file has no plate SB-11-99; it has SB-11-01, "),
        "{unknown}"
    );
    let no_seed = outcome(&["--serial", "SB-11-V1"]).unwrap_err();
    assert!(no_seed.contains("--seed"), "{no_seed}");
    let far = outcome(&["--serial", "SB-11-V1", "--seed", "7", "--angle", "NaN"]).unwrap_err();
    assert!(far.contains("cannot lie there"), "{far}");
}
