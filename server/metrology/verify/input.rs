//! Numbers and points out of a case.

use serde_json::Value;

pub(crate) fn number(value: &Value, key: &str) -> Result<f64, String> {
    value
        .get(key)
        .and_then(Value::as_f64)
        .ok_or_else(|| format!("`{key}` must be a number"))
}

pub(super) fn vector<const D: usize>(value: &Value, key: &str) -> Result<[f64; D], String> {
    value
        .get(key)
        .and_then(coordinates)
        .ok_or_else(|| format!("`{key}` must be a list of {D} numbers"))
}

pub(super) fn points<const D: usize>(case: &Value, key: &str) -> Result<Vec<[f64; D]>, String> {
    let list = case
        .get(key)
        .and_then(Value::as_array)
        .ok_or_else(|| format!("`{key}` must be a list of points"))?;
    let wrong = |index: usize| format!("`{key}`[{index}] must be a list of {D} numbers");
    list.iter()
        .enumerate()
        .map(|(index, p)| coordinates(p).ok_or_else(|| wrong(index)))
        .collect()
}

/// Zero-based positions, each below `count`.
pub(super) fn indices(list: Option<&Value>, what: &str, count: usize) -> Result<Vec<usize>, String> {
    let list = list
        .and_then(Value::as_array)
        .ok_or_else(|| format!("`{what}` must be a list of positions in `points`"))?;
    list.iter()
        .map(|value| {
            let index = value
                .as_u64()
                .and_then(|i| usize::try_from(i).ok())
                .filter(|&i| i < count);
            index.ok_or_else(|| format!("`{what}` has {value}, which is no position in `points` ({count} given)"))
        })
        .collect()
}

fn coordinates<const D: usize>(value: &Value) -> Option<[f64; D]> {
    let list = value.as_array()?;
    let numbers: Vec<f64> = list.iter().map(Value::as_f64).collect::<Option<_>>()?;
    numbers.try_into().ok()
}
