//! Computed against expected, field by field, as the geometry files lay tolerances out: a tolerance stands under the
//! name of its field; `<field>_rad` is an angle between directions, sign ignored; `covariance_rel` is relative.

use serde_json::{Map, Value};

use super::{Difference, Expected};

/// All tolerances of a case, and its sets of contact points, which have to be the same.
pub(super) fn by_field(expected: &Expected<'_>, computed: &Value) -> Vec<Difference> {
    let mut found = Vec::new();
    walk("", expected.values, expected.tolerance, computed, &mut found);
    found
}

fn walk(prefix: &str, values: &Value, tolerance: &Value, computed: &Value, found: &mut Vec<Difference>) {
    let none = Map::new();
    let limits = tolerance.as_object().unwrap_or(&none);
    for (key, limit) in limits {
        let field = format!("{prefix}{key}");
        match (limit, values.get(key)) {
            (Value::Object(_), Some(inner)) if inner.is_object() => {
                walk(
                    &format!("{field}."),
                    inner,
                    limit,
                    computed.get(key).unwrap_or(&Value::Null),
                    found,
                );
            }
            _ => {
                if let Some(limit) = limit.as_f64()
                    && let Some(difference) = difference_of(key, values, computed)
                {
                    found.push(Difference {
                        field,
                        difference,
                        tolerance: Some(limit),
                    });
                }
            }
        }
    }
    for (key, value) in values.as_object().unwrap_or(&none) {
        let field = || format!("{prefix}{key}");
        if key.starts_with("active") {
            let difference = if same_set(value, computed.get(key)) { 0.0 } else { 1.0 };
            found.push(Difference {
                field: field(),
                difference,
                tolerance: Some(0.0),
            });
        } else if !limits.contains_key(key)
            && !has_angle(limits, key)
            && let Some(difference) = computed.get(key).and_then(|c| largest_difference(value, c))
        {
            found.push(Difference {
                field: field(),
                difference,
                tolerance: None,
            });
        }
    }
}

fn has_angle(limits: &Map<String, Value>, key: &str) -> bool {
    let short = key.strip_prefix("outward_").unwrap_or(key);
    limits.contains_key(&format!("{short}_rad"))
}

/// The difference that a tolerance's name asks for. A field that was not computed is infinitely far off.
fn difference_of(key: &str, values: &Value, computed: &Value) -> Option<f64> {
    if key == "covariance_rel" {
        let of = |v: &Value| v.get("covariance_unit_noise").and_then(|c| c.get("matrix")).cloned();
        let expected = of(values)?;
        let largest = flat(&expected)?.iter().fold(0.0_f64, |most, v| most.max(v.abs()));
        let difference = of(computed).and_then(|c| largest_difference(&expected, &c));
        return Some(difference.map_or(f64::INFINITY, |d| d / largest));
    }
    if let Some(expected) = values.get(key) {
        let difference = computed.get(key).and_then(|got| largest_difference(expected, got));
        return Some(difference.unwrap_or(f64::INFINITY));
    }
    let direction = key.strip_suffix("_rad")?;
    let name = [direction.to_owned(), format!("outward_{direction}")]
        .into_iter()
        .find(|n| values.get(n).is_some())?;
    let (expected, got) = (flat(values.get(&name)?)?, computed.get(&name).and_then(flat));
    Some(got.map_or(f64::INFINITY, |got| angle(&expected, &got)))
}

/// Angle between two lines of directions. The sine, not the cosine: near zero the cosine has no digits.
pub(super) fn angle(a: &[f64], b: &[f64]) -> f64 {
    let at = |v: &[f64], i: usize| v.get(i).copied().unwrap_or(0.0);
    let minor = |i: usize, j: usize| at(a, i) * at(b, j) - at(a, j) * at(b, i);
    let sine = (minor(1, 2).powi(2) + minor(2, 0).powi(2) + minor(0, 1).powi(2)).sqrt();
    let cosine: f64 = a.iter().zip(b).map(|(x, y)| x * y).sum();
    sine.atan2(cosine.abs())
}

/// Distance between numbers or between points; over lists of lists the largest.
pub(super) fn largest_difference(expected: &Value, computed: &Value) -> Option<f64> {
    match (expected, computed) {
        (Value::Number(a), Value::Number(b)) => Some((a.as_f64()? - b.as_f64()?).abs()),
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            let each: Vec<f64> = a
                .iter()
                .zip(b)
                .map(|(a, b)| largest_difference(a, b))
                .collect::<Option<_>>()?;
            Some(if a.first().is_some_and(Value::is_number) {
                each.iter().map(|d| d * d).sum::<f64>().sqrt()
            } else {
                each.iter().fold(0.0, |most, d| most.max(*d))
            })
        }
        _ => None,
    }
}

fn flat(value: &Value) -> Option<Vec<f64>> {
    match value {
        Value::Number(n) => Some(vec![n.as_f64()?]),
        Value::Array(list) => list
            .iter()
            .map(flat)
            .collect::<Option<Vec<_>>>()
            .map(|lists| lists.concat()),
        _ => None,
    }
}

fn same_set(expected: &Value, computed: Option<&Value>) -> bool {
    let set = |value: &Value| {
        let mut list: Vec<u64> = value.as_array()?.iter().map(Value::as_u64).collect::<Option<_>>()?;
        list.sort_unstable();
        Some(list)
    };
    computed.is_some_and(|computed| set(expected) == set(computed))
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn check(values: Value, tolerance: Value, computed: Value) -> Vec<(String, bool)> {
        let expected = Expected {
            values: &values,
            tolerance: &tolerance,
        };
        by_field(&expected, &computed)
            .into_iter()
            .map(|d| (d.field.clone(), d.passes()))
            .collect()
    }

    #[test]
    fn holds_each_field_against_its_tolerance() {
        let values = json!({ "center": [1.0, 2.0], "radius": 3.0, "note": "text" });
        let tolerance = json!({ "center": 0.1, "radius": 0.1, "note": "text" });
        let near = check(
            values.clone(),
            tolerance.clone(),
            json!({ "center": [1.05, 2.05], "radius": 3.0 }),
        );
        assert!(near.iter().all(|(_, pass)| *pass) && near.len() == 2, "{near:?}");
        let far = check(values, tolerance, json!({ "center": [1.05, 2.2], "radius": 3.0 }));
        assert_eq!(far.iter().filter(|(_, pass)| !pass).count(), 1, "{far:?}");
    }

    #[test]
    fn directions_have_no_sign_and_sets_no_order() {
        let found = check(
            json!({ "direction": [0.6, 0.8], "active": [3, 1] }),
            json!({ "direction_rad": 1e-12 }),
            json!({ "direction": [-0.6, -0.8], "active": [1, 3] }),
        );
        assert!(found.iter().all(|(_, pass)| *pass) && found.len() == 2, "{found:?}");
        let other = check(json!({ "active": [3, 1] }), json!({}), json!({ "active": [1, 2] }));
        assert_eq!(other, [("active".to_owned(), false)]);
    }

    #[test]
    fn covariance_is_relative_to_its_largest_entry() {
        let matrix = |a: f64| json!({ "covariance_unit_noise": { "matrix": [[a, 1e-30], [1e-30, 1.0]] } });
        let found = check(matrix(4.0), json!({ "covariance_rel": 1e-6 }), matrix(4.000_002));
        assert_eq!(found[0], ("covariance_rel".to_owned(), true));
        let found = check(matrix(4.0), json!({ "covariance_rel": 1e-6 }), matrix(4.000_02));
        assert_eq!(found[0], ("covariance_rel".to_owned(), false));
    }
}
