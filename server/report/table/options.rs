//! What a person has said about a file, where it could be read in more than one way.

use serde::{Serialize, Serializer};

use crate::units::ValueUnit;

use super::number::DecimalMark;
use super::role::Role;

/// Answers to what was asked, and settings. The default leaves everything to the file.
#[derive(Debug, Clone, Default)]
pub struct ReadOptions {
    /// The decimal mark; answers `must_ask` `decimal_mark`.
    pub decimal: Option<DecimalMark>,
    /// The delimiter; answers `must_ask` `delimiter`.
    pub delimiter: Option<Delimiter>,
    /// What each column holds, `None` for one that is not used; answers `must_ask` `columns`. A report needs a
    /// label or name and a measured column, points need feature, x, y and z.
    pub columns: Option<Vec<Option<Role>>>,
    /// Unit of the rows of a report that name none.
    pub unit: Option<ValueUnit>,
}

/// A character that can stand between cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Delimiter(char);

impl Delimiter {
    /// Those that are looked for.
    pub const CANDIDATES: [Self; 4] = [Self(';'), Self('\t'), Self(','), Self('|')];

    /// Any character but a letter, a digit, a quote and a line end.
    pub fn new(c: char) -> Option<Self> {
        let fits = !(c.is_alphanumeric() || matches!(c, '"' | '\n' | '\r' | '\0'));
        fits.then_some(Self(c))
    }

    /// The delimiter that a person names: `semicolon`, `tab`, `comma`, `pipe`, or the character itself.
    pub fn parse_word(word: &str) -> Option<Self> {
        match word.to_ascii_lowercase().as_str() {
            "semicolon" => Some(Self(';')),
            "tab" | "\\t" => Some(Self('\t')),
            "comma" => Some(Self(',')),
            "pipe" | "bar" => Some(Self('|')),
            _ => {
                let mut chars = word.chars();
                let first = chars.next()?;
                chars.next().is_none().then(|| Self::new(first)).flatten()
            }
        }
    }

    /// The character.
    pub const fn as_char(self) -> char {
        self.0
    }

    /// Its name, for people.
    pub fn name(self) -> String {
        match self.0 {
            ';' => "semicolon".to_owned(),
            '\t' => "tab".to_owned(),
            ',' => "comma".to_owned(),
            '|' => "bar".to_owned(),
            ' ' => "blank".to_owned(),
            other => other.to_string(),
        }
    }
}

impl Serialize for Delimiter {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_char(self.0)
    }
}
