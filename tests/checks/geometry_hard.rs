//! Cases harder than the reference files. Source, method and tolerances: `tests/data/hard/README.md` and each file.

use std::fs;
use std::path::Path;

use platemark::cohort::verify;
use serde_json::Value;

#[test]
fn hard_cases_agree_with_fifty_digits() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/hard");
    let mut failed = Vec::new();
    let (mut families, mut cases) = (0, 0);
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|extension| extension != "json") {
            continue;
        }
        let file: Value = serde_json::from_str(&fs::read_to_string(&path).unwrap()).unwrap();
        let result = verify::run(&file, None, None).unwrap();
        families += 1;
        for case in result.cases {
            cases += 1;
            if case.pass != Some(true) {
                failed.push(format!(
                    "{} {}: {:?} {}",
                    result.family,
                    case.id,
                    case.worst(),
                    case.computed
                ));
            }
        }
    }
    assert!(failed.is_empty(), "{}", failed.join("\n"));
    assert!(families >= 26 && cases >= 340, "{families} families, {cases} cases");
}
