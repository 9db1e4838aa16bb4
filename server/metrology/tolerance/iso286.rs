//! Tolerance classes of ISO 286-1 up to 500 mm: a letter, or two, and a grade.
//!
//! Holes have capital letters and shafts small ones; a hole is any inside size of two opposite surfaces, a shaft any
//! outside one. All deviations are in micrometres here, sizes in mm.

mod tables;

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// A fundamental deviation: where the tolerance lies with regard to the nominal size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[expect(missing_docs, reason = "the letters of the standard say all there is to say")]
pub enum Letter {
    A,
    B,
    C,
    CD,
    D,
    E,
    EF,
    F,
    FG,
    G,
    H,
    J,
    JS,
    K,
    M,
    N,
    P,
    R,
    S,
    T,
    U,
    V,
    X,
    Y,
    Z,
    ZA,
    ZB,
    ZC,
}

impl Letter {
    /// All letters of the standard, in its order.
    pub const ALL: [Self; 28] = [
        Self::A,
        Self::B,
        Self::C,
        Self::CD,
        Self::D,
        Self::E,
        Self::EF,
        Self::F,
        Self::FG,
        Self::G,
        Self::H,
        Self::J,
        Self::JS,
        Self::K,
        Self::M,
        Self::N,
        Self::P,
        Self::R,
        Self::S,
        Self::T,
        Self::U,
        Self::V,
        Self::X,
        Self::Y,
        Self::Z,
        Self::ZA,
        Self::ZB,
        Self::ZC,
    ];
}

/// A standard tolerance grade: 01, 0, 1 to 18.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Grade(i8);

impl Grade {
    /// The finest, written 01.
    pub const FINEST: Self = Self(-1);
    /// The coarsest, 18.
    pub const COARSEST: Self = Self(18);

    /// A grade by its number, 0 to 18; grade 01 is [`Grade::FINEST`].
    #[must_use]
    pub const fn new(number: u8) -> Option<Self> {
        if number <= 18 {
            Some(Self(number.cast_signed()))
        } else {
            None
        }
    }

    /// All grades from the finest.
    pub fn all() -> impl Iterator<Item = Self> {
        (Self::FINEST.0..=Self::COARSEST.0).map(Self)
    }

    /// The next finer grade.
    fn finer(self) -> Option<Self> {
        (self > Self::FINEST).then(|| Self(self.0 - 1))
    }

    /// The column of the table.
    fn column(self) -> usize {
        usize::try_from(self.0 + 1).unwrap_or(0)
    }

    /// Width of the tolerance in micrometres at a nominal size in mm; `None` where the standard has none: sizes not
    /// above 0 or above 500 mm, and grades 14 to 18 up to 1 mm.
    #[must_use]
    pub fn width_um(self, nominal_mm: Decimal) -> Option<Decimal> {
        if self.0 >= 14 && nominal_mm <= Decimal::ONE {
            return None;
        }
        let row = tables::WIDTHS.get(tables::main_range(nominal_mm)?)?;
        row.get(self.column())
            .map(|tenths| Decimal::new(*tenths, 1).normalize())
    }
}

impl fmt::Display for Grade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if *self == Self::FINEST {
            f.write_str("01")
        } else {
            self.0.fmt(f)
        }
    }
}

/// A tolerance class such as H7 (a hole) or g6 (a shaft). serde uses that text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct IsoClass {
    letter: Letter,
    grade: Grade,
    inside: bool,
}

/// The deviations of a class at a size, in micrometres.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct IsoDeviations {
    /// EI or ei.
    pub lower_um: Decimal,
    /// ES or es.
    pub upper_um: Decimal,
}

/// Why a text is no class, or a class has no deviations at a size.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum IsoError {
    /// The letters are none of the standard, or differ in case.
    #[error(
        "\"{0}\" is no tolerance class of ISO 286-1; holes have capital letters (H7, JS9), shafts small ones (g6, js6)"
    )]
    NotAClass(String),
    /// The grade is none of the standard.
    #[error("\"{grade}\" is no grade of ISO 286-1, which has 01, 0 and 1 to 18 ({found})")]
    NotAGrade {
        /// What was written.
        found: String,
        /// The part behind the letters.
        grade: String,
    },
    /// The size is outside the tables.
    #[error("{class} has no limits at {nominal_mm} mm: the tables go from above 0 up to 500 mm")]
    Size {
        /// The class.
        class: IsoClass,
        /// The nominal size.
        nominal_mm: Decimal,
    },
    /// Two classes that are not a hole and a shaft.
    #[error("{hole} and {shaft} make no fit: a hole (capital letters) stands first and a shaft (small letters) second")]
    NotAFit {
        /// What stands first.
        hole: IsoClass,
        /// What stands second.
        shaft: IsoClass,
    },
    /// The standard has no such class at this size.
    #[error("ISO 286-1 gives no {class} at {nominal_mm} mm; choose a class that it has there, or write the deviations")]
    NotAtThisSize {
        /// The class.
        class: IsoClass,
        /// The nominal size.
        nominal_mm: Decimal,
    },
}

impl IsoClass {
    /// A class from its parts; `inside` for a hole.
    #[must_use]
    pub const fn new(letter: Letter, grade: Grade, inside: bool) -> Self {
        Self { letter, grade, inside }
    }

    /// True for a hole (capital letters), false for a shaft.
    #[must_use]
    pub const fn is_inside(self) -> bool {
        self.inside
    }

    /// The letter without its case.
    #[must_use]
    pub const fn letter(self) -> Letter {
        self.letter
    }

