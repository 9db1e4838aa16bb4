//! The commands about geometry: `fit`, `frame`, `verify`.

use std::fs;
use std::io::Cursor;
use std::path::Path;

use clap::Parser;
use platemark::cli::{Cli, Command, Streams, fit, frame, verify};
use serde_json::Value;

struct Outcome {
    /// As a status prints itself, or the message of an error.
    end: String,
    out: String,
    err: String,
}

/// What a command line does with an input; `FILE` among the words stands for a file of that content.
fn run(words: &[&str], input: &str) -> Outcome {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("points.csv");
    fs::write(&file, input).unwrap();
    let words = words
        .iter()
        .map(|word| if *word == "FILE" { file.to_str().unwrap() } else { word });
    let cli = Cli::try_parse_from(["platemark"].into_iter().chain(words)).unwrap();
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let mut streams = Streams {
        input: Box::new(Cursor::new(input.as_bytes().to_vec())),
        output: Box::new(&mut out),
        errors: Box::new(&mut err),
    };
    let end = match &cli.command {
        Command::Fit(args) => fit::run(args, &mut streams),
        Command::Frame(args) => frame::run(args, &mut streams),
        Command::Verify(args) => verify::run(args, &mut streams),
        _ => unreachable!("only these are run here"),
    };
    drop(streams);
    let end = match end {
        Ok(code) => format!("{code:?}"),
        Err(error) => format!("{error:#}").replace(file.to_str().unwrap(), "FILE"),
    };
    Outcome {
        end,
        out: String::from_utf8(out).unwrap(),
        err: String::from_utf8(err).unwrap().replace(file.to_str().unwrap(), "FILE"),
    }
}

fn success() -> String {
    format!("{:?}", std::process::ExitCode::SUCCESS)
}

const QUARTER_TURNS: &str = "x,y\n5.01,0\n0,5\n-4.99,0\n0,-5\n";

