//! Writing tables: RFC 4180, UTF-8, comma, decimal point, CRLF; and text that no spreadsheet takes for a formula.

use std::borrow::Cow;

use super::call::Call;
use super::table::words;

/// One row of a report to be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WrittenRow<'r> {
    /// Number of the characteristic.
    pub no: &'r str,
    /// Measured value as an exact decimal string; `None` where it was not measured.
    pub measured: Option<&'r str>,
    /// The pair's call.
    pub call: Option<Call>,
}

/// One probed point to be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WrittenPoint<'r> {
    /// Feature key or datum letter.
    pub feature: &'r str,
    /// Tip centre as exact decimal strings.
    pub xyz: [&'r str; 3],
    /// Direction from the surface towards the tip, as exact decimal strings.
    pub ijk: Option<[&'r str; 3]>,
}

/// Why a table could not be written. In memory this does not happen; the writer's signature allows for it.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The CSV writer failed.
    #[error("the table could not be written as CSV")]
    Csv(#[from] ::csv::Error),
    /// Its buffer could not be taken back.
    #[error("the table could not be written as CSV")]
    Buffer(#[from] std::string::FromUtf8Error),
}

/// A report as CSV: `no,measured,call`.
pub fn report_csv(rows: &[WrittenRow<'_>]) -> Result<String, WriteError> {
    let cells = rows.iter().map(|row| {
        [
            row.no,
            row.measured.unwrap_or_default(),
            row.call.map_or("", Call::as_str),
        ]
    });
    table_csv(["no", "measured", "call"], cells)
}

/// Probed points as CSV: `feature,x,y,z,i,j,k`.
pub fn points_csv(points: &[WrittenPoint<'_>]) -> Result<String, WriteError> {
    let cells = points.iter().map(|point| {
        let ([x, y, z], [i, j, k]) = (point.xyz, point.ijk.unwrap_or_default());
        [point.feature, x, y, z, i, j, k]
    });
    table_csv(["feature", "x", "y", "z", "i", "j", "k"], cells)
}

/// Any table as CSV. Every cell is made harmless on its way in.
pub fn table_csv<'c, const N: usize>(
    headings: [&'c str; N],
    rows: impl IntoIterator<Item = [&'c str; N]>,
) -> Result<String, WriteError> {
    let mut writer = ::csv::WriterBuilder::new()
        .terminator(::csv::Terminator::CRLF)
        .from_writer(Vec::new());
    for row in std::iter::once(headings).chain(rows) {
        writer.write_record(row.map(cell_safe).iter().map(AsRef::<str>::as_ref))?;
    }
    writer.flush().map_err(::csv::Error::from)?;
    let bytes = writer
        .into_inner()
        .map_err(|error| ::csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8(bytes)?)
}

/// Any table of any width as CSV. Every cell is made harmless on its way in.
pub fn rows_csv(headings: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> Result<String, WriteError> {
    let mut writer = ::csv::WriterBuilder::new()
        .terminator(::csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(headings.iter().map(|h| cell_safe(h).into_owned()))?;
    for row in rows {
        writer.write_record(row.iter().map(|cell| cell_safe(cell).into_owned()))?;
    }
    writer.flush().map_err(::csv::Error::from)?;
    let bytes = writer
        .into_inner()
        .map_err(|error| ::csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8(bytes)?)
}

/// Makes any text harmless in a spreadsheet, whichever of the usual delimiters it splits the file at: an apostrophe
/// goes before each `= + - @` that would begin a cell. Plain numbers stay as they are; control characters are left
/// out. Use it for every cell of every export.
///
/// Why not at the beginning only: where the spreadsheet splits at semicolons, a comma-separated line has no quoted
/// cells for it, so what stands after a semicolon or a line end within a text begins a cell too.
pub fn cell_safe(text: &str) -> Cow<'_, str> {
    let is_dropped = |c: char| c.is_control() && !is_separator(c);
    if !text.contains(['=', '+', '-', '@', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}'])
        && !text.contains(is_dropped)
    {
        return Cow::Borrowed(text);
    }
    let text: String = text.chars().filter(|c| !is_dropped(*c)).collect();
    let mut safe = String::with_capacity(text.len() + 1);
    for piece in text.split_inclusive(is_separator) {
        let content = piece.strip_suffix(is_separator).unwrap_or(piece);
        let start = content.len() - content.trim_start_matches(is_passed_over).len();
        let (before, rest) = piece.split_at(start);
        safe.push_str(before);
        if rest.starts_with(is_formula_sign) && !is_plain_number(content.trim()) {
            safe.push('\'');
        }
        safe.push_str(rest);
    }
    Cow::Owned(safe)
}

/// Where a spreadsheet may begin a new cell.
const fn is_separator(c: char) -> bool {
    matches!(c, ';' | '\t' | '|' | '\n' | '\r')
}

/// What a spreadsheet may pass over before it looks for a formula.
fn is_passed_over(c: char) -> bool {
    c == '"' || words::is_blank_char(c) || words::is_invisible(c)
}

/// The signs, and their full-width forms.
const fn is_formula_sign(c: char) -> bool {
    matches!(
        c,
        '=' | '+' | '-' | '@' | '\u{ff1d}' | '\u{ff0b}' | '\u{ff0d}' | '\u{ff20}'
    )
}

/// A minus, digits and one decimal point at most: what exact decimal strings are.
fn is_plain_number(text: &str) -> bool {
    let digits = text.strip_prefix('-').unwrap_or(text);
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, "0"));
    let all_digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    all_digits(whole) && all_digits(fraction)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_begins_like_a_formula_gets_an_apostrophe() {
        let check = |text: &str, expected: &str| assert_eq!(cell_safe(text), expected, "{text:?}");
        check("D1", "D1");
        check("", "");
        check("=SUM(A1)", "'=SUM(A1)");
        check("+1+1", "'+1+1");
        check("-A1", "'-A1");
        check("@D8", "'@D8");
        check("\u{ff1d}1", "'\u{ff1d}1");
        check(" =1", " '=1");
        check("\"=1", "\"'=1");
        check("\t=1", "\t'=1");
        check("\u{200b}=1", "\u{200b}'=1");
        check("\0=1", "'=1");
        check("a=b", "a=b");
        check("D-1", "D-1");
        check("D1; =1+1", "D1; '=1+1");
        check("a\n=1", "a\n'=1");
        check("a\r\n@b", "a\r\n'@b");
        check("a;\"=1\"", "a;\"'=1\"");
        // Numbers stay numbers.
        check("-0.05", "-0.05");
        check("-12", "-12");
        check("-0.05;-1+2", "-0.05;'-1+2");
        check("-.5", "'-.5");
        check("-1.", "'-1.");
        check("--1", "'--1");
        check("-", "'-");
        check("-1 mm", "'-1 mm");
    }

    #[test]
    fn the_specified_report() {
        let rows = [
            WrittenRow {
                no: "1",
                measured: Some("32.034"),
                call: Some(Call::Nonconforming),
            },
            WrittenRow {
                no: "2",
                measured: None,
                call: None,
            },
            WrittenRow {
                no: "a,\"b\"",
                measured: Some("-0.050"),
                call: Some(Call::Undecided),
            },
            WrittenRow {
                no: "=1+1",
                measured: Some("0"),
                call: Some(Call::Conforming),
            },
        ];
        assert_eq!(
            report_csv(&rows).unwrap(),
            "no,measured,call\r\n1,32.034,nonconforming\r\n2,,\r\n\"a,\"\"b\"\"\",-0.050,undecided\r\n'=1+1,0,conforming\r\n"
        );
        assert_eq!(report_csv(&[]).unwrap(), "no,measured,call\r\n");
    }

    #[test]
    fn the_specified_points() {
        let points = [
            WrittenPoint {
                feature: "A",
                xyz: ["10.0012", "-3", "1.50"],
                ijk: Some(["0", "0", "-1"]),
            },
            WrittenPoint {
                feature: "bore",
                xyz: ["1", "2", "3"],
                ijk: None,
            },
        ];
        assert_eq!(
            points_csv(&points).unwrap(),
            "feature,x,y,z,i,j,k\r\nA,10.0012,-3,1.50,0,0,-1\r\nbore,1,2,3,,,\r\n"
        );
    }
}
