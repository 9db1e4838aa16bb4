//! Lists, tables and counts out of a case.

use serde_json::Value;

pub(super) fn list<'a>(value: &'a Value, key: &str) -> Result<&'a [Value], String> {
    value
        .get(key)
        .and_then(Value::as_array)
        .map(Vec::as_slice)
        .ok_or_else(|| format!("`{key}` must be a list"))
}

pub(super) fn numbers(value: &Value, key: &str) -> Result<Vec<f64>, String> {
    let list = list(value, key)?;
    list.iter()
        .map(|v| v.as_f64().ok_or_else(|| format!("`{key}` has {v}, which is no number")))
        .collect()
}

/// A list of lists of numbers.
pub(super) fn rows(value: &Value, key: &str) -> Result<Vec<Vec<f64>>, String> {
    list(value, key)?.iter().map(|row| row_of(row, key)).collect()
}

/// A list of lists of lists of numbers.
pub(super) fn layers(value: &Value, key: &str) -> Result<Vec<Vec<Vec<f64>>>, String> {
    list(value, key)?
        .iter()
        .map(|layer| {
            let rows = layer
                .as_array()
                .ok_or_else(|| format!("`{key}` must be lists of lists of lists"))?;
            rows.iter().map(|row| row_of(row, key)).collect()
        })
        .collect()
}

fn row_of(row: &Value, key: &str) -> Result<Vec<f64>, String> {
    let numbers = row
        .as_array()
        .map(|row| row.iter().map(Value::as_f64).collect::<Option<Vec<f64>>>());
    numbers
        .flatten()
        .ok_or_else(|| format!("`{key}` has {row}, which is no list of numbers"))
}

/// A count: a whole number that is not negative, written as 20 or 20.0.
pub(super) fn count(value: &Value, key: &str) -> Result<u64, String> {
    value
        .get(key)
        .and_then(whole)
        .ok_or_else(|| format!("`{key}` must be a count"))
}

pub(super) fn size(value: &Value, key: &str) -> Result<usize, String> {
    let count = count(value, key)?;
    usize::try_from(count).map_err(|_| format!("`{key}` is too large"))
}

pub(super) fn counts(value: &Value, key: &str) -> Result<Vec<Vec<u64>>, String> {
    list(value, key)?
        .iter()
        .map(|row| {
            let counts = row
                .as_array()
                .map(|row| row.iter().map(whole).collect::<Option<Vec<u64>>>());
            counts
                .flatten()
                .ok_or_else(|| format!("`{key}` has {row}, which is no list of counts"))
        })
        .collect()
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "whole, and between 0 and 2^53"
)]
fn whole(value: &Value) -> Option<u64> {
    value.as_u64().or_else(|| {
        let number = value.as_f64()?;
        (number.fract().abs() <= 0.0 && (0.0..9e15).contains(&number)).then_some(number as u64)
    })
}

/// An error as words.
pub(super) fn said(error: impl std::fmt::Display) -> String {
    error.to_string()
}

/// What `kind` may be.
pub(super) fn unknown(kind: &str, known: &str) -> String {
    format!("`kind` is {kind}; it must be one of {known}")
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn counts_are_whole_and_not_negative() {
        for (value, expected) in [
            (json!(20), Some(20)),
            (json!(20.0), Some(20)),
            (json!(1.5), None),
            (json!(-1), None),
            (json!("1"), None),
        ] {
            assert_eq!(whole(&value), expected, "{value}");
        }
        assert!(rows(&json!({ "a": [[1, 2], 3] }), "a").is_err());
        assert!(layers(&json!({ "a": [[[1, 2]], [[1, "x"]]] }), "a").is_err());
        assert!(numbers(&json!({}), "a").is_err());
    }
}