#[test]
fn a_circle_for_people() {
    let outcome = run(&["fit", "circle2d", "-", "--residuals"], QUARTER_TURNS);
    assert_eq!(outcome.end, success());
    insta::assert_snapshot!(outcome.out, @r#"
    circle2d, least-squares, 4 points
      arc_covered_deg                269.885000
      center                         0.010000, 0.000000
      diameter                       10.000010
      form                           1.001e-5
      max_residual                   5.000e-6
      min_residual                   -5.010e-6
      radius                         5.000005
      rms                            5.000e-6
      sum_of_squares                 1.000e-10
      standard uncertainty of each parameter, for point noise of 1 (angles in radians):
        x0                           0.707106
        y0                           0.707108
        r                            0.500000
      point  residual
          1  -4.990e-6
          2  5.000e-6
          3  -5.010e-6
          4  5.000e-6
    "#);
    let outcome = run(
        &["fit", "circle2d", "FILE", "--criterion", "minimum-zone"],
        QUARTER_TURNS,
    );
    insta::assert_snapshot!(outcome.out, @r#"
    circle2d, minimum-zone, 4 points
      touched_by_point_inner         1, 3
      touched_by_point_outer         2, 4
      center                         0.010000, 0.000000
      inner_radius                   5.000000
      outer_radius                   5.000010
      zone_width                     1.000e-5
    "#);
}

#[test]
fn a_circle_as_json() {
    let outcome = run(&["fit", "circle2d", "-", "--json"], QUARTER_TURNS);
    let value: Value = serde_json::from_str(&outcome.out).unwrap();
    assert_eq!((value["points"].as_u64(), value["rank"].as_u64()), (Some(4), Some(3)));
    assert!((value["radius"].as_f64().unwrap() - 5.0).abs() < 1e-4, "{value}");
    assert_eq!(value["residuals"].as_array().unwrap().len(), 4);
    assert_eq!(value["covariance_unit_noise"]["parameters"][2], "r");
}

#[test]
fn lines_of_one_feature() {
    let points = "feature,x,y,z,i,j,k\nA,0,0,1,0,0,1\nB,9,9,9,0,0,1\nA,5,0,1,,,\nA,0,5,1,,,\n";
    let outcome = run(&["fit", "plane", "-", "--feature", "A", "--json"], points);
    let value: Value = serde_json::from_str(&outcome.out).unwrap();
    assert_eq!(
        (value["points"].as_u64(), value["offset"].as_f64()),
        (Some(3), Some(1.0))
    );
    let outcome = run(&["fit", "plane", "FILE", "--feature", "D"], points);
    assert_eq!(outcome.end, "FILE: no line of feature `D`");
}

#[test]
fn a_nominal_chooses() {
    // Five hits on the wall of radius 5 about (1, 2), axis z.
    let points = "6,2,0\n1,7,1\n-4,2,6\n1,-3,8\n4,6,11\n";
    let outcome = run(&["fit", "cylinder", "-"], points);
    assert!(
        outcome.out.contains("these points fit other figures about as well"),
        "{}",
        outcome.out
    );
    let words = [
        "fit",
        "cylinder",
        "-",
        "--nominal",
        "point=1,2,5",
        "--nominal",
        "direction=0,0,1",
        "--nominal",
        "radius=5.1",
    ];
    let outcome = run(&words, points);
    assert!(
        outcome.out.contains("radius                         5.000000"),
        "{}",
        outcome.out
    );
    assert!(!outcome.out.contains("other figures"), "{}", outcome.out);
    let outcome = run(&["fit", "cylinder", "-", "--nominal", "radius=5"], points);
    assert_eq!(outcome.end, "-: --nominal point=... is missing");
}

#[test]
fn points_at_fault_are_told_with_their_place() {
    let check = |words: &[&str], points: &str| run(words, points).end;
    let circle = ["fit", "circle2d", "FILE"];
    insta::assert_snapshot!(check(&circle, "0,0\n1,1\n2,2\n"), @"FILE: the 3 points lie on a straight line (9.1e-17 wide, 2.828427 long): a circle needs points off that line");
    insta::assert_snapshot!(check(&circle, "0,0\n1,\n2\n3,4mm\n"), @r#"
    FILE: line 2, column 2: no value: every point needs all its coordinates
    FILE: line 3, column 1: 1 values where the lines before have 2: the line is torn, or a value is missing
    FILE: line 4, column 2: `4mm` carries a unit: give all coordinates in one unit, as plain numbers
    "#);
    insta::assert_snapshot!(check(&["fit", "cylinder", "FILE"], "0,0,0\n1,0,0\n0,1,0\n2,2,2\n"), @"FILE: a cylinder needs at least 5 points, 4 given");
    insta::assert_snapshot!(check(&["fit", "sphere", "FILE"], "0,0\n1,0\n0,1\n2,2\n"), @"FILE: sphere takes points with x, y and z; these have x and y only");
    insta::assert_snapshot!(check(&["fit", "circle2d", "no-such-file.csv"], ""), @"no-such-file.csv cannot be read. Check the name and that it is a file.: No such file or directory (os error 2)");
}

#[test]
fn a_criterion_that_a_figure_does_not_have_is_usage() {
    let outcome = run(&["fit", "sphere", "-", "--criterion", "minimum-zone"], "0,0,0\n");
    assert_eq!(outcome.end, format!("{:?}", std::process::ExitCode::from(2)));
    insta::assert_snapshot!(outcome.err, @"--criterion minimum-zone is for line2d, plane, circle2d; sphere takes least-squares");
}

/// A plate in its own place, tip of 2 mm.
const PLATE: &str = "feature,x,y,z,i,j,k
A,10,10,1,0,0,1
A,110,10,1,0,0,1
A,60,70,1,0,0,1
B,-1,10,-5,-1,0,0
B,-1,70,-5,-1,0,0
C,50,-1,-5,0,-1,0
bore,24,30,-5,-1,0,0
bore,20,34,-5,0,-1,0
bore,16,30,-5,1,0,0
bore,20,26,-5,0,1,0
dowel,99,60,-5,-1,0,0
dowel,95,64,-5,0,-1,0
dowel,91,60,-5,1,0,0
dowel,95,56,-5,0,1,0
";

#[test]
fn three_ways_to_a_frame() {
    let faces = ["frame", "-", "--tip-diameter", "2"];
    insta::assert_snapshot!(run(&faces, PLATE).out, @r#"
    machine to part (p_part = R p_machine + t), R and t row by row:
       1.000000000  0.000000000  0.000000000         0.000000
       0.000000000  1.000000000  0.000000000         0.000000
       0.000000000  0.000000000  1.000000000         0.000000
    part origin in the machine: 0.000000, 0.000000, 0.000000
    primary form: 0.000000
    secondary form: 0.000000
    standard uncertainties for point noise of 1: shift 1.180631, 1.548969, 1.195129; turn in radians 0.020412, 0.014142, 0.023570
    "#);
    for more in [
        &["--origin", "bore@20,30"][..],
        &["--origin", "bore@20,30", "--toward", "dowel@95,60"],
    ] {
        let words = [&faces[..], more, &["--json", "--part-points"]].concat();
        let value: Value = serde_json::from_str(&run(&words, PLATE).out).unwrap();
        for (i, row) in value["machine_to_part"].as_array().unwrap().iter().enumerate() {
            for (j, entry) in row.as_array().unwrap().iter().enumerate() {
                let wanted = if i == j { 1.0 } else { 0.0 };
                assert!((entry.as_f64().unwrap() - wanted).abs() < 1e-13, "{more:?}: {value}");
            }
        }
        assert_eq!(value["part_points"].as_array().unwrap().len(), 14);
    }
}

#[test]
fn a_frame_says_what_is_missing() {
    let check = |words: &[&str], points: &str| run(words, points).end;
    insta::assert_snapshot!(check(&["frame", "FILE", "--tip-diameter", "2", "--primary", "D=top"], PLATE), @"FILE: no line of feature `D`, which is a datum");
    insta::assert_snapshot!(check(&["frame", "FILE", "--tip-diameter", "-2"], PLATE), @"FILE: tip radius -1: it must be zero or more, and finite");
    insta::assert_snapshot!(check(&["frame", "FILE", "--tip-diameter", "2"], "1,2,3\n"), @"FILE: a frame takes lines of feature,x,y,z; headings say which column is which");
    insta::assert_snapshot!(check(&["frame", "FILE", "--tip-diameter", "2", "--secondary", "B=top"], PLATE), @"FILE: two datums set the same axis: the three must set x, y and z, each once");
}

#[test]
fn verify_prints_a_table_and_fails_where_a_case_does() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/geometry/tip_compensation.json");
    let outcome = run(&["verify", path.to_str().unwrap(), "--summary"], "");
    assert_eq!(outcome.end, success());
    assert_eq!(outcome.out.lines().count(), 2, "{}", outcome.out);
    let text = fs::read_to_string(&path).unwrap();
    let mut file: Value = serde_json::from_str(&text).unwrap();
    file["cases"][0]["expected"]["diameter"] = 20.1.into();
    let outcome = run(&["verify", "-", "--summary"], &file.to_string());
    assert_eq!(outcome.end, format!("{:?}", std::process::ExitCode::FAILURE));
    assert!(outcome.out.contains("<- over"), "{}", outcome.out);
}

#[test]
fn verify_as_json_has_every_case() {
    let case = r#"{"cases": [{"id": "a", "points": [[0, 0], [6, 0], [0, 8]]}, {"id": 2, "points": [[0, 0]]}]}"#;
    let outcome = run(&["verify", "-", "--family", "gaussian_circle2d", "--json"], case);
    let value: Value = serde_json::from_str(&outcome.out).unwrap();
    assert_eq!(
        (&value["family"], &value["cases"][0]["id"]),
        (&"gaussian_circle2d".into(), &"a".into())
    );
    assert!(value["cases"][0]["pass"].is_null());
    assert!((value["cases"][0]["computed"]["radius"].as_f64().unwrap() - 5.0).abs() < 1e-14);
    assert_eq!(value["cases"][1]["computed"]["status"], "undetermined");
    assert_eq!(value["cases"][1]["id"], "2");
}

#[test]
fn verify_says_what_a_file_lacks() {
    let check = |words: &[&str], text: &str| run(words, text).end;
    insta::assert_snapshot!(check(&["verify", "FILE"], "{\"cases\": [}"), @"FILE: this is not JSON: expected value at line 1 column 12");
    insta::assert_snapshot!(check(&["verify", "FILE", "--family", "gaussian_plane"], "[]"), @"FILE: no cases: the file must be an object with a list under `cases`");
    let unknown = check(&["verify", "FILE"], "{\"cases\": []}");
    assert!(
        unknown.starts_with("FILE: nothing says which family these cases are"),
        "{unknown}"
    );
}
