//! Words and numbers out of a case, the numbers with the decimals that were typed.

use rust_decimal::Decimal;
use serde_json::Value;

use super::input::number;

/// A number, or the text of one.
pub(crate) fn decimal(value: &Value, key: &str) -> Result<Decimal, String> {
    optional_decimal(value, key)?.ok_or_else(|| format!("`{key}` must be a number"))
}

/// The same, where null or nothing may stand. The text of a JSON number is the shortest that reads back to the same
/// double, so that 12.05 is 12.05.
pub(crate) fn optional_decimal(value: &Value, key: &str) -> Result<Option<Decimal>, String> {
    let typed = match value.get(key) {
        None | Some(Value::Null) => return Ok(None),
        Some(Value::Number(number)) => number.to_string(),
        Some(Value::String(text)) => text.clone(),
        Some(_) => return Err(format!("`{key}` must be a number")),
    };
    let read = Decimal::from_str_exact(&typed).or_else(|_| Decimal::from_scientific(&typed));
    read.map(Some)
        .map_err(|_| format!("`{key}` is {typed}, which is no number that decimals can hold"))
}

/// A number, where null or nothing may stand.
pub(crate) fn optional_number(value: &Value, key: &str) -> Result<Option<f64>, String> {
    match value.get(key) {
        None | Some(Value::Null) => Ok(None),
        Some(_) => number(value, key).map(Some),
    }
}

/// A word.
pub(crate) fn text<'a>(value: &'a Value, key: &str) -> Result<&'a str, String> {
    value
        .get(key)
        .and_then(Value::as_str)
        .ok_or_else(|| format!("`{key}` must be text"))
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn typed_decimals_stay_what_they_are() {
        let case = json!({ "a": 12.05, "b": "0.015625", "c": 1.17e-5, "d": null, "e": 1e300, "f": "x", "g": 25 });
        for (key, expected) in [("a", "12.05"), ("b", "0.015625"), ("c", "0.0000117"), ("g", "25")] {
            assert_eq!(decimal(&case, key).unwrap().to_string(), expected);
        }
        assert_eq!(optional_decimal(&case, "d"), Ok(None));
        assert_eq!(optional_number(&case, "h"), Ok(None));
        for key in ["d", "e", "f"] {
            assert!(decimal(&case, key).is_err(), "{key}");
        }
    }
}
