//! The paper that a sheet is printed on: A4 or Letter, chosen by `?paper=` in the address.

use serde::Deserialize;

use crate::exercise::drawing::DrawingOptions;

/// A size of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Paper {
    /// 210 by 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 by 11 inches (ANSI/ASME Y14.1, size A).
    Letter,
}

impl Paper {
    /// What a sheet of drawings has as its class.
    #[must_use]
    pub const fn class(self) -> &'static str {
        match self {
            Self::A4 => "drawn a4-drawn",
            Self::Letter => "drawn letter-drawn",
        }
    }

    /// Its name in an address.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::A4 => "a4",
            Self::Letter => "letter",
        }
    }

    /// Its name.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "Letter",
        }
    }

    /// The other one.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::A4 => Self::Letter,
            Self::Letter => Self::A4,
        }
    }

    /// How drawings are made for it.
    #[must_use]
    pub const fn drawing(self) -> DrawingOptions {
        match self {
            Self::A4 => DrawingOptions::a4_across(),
            Self::Letter => DrawingOptions::letter_across(),
        }
    }
}

/// The query of a sheet's address.
#[derive(Debug, Clone, Default, Deserialize)]
pub struct SheetQuery {
    paper: Option<String>,
    /// Number of a revision; the newest where there is none.
    pub revision: Option<i64>,
}

impl SheetQuery {
    /// The paper that is asked for; A4 where nothing or something else is.
    #[must_use]
    pub fn paper(&self) -> Paper {
        if self.paper.as_deref() == Some(Paper::Letter.key()) {
            Paper::Letter
        } else {
            Paper::A4
        }
    }
}
