//! The pair's call: what they say of a characteristic.

use std::fmt;

use serde::{Deserialize, Serialize};

/// The pair's statement of a characteristic. Words from ISO 9000, JCGM 106 and ISO 14253-1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Call {
    /// It is within its limits.
    Conforming,
    /// It is not.
    Nonconforming,
    /// The pair cannot say.
    Undecided,
}

impl Call {
    /// All calls.
    pub const ALL: [Self; 3] = [Self::Conforming, Self::Nonconforming, Self::Undecided];

    /// The word that is printed and written.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Conforming => "conforming",
            Self::Nonconforming => "nonconforming",
            Self::Undecided => "undecided",
        }
    }
}

impl fmt::Display for Call {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}
