//! Why a file is not read at all.

/// Why a file is refused as a whole. `Display` says what is wrong with it and what to do; `code` is the code of the
/// format's page.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// More than 8 MiB.
    #[error(
        "the file has {bytes} bytes; a report may have {}. Hand in the table alone, without pictures or raw data.",
        super::bytes::MAX_BYTES
    )]
    FileTooLarge {
        /// Size of the file.
        bytes: usize,
    },
    /// Bytes that are no text in any encoding that is known here.
    #[error(
        "this is not a text file (it may be a picture, a document or a spreadsheet's own file). Save the table as CSV \
         and hand that in."
    )]
    NotText,
    /// Nothing in it, or only blanks.
    #[error("the file is empty. Check that the table was saved into it and hand it in again.")]
    EmptyFile,
    /// No heading row, and nothing that looks like rows of numbers.
    #[error(
        "there is no table in this file. The table needs a heading row such as no,measured,call (or feature,x,y,z for \
         probed points) within the first 50 rows, and below it one row for each value.{}",
        unclosed_hint(*unclosed)
    )]
    NoTable {
        /// Line at which a quote begins that is never closed, if that may be the reason.
        unclosed: Option<u32>,
    },
    /// More rows than any report has.
    #[error("the table has more than {limit} rows. Hand in the rows of this report only.")]
    TooManyRows {
        /// Most rows that are read.
        limit: usize,
    },
    /// More headings than any report has.
    #[error(
        "the heading row on line {line} has more than {limit} columns. Leave out those that do not belong to the \
         report."
    )]
    TooManyColumns {
        /// Line of the heading row.
        line: u32,
        /// Most columns that are read.
        limit: usize,
    },
}

impl Refusal {
    /// Code of the format's page.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::FileTooLarge { .. } => "file_too_large",
            Self::NotText => "not_text",
            Self::EmptyFile => "empty_file",
            Self::NoTable { .. } => "no_table",
            Self::TooManyRows { .. } => "too_many_rows",
            Self::TooManyColumns { .. } => "too_many_columns",
        }
    }
}

fn unclosed_hint(line: Option<u32>) -> String {
    line.map_or_else(String::new, |line| {
        format!(
            " A quote that is opened on line {line} is never closed, which hides all that comes after it: close it."
        )
    })
}
