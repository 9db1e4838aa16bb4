//! Names that cannot be wrong: exercise codes, serials, balloon numbers, feature keys. They are short, and go along with every value:
//! kept in place, none of them is a piece of memory of its own.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize, Serializer};
use smol_str::SmolStr;

/// A name that does not have the form it must have.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{found}` is no {what}: {rule}")]
pub struct NameError {
    found: String,
    what: &'static str,
    rule: &'static str,
}

macro_rules! name {
    ($(#[$doc:meta])* $name:ident, $what:literal, $rule:literal, $min:literal ..= $max:literal, $allowed:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize)]
        #[serde(try_from = "SmolStr")]
        pub struct $name(SmolStr);

        impl $name {
            /// The name as text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl FromStr for $name {
            type Err = NameError;
            fn from_str(text: &str) -> Result<Self, NameError> {
                SmolStr::new(text).try_into()
            }
        }

        impl TryFrom<SmolStr> for $name {
            type Error = NameError;
            fn try_from(text: SmolStr) -> Result<Self, NameError> {
                let allowed: fn(char) -> bool = $allowed;
                let length = text.chars().count();
                if ($min..=$max).contains(&length) && text.chars().all(allowed) {
                    Ok(Self(text))
                } else {
                    let found = text.chars().take(40).collect();
                    Err(NameError { found, what: $what, rule: $rule })
                }
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(&self.0)
            }
        }

        impl From<$name> for String {
            fn from(name: $name) -> Self {
                name.0.into()
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&self.0)
            }
        }
    };
}

name!(
    /// The code of an exercise, unique on a server and shown on the sheet.
    ExerciseCode,
    "exercise code",
    "2 to 16 capital letters, digits and hyphens, as in `BR-02`",
    2..=16,
    |c| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '-'
);

name!(
    /// The serial number of one plate.
    Serial,
    "serial number",
    "1 to 24 letters, digits, points and hyphens, as in `BR-02-01`",
    1..=24,
    |c| c.is_ascii_alphanumeric() || c == '-' || c == '.'
);

name!(
    /// The balloon number of a characteristic, unique in its exercise.
    BalloonNo,
    "balloon number",
    "1 to 12 letters, digits, points and hyphens, as in `12` or `4.1`",
    1..=12,
    |c| c.is_ascii_alphanumeric() || c == '-' || c == '.'
);

name!(
    /// The key of a feature or of a quantity between two features, unique in its exercise.
    FeatureKey,
    "key",
    "1 to 32 letters, digits, hyphens and underscores, as in `bore` or `slot-2`",
    1..=32,
    |c| c.is_ascii_alphanumeric() || c == '-' || c == '_'
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_held_to_their_form() {
        assert!("BR-02".parse::<ExerciseCode>().is_ok());
        for bad in ["", "B", "br-02", "BR_02", "ABCDEFGHIJKLMNOPQ"] {
            assert!(bad.parse::<ExerciseCode>().is_err(), "{bad}");
        }
        assert!("4.1".parse::<BalloonNo>().is_ok());
        assert!("4 1".parse::<BalloonNo>().is_err());
        let message = "4 1".parse::<BalloonNo>().err().map(|e| e.to_string());
        assert_eq!(
            message.as_deref(),
            Some("`4 1` is no balloon number: 1 to 12 letters, digits, points and hyphens, as in `12` or `4.1`")
        );
    }
}
