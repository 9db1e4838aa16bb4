//! What was found and not read, and what was read with a reservation: codes of the format's page, with a text for
//! people.

use serde::Serialize;

/// Why a row gives no value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// Text where a row was expected.
    NotARow,
    /// A value that belongs to no characteristic or feature.
    NoLabel,
    /// A cell that is no number.
    NotANumber,
    /// NaN or infinity.
    NotFinite,
    /// Beyond a double's range, or more than 28 digits.
    OutOfRange,
    /// A spreadsheet formula instead of its value.
    Formula,
    /// A unit that is none of ours.
    UnknownUnit,
    /// A unit in a coordinate.
    UnitInCell,
    /// A point without all of x, y, z.
    MissingValue,
    /// A NUL byte in the row.
    NulByte,
    /// A cell of more than 10,000 characters.
    CellTooLong,
    /// A quote that is never closed.
    UnclosedQuote,
}

impl Why {
    /// Code of the format's page.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::NotARow => "not_a_row",
            Self::NoLabel => "no_label",
            Self::NotANumber => "not_a_number",
            Self::NotFinite => "not_finite",
            Self::OutOfRange => "out_of_range",
            Self::Formula => "formula",
            Self::UnknownUnit => "unknown_unit",
            Self::UnitInCell => "unit_in_cell",
            Self::MissingValue => "missing_value",
            Self::NulByte => "nul_byte",
            Self::CellTooLong => "cell_too_long",
            Self::UnclosedQuote => "unclosed_quote",
        }
    }

    /// What is wrong with `cell` and how to mend it.
    fn text(self, cell: &str) -> String {
        let cell = excerpt(cell);
        match self {
            Self::NotARow => format!("{cell} is text, not a row of the table. Nothing to do if it is a footer."),
            Self::NoLabel => "The row has no number or name, so it is not known what it belongs to. Add it.".to_owned(),
            Self::NotANumber => format!(
                "{cell} is not a number. Write digits with one decimal mark, such as 12.031; leave the cell empty for \
                 what was not measured."
            ),
            Self::NotFinite => format!("{cell} is no measured value. Write the number, or leave the cell empty."),
            Self::OutOfRange => format!("{cell} is too large, or has more than 28 digits. Check the number."),
            Self::Formula => format!("{cell} is a formula, which is not worked out here. Put its value in the cell."),
            Self::UnknownUnit => {
                format!("{cell} has a unit that is not known here. Use mm, cm, m, um, inch, deg or rad.")
            }
            Self::UnitInCell => {
                format!("{cell} has a unit. Leave it out: the unit of all coordinates is given with the report.")
            }
            Self::MissingValue => "The point does not have all of x, y and z. Fill in what is missing.".to_owned(),
            Self::NulByte => {
                "The row has a NUL byte in it, so the file was damaged here. Save the table as CSV again.".to_owned()
            }
            Self::CellTooLong => "A cell of this row has more than 10,000 characters. Shorten it.".to_owned(),
            Self::UnclosedQuote => {
                "A quote that is opened in this row is never closed; this row and all after it were not read. Close \
                 it, or take the quote out."
                    .to_owned()
            }
        }
    }
}

/// A reservation about something that was read. In the order of the format's page, in which those of one row are given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Code {
    /// A row without a measured value.
    MissingValue,
    /// This label had a row before.
    DuplicateLabel,
    /// The heading row again.
    RepeatedHeader,
    /// A heading that is not known.
    UnknownColumn,
    /// The second column of a role.
    DuplicateColumn,
    /// More cells than headings.
    ExtraCells,
    /// Two units in one row.
    MixedUnits,
    /// A nominal or tolerance that is no number.
    UnreadCell,
    /// A word that is no call.
    UnknownCall,
    /// Too small for a double, read as zero.
    UnderflowToZero,
    /// Text that a spreadsheet would take for a formula.
    FormulaLikeText,
    /// i, j, k are not all there.
    PartOfDirection,
    /// i, j, k are no unit direction.
    NotUnitLength,
}

