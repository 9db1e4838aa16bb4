//! Computed against expected, as the statistics files lay tolerances out: `{abs, rel, per_key}`. A number passes within
//! max(abs, rel x |expected|), where `per_key` overrides both for a name; everything else has to be the same.

use serde_json::Value;

use super::{Difference, Expected};

/// Every leaf of what is expected. A leaf that is not a number, or was not computed, is either the same or infinitely far
/// off.
#[must_use]
pub fn by_rule(expected: &Expected<'_>, computed: &Value) -> Vec<Difference> {
    let mut found = Vec::new();
    walk("", "", expected.values, computed, expected.tolerance, &mut found);
    found
}

fn walk(field: &str, key: &str, expected: &Value, computed: &Value, rule: &Value, found: &mut Vec<Difference>) {
    let below = |name: &str| {
        if field.is_empty() {
            name.to_owned()
        } else {
            format!("{field}.{name}")
        }
    };
    match (expected, computed) {
        (Value::Object(fields), _) => {
            for (name, value) in fields {
                let got = computed.get(name).unwrap_or(&NOT_COMPUTED);
                walk(&below(name), name, value, got, rule, found);
            }
        }
        (Value::Array(values), Value::Array(got)) if values.len() == got.len() => {
            for (index, (value, got)) in values.iter().zip(got).enumerate() {
                walk(&below(&index.to_string()), key, value, got, rule, found);
            }
        }
        _ => {
            let (difference, tolerance) = leaf(key, expected, computed, rule);
            found.push(Difference {
                field: field.to_owned(),
                difference,
                tolerance: Some(tolerance),
            });
        }
    }
}

/// Stands where nothing was computed; no case expects this text.
static NOT_COMPUTED: Value = Value::String(String::new());

fn leaf(key: &str, expected: &Value, computed: &Value, rule: &Value) -> (f64, f64) {
    match (expected.as_f64(), computed.as_f64()) {
        (Some(expected), Some(computed)) => ((expected - computed).abs(), allowed(key, expected, rule)),
        _ if expected == computed => (0.0, 0.0),
        _ => (f64::INFINITY, 0.0),
    }
}

fn allowed(key: &str, expected: f64, rule: &Value) -> f64 {
    let rule = rule.get("per_key").and_then(|keys| keys.get(key)).unwrap_or(rule);
    let part = |name: &str| rule.get(name).and_then(Value::as_f64).unwrap_or(0.0);
    part("abs").max(part("rel") * expected.abs())
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn check(values: Value, tolerance: Value, computed: Value, expected: &[(&str, bool)]) {
        let found = by_rule(
            &Expected {
                values: &values,
                tolerance: &tolerance,
            },
            &computed,
        );
        let found: Vec<_> = found
            .iter()
            .map(|d| (d.field.as_str(), d.tolerance.is_some_and(|t| d.difference <= t)))
            .collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn the_larger_of_both_tolerances_holds_and_a_key_can_have_its_own() {
        let rule = json!({ "abs": 0.1, "rel": 0.01, "per_key": { "b": { "rel": 0.1 } } });
        check(
            json!({ "a": 100.0, "b": 1.0, "c": 1.0 }),
            rule,
            json!({ "a": 100.9, "b": 1.2, "c": 1.09 }),
            &[("a", true), ("b", false), ("c", true)],
        );
    }

    #[test]
    fn words_nulls_and_missing_fields_have_to_be_the_same() {
        check(
            json!({ "n": null, "s": "x", "t": true, "l": [1, 2], "o": { "p": 0 } }),
            json!({ "abs": 1e-9 }),
            json!({ "n": null, "s": "y", "l": [1, 2.5], "o": { "p": 0.0 } }),
            &[
                ("l.0", true),
                ("l.1", false),
                ("n", true),
                ("o.p", true),
                ("s", false),
                ("t", false),
            ],
        );
        check(json!({ "n": null }), json!({}), json!({}), &[("n", false)]);
    }
}
