//! Tables in text files: a report or probed points, as spreadsheets and people write them.
//!
//! Bytes in, values out, in the order of work of the format's page: bytes to text (`bytes`), records (`split`),
//! delimiter and heading row (`layout`, `heading`), rows that are no rows (`rows`), decimal mark (`decimal`), values
//! (`cell`, `number`; then `report::csv` and `report::points`). What was detected is always given; what could be read
//! in two ways is asked (`must_ask`) and never guessed, and `ReadOptions` takes the answer.

pub(super) mod bytes;
pub(super) mod cell;
pub(super) mod decimal;
pub(super) mod heading;
pub(super) mod layout;
mod note;
mod number;
mod options;
mod refusal;
mod role;
pub(super) mod rows;
pub(super) mod split;
pub(super) mod words;

pub use bytes::{Encoding, MAX_BYTES};
pub use note::{Code, Rejected, Warning, Why};
pub use number::DecimalMark;
pub use options::{Delimiter, ReadOptions};
pub use refusal::Refusal;
pub use role::Role;
pub use rows::{Extra, MAX_ROWS};
pub use words::clean_label;

use serde::Serialize;

use super::csv::{self, ReportTable};
use super::points::{self, PointTable};
use heading::Kind;
use layout::{Found, Layout};

/// What a file was read as.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "format")]
pub enum Table {
    /// A pair's report.
    #[serde(rename = "csv")]
    Report(ReportTable),
    /// Probed points.
    #[serde(rename = "points")]
    Points(PointTable),
}

impl Table {
    /// What both tables have in common.
    pub const fn head(&self) -> &Head {
        match self {
            Self::Report(table) => &table.head,
            Self::Points(table) => &table.head,
        }
    }
}

/// What both tables have in common.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Head {
    /// What was found out about the file.
    pub detect: Detect,
    /// What each column holds, `None` for one that is not used.
    pub columns: Vec<Option<Role>>,
    /// What was found and not read, in the order of the file.
    pub rejected: Vec<Rejected>,
    /// What was read with a reservation, in the order of the file.
    pub warnings: Vec<Warning>,
    /// What a person has to say first. There are no rows then.
    pub must_ask: Option<MustAsk>,
    /// The ways in which the file could be read.
    pub readings: Vec<Reading>,
}

impl Head {
    fn new(detect: Detect) -> Self {
        Self {
            detect,
            columns: Vec::new(),
            rejected: Vec::new(),
            warnings: Vec::new(),
            must_ask: None,
            readings: Vec::new(),
        }
    }
}

/// What was found out about the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Detect {
    /// Encoding.
    pub encoding: Encoding,
    /// Whether a byte-order mark says so.
    pub bom: bool,
    /// Delimiter.
    pub delimiter: Option<Delimiter>,
    /// Decimal mark.
    pub decimal: Option<DecimalMark>,
    /// Line of the heading row.
    pub header_line: Option<u32>,
}

/// What a person has to say before anything is graded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum MustAsk {
    /// Which character is the decimal mark.
    DecimalMark,
    /// Which character stands between cells.
    Delimiter,
    /// What the columns hold.
    Columns,
}

/// One way in which a file could be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Reading {
    /// The decimal mark in it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decimal: Option<DecimalMark>,
    /// The delimiter in it, where that is asked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delimiter: Option<Delimiter>,
    /// The measured values, row by row (of points: x, y, z of each); `None` where there is none or it cannot be read
    /// this way.
    pub values: Vec<Option<String>>,
}

/// Reads a report or probed points from the bytes of a text file.
pub fn read(bytes: &[u8], options: &ReadOptions) -> Result<Table, Refusal> {
    let source = bytes::decode(bytes)?;
    let mut head = Head::new(Detect {
        encoding: source.encoding,
        bom: source.bom,
        delimiter: None,
        decimal: None,
        header_line: None,
    });
    match layout::find(&source.text, options)? {
        Found::Table(layout) => {
            head.detect.delimiter = Some(layout.delimiter);
            head.detect.header_line = layout.header_line;
            head.columns = layout.roles();
            match layout.kind {
                Kind::Report => csv::read(&layout, head, options).map(Table::Report),
                Kind::Points => points::read(&layout, head, options).map(Table::Points),
            }
        }
        Found::AskDelimiter(layouts) => {
            head.must_ask = Some(MustAsk::Delimiter);
            for layout in &layouts {
                head.readings.push(reading_by_delimiter(layout)?);
            }
            let points = layouts.iter().all(|layout| layout.kind == Kind::Points);
            Ok(without_rows(head, points))
        }
        Found::AskColumns => {
            head.must_ask = Some(MustAsk::Columns);
            Ok(without_rows(head, false))
        }
    }
}

fn without_rows(head: Head, points: bool) -> Table {
    if points {
        Table::Points(PointTable {
            head,
            points: Vec::new(),
        })
    } else {
        Table::Report(ReportTable { head, rows: Vec::new() })
    }
}

/// The values by one delimiter, with the decimal mark that is settled then; none where that would be the next question.
fn reading_by_delimiter(layout: &Layout<'_>) -> Result<Reading, Refusal> {
    let (roles, values): (&[Role], fn(&Layout<'_>, DecimalMark) -> _) = match layout.kind {
        Kind::Report => (&csv::VALUE_ROLES, csv::values),
        Kind::Points => (&points::VALUE_ROLES, points::values),
    };
    let decimal = match rows::survey(layout, roles)?.evidence.verdict() {
        decimal::Verdict::Settled(mark) => Some(mark),
        decimal::Verdict::Ask(_) => None,
    };
    let values = decimal.map_or_else(|| Ok(Vec::new()), |mark| values(layout, mark))?;
    Ok(Reading {
        decimal,
        delimiter: Some(layout.delimiter),
        values,
    })
}
