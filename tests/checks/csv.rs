//! The files of the CSV page: each sample reads as its `.expected.json` says, each invalid one is refused.

use std::fs;
use std::path::PathBuf;

use platemark::report::table::{ReadOptions, read};
use serde_json::Value;

use super::difference;

fn folder(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/csv")
        .join(name)
}

fn json(path: &PathBuf) -> Value {
    serde_json::from_slice(&fs::read(path).unwrap()).unwrap()
}

#[test]
fn samples() {
    let mut count = 0;
    for entry in fs::read_dir(folder("samples")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|extension| extension != "csv") {
            continue;
        }
        let table = read(&fs::read(&path).unwrap(), &ReadOptions::default());
        let actual = serde_json::to_value(table.unwrap()).unwrap();
        let expected = json(&path.with_extension("expected.json"));
        assert_eq!(difference(&expected, &actual, ""), None, "{}", path.display());
        count += 1;
    }
    assert_eq!(count, 15);
}

#[test]
fn files_to_refuse() {
    let expected = json(&folder("invalid").join("expected.json"));
    let expected = expected.as_object().unwrap();
    assert_eq!(expected.len(), 4);
    for (name, wanted) in expected {
        let refusal = read(
            &fs::read(folder("invalid").join(name)).unwrap(),
            &ReadOptions::default(),
        )
        .unwrap_err();
        assert_eq!(refusal.code(), wanted["code"], "{name}: {refusal}");
        assert!(refusal.to_string().len() > 30, "{name}: {refusal}");
    }
}
