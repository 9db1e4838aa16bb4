//! Files of reference cases, run the way the command runs them.

use std::fs;
use std::path::PathBuf;

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
