//! Numbers as people type them, written as the file has them.

/// A number in the file's form, or nothing where the text is none. The digits stay those that were typed.
pub(super) fn in_file(typed: &str) -> Option<String> {
    let text = typed.trim().replace('\u{2212}', "-");
    let (sign, rest) = match text.strip_prefix('-') {
        Some(rest) => ("-", rest),
        None => ("", text.strip_prefix('+').unwrap_or(&text)),
    };
    let (digits, exponent) = match rest.split_once(['e', 'E']) {
        Some((digits, exponent)) => (digits, Some(exponent)),
        None => (rest, None),
    };
    let (whole, behind) = digits.split_once('.').unwrap_or((digits, ""));
    let all_digits = |t: &str| t.chars().all(|c| c.is_ascii_digit());
    if !all_digits(whole) || !all_digits(behind) || (whole.is_empty() && behind.is_empty()) {
        return None;
    }
    let whole = match whole.trim_start_matches('0') {
        "" => "0",
        digits => digits,
    };
    let behind = if behind.is_empty() {
        String::new()
    } else {
        format!(".{behind}")
    };
    let exponent = match exponent {
        None => String::new(),
        Some(e) => {
            let bare = e.strip_prefix(['-', '+']).unwrap_or(e);
            if bare.is_empty() || !all_digits(bare) {
                return None;
            }
            format!("e{e}")
        }
    };
    Some(format!("{sign}{whole}{behind}{exponent}"))
}

/// The numbers of one line of places: parted by blanks, tabs, semicolons, or a comma between two.
pub(super) fn words(line: &str) -> Vec<&str> {
    let parts: Vec<&str> = line
        .split(|c: char| c.is_whitespace() || c == ';')
        .map(|part| part.trim_matches(','))
        .filter(|part| !part.is_empty())
        .collect();
    match parts.as_slice() {
        [one] => one.split(',').filter(|part| !part.is_empty()).collect(),
        _ => parts,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn typed_numbers_are_written_as_the_file_has_them() {
        for (typed, expected) in [
            ("12.50", Some("12.50")),
            (" 7 ", Some("7")),
            (".5", Some("0.5")),
            ("5.", Some("5")),
            ("+0.02", Some("0.02")),
            ("\u{2212}3.5", Some("-3.5")),
            ("007", Some("7")),
            ("4e-6", Some("4e-6")),
            ("2.36E-5", Some("2.36e-5")),
            ("0", Some("0")),
            ("", None),
            ("12,5", None),
            ("1 000", None),
            ("3 mm", None),
            ("-", None),
            ("e5", None),
            ("1e", None),
            ("--1", None),
            ("nan", None),
        ] {
            assert_eq!(in_file(typed).as_deref(), expected, "{typed}");
        }
    }

    #[test]
    fn lines_of_places_are_parted() {
        for (line, expected) in [
            ("10 20", vec!["10", "20"]),
            ("10\t20", vec!["10", "20"]),
            ("10, 20", vec!["10", "20"]),
            ("10,20", vec!["10", "20"]),
            ("10;20", vec!["10", "20"]),
            ("10 20 30", vec!["10", "20", "30"]),
            ("10,5 20", vec!["10,5", "20"]),
            ("", vec![]),
        ] {
            assert_eq!(words(line), expected, "{line}");
        }
    }
}
