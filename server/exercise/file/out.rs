//! Pieces of TOML 1.0 text.

use std::fmt::Write as _;

use rust_decimal::Decimal;

/// Text that grows line by line.
#[derive(Debug, Default)]
pub(super) struct Out {
    text: String,
}

impl Out {
    /// One line.
    pub(super) fn line(&mut self, line: impl AsRef<str>) {
        self.text.push_str(line.as_ref());
        self.text.push('\n');
    }

    /// A header, with an empty line before it.
    pub(super) fn header(&mut self, header: &str) {
        if !self.text.is_empty() {
            self.text.push('\n');
        }
        self.line(header);
    }

    /// `key = value`, the equals sign at least `width` characters from the margin.
    pub(super) fn pair(&mut self, width: usize, key: &str, value: impl AsRef<str>) {
        self.line(format!("{key:width$} = {}", value.as_ref()));
    }

    /// The whole text.
    pub(super) fn finish(self) -> String {
        self.text
    }
}

/// A basic string.
pub(in crate::exercise) fn quoted(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 2);
    out.push('"');
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            c if c.is_control() => {
                // Writing to a string cannot fail.
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// A number exactly as it is.
pub(super) fn number(value: Decimal) -> String {
    value.to_string()
}

/// A number far below one, exactly, with a power of ten; one from 0.001 as [`number`].
pub(super) fn tiny(value: Decimal) -> String {
    if value.is_zero() || value.abs() >= Decimal::new(1, 3) {
        return number(value);
    }
    let short = value.normalize();
    let digits = short.mantissa().unsigned_abs().to_string();
    let (first, rest) = digits.split_at(1);
    let sign = if short.is_sign_negative() { "-" } else { "" };
    let point = if rest.is_empty() { "" } else { "." };
    let exponent = i64::try_from(rest.len()).unwrap_or(0) - i64::from(short.scale());
    format!("{sign}{first}{point}{rest}e{exponent}")
}

/// A list of numbers.
pub(super) fn numbers(values: &[Decimal]) -> String {
    listed(values.iter().map(|v| number(*v)))
}

/// A list of places.
pub(super) fn places(places: &[[Decimal; 2]]) -> String {
    listed(places.iter().map(|p| numbers(p)))
}

/// A direction; whole components without a point.
pub(super) fn direction(v: [f64; 3]) -> String {
    listed(v.iter().map(|c| {
        if c.fract().abs() > 0.0 {
            format!("{c:?}")
        } else {
            format!("{:.0}", c + 0.0)
        }
    }))
}

/// A list of values that are text already.
pub(super) fn listed(values: impl Iterator<Item = String>) -> String {
    format!("[{}]", values.collect::<Vec<_>>().join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_text_are_written_as_toml_has_them() {
        for (value, expected) in [
            ("32", "32"),
            ("25.050", "25.050"),
            ("-0.001", "-0.001"),
            ("0.000004", "4e-6"),
            ("0.0000236", "2.36e-5"),
            ("-0.00090", "-9e-4"),
            ("0.0", "0.0"),
        ] {
            assert_eq!(tiny(value.parse().unwrap()), expected);
        }
        assert_eq!(number(Decimal::new(-60, 6)), "-0.000060");
        assert_eq!(quoted("a \"b\" \\ é\n\u{1}"), "\"a \\\"b\\\" \\\\ é\\n\\u0001\"");
        assert_eq!(direction([0.0, -1.0, 0.5_f64.sqrt()]), "[0, -1, 0.7071067811865476]");
        assert_eq!(direction([-0.0, 0.0, 1e-17]), "[0, 0, 1e-17]");
    }
}
