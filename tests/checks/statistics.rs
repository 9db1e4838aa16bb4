//! Files of reference cases, run the way the command runs them.

use std::fs;
use std::io::Cursor;
use std::path::PathBuf;

use clap::Parser;
use platemark::cli::{Cli, Command, Streams, verify as command};
use platemark::cohort::verify;
use serde_json::Value;

/// Runs `tests/data/statistics/<name>`; it has so many cases, and each has to pass.
pub(super) fn passes(name: &str, cases: usize) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/statistics")
        .join(name);
    let file: Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
    let stem = path.file_stem().unwrap().to_str();
    let found = verify::run(&file, stem, None).unwrap();
    assert_eq!(found.cases.len(), cases, "{name}");
    for case in &found.cases {
        let (id, differences) = (&case.id, &case.differences);
        assert_eq!(case.pass, Some(true), "{name} {id}: {differences:?} {}", case.computed);
    }
}

#[test]
fn statistics_of_a_class() {
    for (name, cases) in [
        ("proficiency_scores.json", 14),
        ("robust_statistics.json", 7),
        ("anova_strd.json", 5),
        ("gauge_rr.json", 6),
        ("gauge_study_nested.json", 3),
        ("item_analysis.json", 7),
        ("attribute_agreement.json", 15),
        ("duplicate_reports.json", 12),
    ] {
        passes(name, cases);
    }
}

#[test]
fn uncertainty_of_measurement() {
    passes("measurement_uncertainty.json", 22);
}

/// The command runs the families of statistics too, and computes a case that expects nothing.
#[test]
fn the_command_knows_the_families_of_statistics() {
    let case = r#"{ "cases": [{ "id": "w", "input": { "kind": "wilson", "x": 0, "n": 20, "confidence": 0.95 } }] }"#;
    let words = ["platemark", "verify", "-", "--family", "attribute_agreement", "--json"];
    let Command::Verify(args) = Cli::try_parse_from(words).unwrap().command else {
        unreachable!("the words say verify");
    };
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let mut streams = Streams {
        input: Box::new(Cursor::new(case.as_bytes())),
        output: Box::new(&mut out),
        errors: Box::new(&mut err),
    };
    command::run(&args, &mut streams).unwrap();
    drop(streams);
    let value: Value = serde_json::from_slice(&out).unwrap();
    assert_eq!(
        (&value["family"], &value["cases"][0]["pass"]),
        (&"attribute_agreement".into(), &Value::Null)
    );
    // Source: 0 of 20, 0.1611 (R. G. Newcombe, Statistics in Medicine 17, 1998, 857-872, table I); tolerance 5e-5.
    let upper = value["cases"][0]["computed"]["upper"].as_f64().unwrap();
    assert!((upper - 0.1611).abs() < 5e-5, "{upper}");
}
