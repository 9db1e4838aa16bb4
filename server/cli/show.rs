//! Numbers for people.

use serde_json::Value;

/// Six decimals, or an exponent where that would show nothing or too much.
pub(super) fn number(value: f64) -> String {
    let size = value.abs();
    // What rounding leaves of nothing.
    let value = if size < 1e-15 { 0.0 } else { value };
    if size < 1e-15 || (1e-3..1e7).contains(&size) {
        format!("{value:.6}")
    } else {
        format!("{value:.3e}")
    }
}

/// A value on one line.
pub(super) fn value(value: &Value) -> String {
    match value {
        Value::Number(n) if n.is_f64() => number(n.as_f64().unwrap_or_default()),
        Value::Array(list) if list.iter().all(Value::is_array) => {
            list.iter().map(self::value).collect::<Vec<_>>().join("; ")
        }
        Value::Array(list) => list.iter().map(self::value).collect::<Vec<_>>().join(", "),
        Value::Object(fields) => fields
            .iter()
            .map(|(name, value)| format!("{name} {}", self::value(value)))
            .collect::<Vec<_>>()
            .join(", "),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}
