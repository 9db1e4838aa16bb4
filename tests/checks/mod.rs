//! Readers against the files of the formats' pages, and against hard cases of our own.

mod conformity;
mod csv;
mod csv_command;
mod csv_hard;
mod csv_limits;
mod diagnosis;
mod forward_model;
mod fuzz_findings;
// It needs a newer bash than Macs have.
#[cfg(target_os = "linux")]
mod fuzz_run;
mod geometry;
mod geometry_commands;
mod geometry_hard;
mod geometry_properties;
mod grading;
mod plan_command;
mod points_command;
mod propose_command;
mod queries;
mod sample_reports;
mod statistics;
mod tolerance;

use serde_json::Value;

/// Where `actual` does not hold what `expected` says: every key must be there with an equal value (null and absent
/// mean the same), arrays element by element. Further keys are allowed; `about` is a remark.
fn difference(expected: &Value, actual: &Value, path: &str) -> Option<String> {
    match (expected, actual) {
        (Value::Object(wanted), Value::Object(given)) => {
            wanted
                .iter()
                .filter(|(key, _)| *key != "about")
                .find_map(|(key, value)| {
                    difference(value, given.get(key).unwrap_or(&Value::Null), &format!("{path}.{key}"))
                })
        }
        (Value::Array(wanted), Value::Array(given)) => {
            if wanted.len() != given.len() {
                return Some(format!(
                    "{path}: {} entries wanted: {expected}\n{} given: {actual}",
                    wanted.len(),
                    given.len()
                ));
            }
            wanted
                .iter()
                .zip(given)
                .enumerate()
                .find_map(|(i, (w, g))| difference(w, g, &format!("{path}[{i}]")))
        }
        _ if expected == actual => None,
        _ => Some(format!("{path}: wanted {expected}, given {actual}")),
    }
}

#[test]
fn differences_are_found() {
    use serde_json::json;
    let check = |expected: Value, actual: Value, differs: bool| {
        assert_eq!(
            difference(&expected, &actual, "").is_some(),
            differs,
            "{expected} {actual}"
        );
    };
    check(json!({"a": 1, "about": "x"}), json!({"a": 1, "b": 2}), false);
    check(json!({"a": null}), json!({}), false);
    check(json!({"a": 1}), json!({}), true);
    check(json!({"a": null}), json!({"a": 1}), true);
    check(json!([1, 2]), json!([1, 2, 3]), true);
    check(json!([{"a": [1]}]), json!([{"a": [2]}]), true);
    check(json!("1.0"), json!("1"), true);
}