    /// The grade.
    #[must_use]
    pub const fn grade(self) -> Grade {
        self.grade
    }

    /// The same class for the other kind of feature: h7 for H7.
    #[must_use]
    pub const fn counterpart(self) -> Self {
        Self {
            inside: !self.inside,
            ..self
        }
    }

    /// The deviations at a nominal size in mm. JS and js are exactly half the grade to either side (the rounding of
    /// odd grades that the standard allows for grades 7 to 11 is not done).
    ///
    /// # Errors
    /// [`IsoError::Size`] outside 0 to 500 mm, [`IsoError::NotAtThisSize`] where the tables have no value.
    pub fn deviations(self, nominal_mm: Decimal) -> Result<IsoDeviations, IsoError> {
        if tables::range(nominal_mm).is_none() {
            return Err(IsoError::Size {
                class: self,
                nominal_mm,
            });
        }
        self.look_up(nominal_mm).ok_or(IsoError::NotAtThisSize {
            class: self,
            nominal_mm,
        })
    }

    fn look_up(self, nominal_mm: Decimal) -> Option<IsoDeviations> {
        let width = self.grade.width_um(nominal_mm)?;
        if self.letter == Letter::JS {
            let half = width * Decimal::new(5, 1);
            return Some(IsoDeviations {
                lower_um: -half,
                upper_um: half,
            });
        }
        let end = if self.inside {
            self.hole(nominal_mm)?
        } else {
            self.shaft(nominal_mm)?
        };
        Some(match end {
            End::Lower(lower_um) => IsoDeviations {
                lower_um,
                upper_um: lower_um + width,
            },
            End::Upper(upper_um) => IsoDeviations {
                lower_um: upper_um - width,
                upper_um,
            },
        })
    }

    /// ISO 286-1, table of shafts: es of a to h, ei of j to zc.
    fn shaft(self, nominal_mm: Decimal) -> Option<End> {
        let grade = self.grade.0;
        match self.letter {
            Letter::K if !(4..=7).contains(&grade) => Some(End::Lower(Decimal::ZERO)),
            Letter::J => tables::shaft_j(grade, nominal_mm).map(End::Lower),
            letter if letter <= Letter::H => tables::magnitude(letter, nominal_mm).map(|um| End::Upper(-um)),
            letter => tables::magnitude(letter, nominal_mm).map(End::Lower),
        }
    }

    /// ISO 286-1, table of holes: EI of A to H mirrors the shaft's; ES of K to ZC does so too, with the correction Delta
    /// for the finer grades; J has values of its own.
    fn hole(self, nominal_mm: Decimal) -> Option<End> {
        let grade = self.grade.0;
        if self.letter <= Letter::H {
            return tables::magnitude(self.letter, nominal_mm).map(End::Lower);
        }
        if self.letter == Letter::J {
            return tables::hole_j(grade, nominal_mm).map(End::Upper);
        }
        let small = nominal_mm <= Decimal::from(3);
        let last_with_delta = if self.letter <= Letter::N { 8 } else { 7 };
        let base = -tables::magnitude(self.letter, nominal_mm)?;
        if grade <= last_with_delta {
            if self.letter == Letter::M && grade == 6 && tables::m6_exception(nominal_mm) {
                return Some(End::Upper(tables::M6_EXCEPTION_UM));
            }
            // Delta is tabled from grade 3; up to 3 mm it is zero.
            let finer = self.grade.finer().filter(|_| grade >= 3)?;
            let delta = if small {
                Decimal::ZERO
            } else {
                self.grade.width_um(nominal_mm)? - finer.width_um(nominal_mm)?
            };
            return Some(End::Upper(base + delta));
        }
        match self.letter {
            // Blank in the table above 3 mm.
            Letter::K => small.then_some(End::Upper(base)),
            Letter::N if nominal_mm <= Decimal::ONE => None,
            Letter::N if !small => Some(End::Upper(Decimal::ZERO)),
            _ => Some(End::Upper(base)),
        }
    }
}

/// The fundamental deviation, and which end of the tolerance it is.
enum End {
    Lower(Decimal),
    Upper(Decimal),
}

impl fmt::Display for IsoClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letters = format!("{:?}", self.letter);
        let letters = if self.inside {
            letters
        } else {
            letters.to_ascii_lowercase()
        };
        write!(f, "{letters}{}", self.grade)
    }
}

impl FromStr for IsoClass {
    type Err = IsoError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let text = text.trim();
        let digits = text.find(|c: char| !c.is_ascii_alphabetic()).unwrap_or(text.len());
        let (letters, grade) = text.split_at_checked(digits).unwrap_or((text, ""));
        let inside = letters.bytes().all(|b| b.is_ascii_uppercase());
        let same_case = inside || letters.bytes().all(|b| b.is_ascii_lowercase());
        let letter = Letter::ALL
            .into_iter()
            .find(|letter| same_case && format!("{letter:?}").eq_ignore_ascii_case(letters))
            .ok_or_else(|| IsoError::NotAClass(text.to_owned()))?;
        let grade = Grade::all()
            .find(|known| known.to_string() == grade)
            .ok_or_else(|| IsoError::NotAGrade {
                found: text.to_owned(),
                grade: grade.to_owned(),
            })?;
        Ok(Self { letter, grade, inside })
    }
}

impl TryFrom<String> for IsoClass {
    type Error = IsoError;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

impl From<IsoClass> for String {
    fn from(class: IsoClass) -> Self {
        class.to_string()
    }
}

#[cfg(test)]
mod tests;
