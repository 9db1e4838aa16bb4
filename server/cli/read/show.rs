//! What a table was read as, for people.

use std::io::{self, Write};

use crate::report::call::Call;
use crate::report::csv::ReportRow;
use crate::report::points::PointRow;
use crate::report::table::{DecimalMark, Head, MustAsk, Role, Table};
use crate::units::ValueUnit;

/// For people: what was detected, the rows, what was not read, the question.
pub(super) fn table(table: &Table, out: &mut impl Write) -> io::Result<()> {
    let head = table.head();
    let kind = match table {
        Table::Report(_) => "report",
        Table::Points(_) => "probed points",
    };
    writeln!(out, "{kind}: {}", detected(head))?;
    if !head.columns.is_empty() {
        let names: Vec<&str> = head
            .columns
            .iter()
            .map(|role| role.map_or("(not used)", Role::as_str))
            .collect();
        writeln!(out, "columns: {}", names.join(", "))?;
    }
    let grid = grid(table);
    if grid.len() > 1 {
        writeln!(out)?;
        show_grid(&grid, out)?;
    } else if head.must_ask.is_none() {
        writeln!(out, "no rows")?;
    }
    if !head.rejected.is_empty() {
        writeln!(out, "\nnot read:")?;
    }
    for rejected in &head.rejected {
        writeln!(
            out,
            "  line {}: {} [{}]",
            rejected.line,
            rejected.text,
            rejected.why.as_str()
        )?;
    }
    if !head.warnings.is_empty() {
        writeln!(out, "\nread with a reservation:")?;
    }
    for warning in &head.warnings {
        writeln!(
            out,
            "  line {}: {} [{}]",
            warning.line,
            warning.text,
            warning.code.as_str()
        )?;
    }
    show_question(head, out)
}

fn detected(head: &Head) -> String {
    let detect = head.detect;
    let mut parts = vec![format!("encoding {}", detect.encoding.as_str())];
    if detect.bom {
        parts.push("with byte-order mark".to_owned());
    }
    parts.extend(
        detect
            .delimiter
            .map(|delimiter| format!("delimiter {}", delimiter.name())),
    );
    parts.extend(detect.decimal.map(|mark| format!("decimal mark {}", mark_name(mark))));
    parts.extend(detect.header_line.map(|line| format!("headings on line {line}")));
    parts.join(", ")
}

const fn mark_name(mark: DecimalMark) -> &'static str {
    match mark {
        DecimalMark::Comma => "comma",
        DecimalMark::Point => "point",
        DecimalMark::Mixed => "mixed",
    }
}

/// The rows as cells, headings first; columns in which nothing stands are left out.
fn grid(table: &Table) -> Vec<Vec<String>> {
    let text = |value: &Option<String>| value.clone().unwrap_or_default();
    let (headings, rows): (Vec<&str>, Vec<Vec<String>>) = match table {
        Table::Report(table) => {
            let row = |row: &ReportRow| {
                vec![
                    row.line.to_string(),
                    row.label.clone(),
                    text(&row.name),
                    text(&row.nominal),
                    text(&row.minus),
                    text(&row.plus),
                    text(&row.measured),
                    row.unit.map_or("", ValueUnit::as_str).to_owned(),
                    row.call.map_or("", Call::as_str).to_owned(),
                    text(&row.comment),
                ]
            };
            let headings = [
                "line", "no", "name", "nominal", "minus", "plus", "measured", "unit", "call", "comment",
            ];
            (headings.to_vec(), table.rows.iter().map(row).collect())
        }
        Table::Points(table) => {
            let row = |p: &PointRow| {
                let numbers = [
                    p.x.clone(),
                    p.y.clone(),
                    p.z.clone(),
                    text(&p.i),
                    text(&p.j),
                    text(&p.k),
                ];
                [p.line.to_string(), p.feature.clone()]
                    .into_iter()
                    .chain(numbers)
                    .collect()
            };
            (
                vec!["line", "feature", "x", "y", "z", "i", "j", "k"],
                table.points.iter().map(row).collect(),
            )
        }
    };
    let used: Vec<bool> = (0..headings.len())
        .map(|i| rows.iter().any(|row| !row[i].is_empty()))
        .collect();
    let keep = |row: Vec<String>| {
        row.into_iter()
            .zip(&used)
            .filter(|(_, used)| **used)
            .map(|(cell, _)| cell)
            .collect()
    };
    let headings = headings.into_iter().map(str::to_owned).collect();
    std::iter::once(headings).chain(rows).map(keep).collect()
}

/// Longest text of a cell that is shown, in characters.
const SHOWN_CHARS: usize = 40;

fn show_grid(grid: &[Vec<String>], out: &mut impl Write) -> io::Result<()> {
    // Nothing in a file may steer the terminal or break the lines of the table.
    let one_line = |cell: &String| -> String {
        let mut shown: String = cell
            .chars()
            .take(SHOWN_CHARS)
            .map(|c| if c.is_control() || c.is_whitespace() { ' ' } else { c })
            .collect();
        if cell.chars().nth(SHOWN_CHARS).is_some() {
            shown.push('…');
        }
        shown
    };
    let cells: Vec<Vec<String>> = grid.iter().map(|row| row.iter().map(one_line).collect()).collect();
    let columns = cells.first().map_or(0, Vec::len);
    let width = |i: usize| cells.iter().map(|row| row[i].chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns).map(width).collect();
    for row in &cells {
        let padded: Vec<String> = row
            .iter()
            .zip(&widths)
            .map(|(cell, width)| format!("{cell:<width$}"))
            .collect();
        writeln!(out, "{}", padded.join("  ").trim_end())?;
    }
    Ok(())
}

fn show_question(head: &Head, out: &mut impl Write) -> io::Result<()> {
    let question = match head.must_ask {
        None => return Ok(()),
        Some(MustAsk::DecimalMark) => {
            "Is the decimal mark a comma or a point? Say so with --decimal comma, point or mixed."
        }
        Some(MustAsk::Delimiter) => "Which character stands between the cells? Say so with --delimiter.",
        Some(MustAsk::Columns) => {
            "There is no heading row. Say what the columns hold with --columns, such as --columns no,measured,call."
        }
    };
    writeln!(out, "\n{question}")?;
    for reading in &head.readings {
        let delimiter = reading
            .delimiter
            .map(|delimiter| format!("delimiter {}", delimiter.name()));
        let decimal = reading.decimal.map(|mark| format!("decimal {}", mark_name(mark)));
        let way: Vec<String> = delimiter.into_iter().chain(decimal).collect();
        let values: Vec<&str> = reading
            .values
            .iter()
            .take(8)
            .map(|value| value.as_deref().unwrap_or("-"))
            .collect();
        let more = if reading.values.len() > values.len() {
            " …"
        } else {
            ""
        };
        writeln!(out, "  {}: {}{more}", way.join(", "), values.join("  "))?;
    }
    Ok(())
}