impl Code {
    /// Code of the format's page.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::MissingValue => "missing_value",
            Self::DuplicateLabel => "duplicate_label",
            Self::RepeatedHeader => "repeated_header",
            Self::UnknownColumn => "unknown_column",
            Self::DuplicateColumn => "duplicate_column",
            Self::ExtraCells => "extra_cells",
            Self::MixedUnits => "mixed_units",
            Self::UnreadCell => "unread_cell",
            Self::UnknownCall => "unknown_call",
            Self::UnderflowToZero => "underflow_to_zero",
            Self::FormulaLikeText => "formula_like_text",
            Self::PartOfDirection => "part_of_direction",
            Self::NotUnitLength => "not_unit_length",
        }
    }

    /// What the reservation about `cell` is.
    fn text(self, cell: &str) -> String {
        let cell = excerpt(cell);
        match self {
            Self::MissingValue => format!("{cell} has no measured value and counts as not measured."),
            Self::DuplicateLabel => format!("{cell} has a row before this one. Both are kept; choose which counts."),
            Self::RepeatedHeader => "The heading row stands here again and was skipped.".to_owned(),
            Self::UnknownColumn => {
                format!("The column {cell} is not known. It is kept with the rows and not used.")
            }
            Self::DuplicateColumn => {
                format!("The column {cell} says the same as one before it. It is kept with the rows and not used.")
            }
            Self::ExtraCells => "The row has more cells than there are headings. Check for a stray delimiter, such as \
                                 a decimal comma in a file that is separated by commas."
                .to_owned(),
            Self::MixedUnits => format!("The row has two different units ({cell}). Check which is meant."),
            Self::UnreadCell => format!("{cell} is not a number and was left out; the row is read without it."),
            Self::UnknownCall => {
                format!(
                    "{cell} is not a call. Use conforming, nonconforming or undecided; the row counts as without one."
                )
            }
            Self::UnderflowToZero => format!("{cell} is too near to zero to be told from it, and was read as 0."),
            Self::FormulaLikeText => format!(
                "{cell} begins like a formula. It is kept as text; take care where it is opened in a spreadsheet."
            ),
            Self::PartOfDirection => "Of the direction i, j, k only a part is there; it is not used.".to_owned(),
            Self::NotUnitLength => "The length of the direction i, j, k is not 1. Check the three numbers.".to_owned(),
        }
    }
}

/// Something that was found and not read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Rejected {
    /// Line of the file, from 1.
    pub line: u32,
    /// Code.
    pub why: Why,
    /// What is wrong and how to mend it, for people.
    pub text: String,
}

impl Rejected {
    pub(crate) fn new(line: u32, why: Why, cell: &str) -> Self {
        Self {
            line,
            why,
            text: why.text(cell),
        }
    }
}

/// Something that was read with a reservation.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Warning {
    /// Line of the file, from 1.
    pub line: u32,
    /// Code.
    pub code: Code,
    /// Column from 1, where the warning is about one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub column: Option<usize>,
    /// What the reservation is, for people.
    pub text: String,
}

impl Warning {
    pub(crate) fn new(line: u32, code: Code, cell: &str) -> Self {
        Self {
            line,
            code,
            column: None,
            text: code.text(cell),
        }
    }
}

/// Most characters of a cell that are shown in a text.
const SHOWN_CHARS: usize = 40;

/// A cell as it is shown in a text: in quotes, on one line, not too long.
fn excerpt(cell: &str) -> String {
    let cell = super::words::trim(cell);
    let mut shown = String::from("“");
    for c in cell.chars().take(SHOWN_CHARS) {
        // Control and direction characters would garble the line that the text stands in.
        let harmless = if c.is_control() || super::words::is_invisible(c) {
            ' '
        } else {
            c
        };
        shown.push(harmless);
    }
    shown.push_str(if cell.chars().nth(SHOWN_CHARS).is_some() {
        "…”"
    } else {
        "”"
    });
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn printed_codes_are_those_of_serde() {
        for why in [
            Why::NotARow,
            Why::NulByte,
            Why::NotANumber,
            Why::UnclosedQuote,
            Why::UnitInCell,
        ] {
            assert_eq!(serde_json::to_value(why).unwrap(), why.as_str());
        }
        for code in [
            Code::MissingValue,
            Code::UnderflowToZero,
            Code::PartOfDirection,
            Code::NotUnitLength,
        ] {
            assert_eq!(serde_json::to_value(code).unwrap(), code.as_str());
        }
    }

    #[test]
    fn a_cell_in_a_text_is_short_and_on_one_line() {
        assert_eq!(excerpt(" a\nb\u{202e}c "), "“a b c”");
        assert_eq!(excerpt(&"x".repeat(50)).chars().count(), 43);
    }
}
