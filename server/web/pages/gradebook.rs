//! The gradebook: pairs or students by assignments.

use std::cmp::Ordering;

use askama::Template;
use axum::extract::{Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};
use rust_decimal::Decimal;
use serde::Deserialize;

use crate::actions::gradebook::{self, By, Entry, Row as Line, Whose};
use crate::report::write_csv::rows_csv;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{ClassOf, may_change_class};
use crate::web::render::Page;
use crate::web::times;

/// Columns of one table on paper.
const ON_PAPER: usize = 9;

#[derive(Debug, Template)]
#[template(path = "gradebook.html")]
pub(in crate::web) struct Gradebook {
    frame: Frame,
    class: i64,
    class_name: String,
    may_change: bool,
    asked: Asked,
    heads: Vec<Head>,
    rows: Vec<Row>,
    /// All rows there are, before the filter.
    all: usize,
    drops: usize,
    /// First and last column of each table on paper.
    sheets: Vec<(usize, usize)>,
    cells: Vec<(&'static str, String)>,
}

/// How the lines are asked for.
#[derive(Debug, Clone, Default, Deserialize)]
pub(in crate::web) struct Asked {
    /// `students`, or pairs.
    #[serde(default)]
    by: String,
    /// `total`, the row of an assignment, or by name.
    #[serde(default)]
    sort: String,
    /// `down` for the highest first.
    #[serde(default)]
    order: String,
    /// `missing`, `late` or `waits`.
    #[serde(default)]
    only: String,
    /// Part of a name.
    #[serde(default)]
    find: String,
}

impl Asked {
    fn lines(&self) -> By {
        if self.by == "students" { By::Students } else { By::Pairs }
    }

    /// The address of the same page in another order: once more on the same column turns it round.
    fn sorted(&self, column: &str) -> String {
        let down = self.sort == column && self.order != "down";
        let order = if down { "&order=down" } else { "" };
        let find = utf8_percent_encode(&self.find, NON_ALPHANUMERIC);
        let word = |text: &str| text.chars().filter(char::is_ascii_alphanumeric).collect::<String>();
        format!(
            "?by={}&only={}&find={find}&sort={column}{order}",
            word(&self.by),
            word(&self.only)
        )
    }

    fn aria(&self, column: &str) -> &'static str {
        match (self.sort == column, self.order == "down") {
            (true, true) => "descending",
            (true, false) => "ascending",
            (false, _) => "none",
        }
    }
}

#[derive(Debug)]
struct Head {
    id: i64,
    title: String,
    under: String,
    sorted: String,
    aria: &'static str,
}

#[derive(Debug)]
struct Row {
    name: String,
    /// Pair of a student, or people of a pair.
    under: Vec<String>,
    href: String,
    cells: Vec<Cell>,
    total: String,
}

#[derive(Debug)]
struct Cell {
    /// Report to open; none where nothing was handed in.
    report: Option<i64>,
    /// Mark, or the word in place of it.
    mark: String,
    /// Whether `mark` is a number.
    is_mark: bool,
    /// What stands below it.
    under: String,
    /// Words of flags.
    flags: Vec<&'static str>,
}

fn word(mark: &str) -> Cell {
    Cell {
        report: None,
        mark: mark.to_owned(),
        is_mark: false,
        under: String::new(),
        flags: Vec::new(),
    }
}

fn cell(entry: &Entry, dropped: bool) -> Cell {
    let done = match entry {
        Entry::Missing => {
            return Cell {
                flags: if dropped {
                    vec!["missing", "dropped"]
                } else {
                    vec!["missing"]
                },
                ..word("")
            };
        }
        Entry::Open => return word("open"),
        Entry::NotOpen => return word("not open yet"),
        Entry::Excused => return word("excused"),
        Entry::NotThere => return word("not there then"),
        Entry::Done(done) => done,
    };
    let under = match done.attempts.len() {
        0 | 1 => String::new(),
        many => format!("attempt {many}"),
    };
    let flags = [
        ("late", done.minutes_late > 0),
        ("set", done.is_set),
        ("other plate", done.other_plate),
        ("own points", !done.adjusted.is_empty()),
        ("look at it", done.waits),
        ("dropped", dropped),
    ];
    let mark = match (done.mark, done.being_graded) {
        (Some(mark), _) => format!("{mark:.1}"),
        (None, true) => "being graded".to_owned(),
        (None, false) => "no mark".to_owned(),
    };
    Cell {
        report: done.attempts.last().map(|(report, _)| report.0),
        mark,
        is_mark: done.mark.is_some(),
        under,
        flags: flags.iter().filter(|(_, is)| *is).map(|(word, _)| *word).collect(),
    }
}

fn name(line: &Line) -> &str {
    match &line.whose {
        Whose::Pair(pair) => &pair.name,
        Whose::Student(student, _) => &student.name,
    }
}

/// Mark of a column, or of the whole.
fn value(line: &Line, column: Option<usize>) -> Option<Decimal> {
    match column {
        None => line.total.mark,
        Some(i) => match line.entries.get(i) {
            Some(Entry::Done(done)) => done.mark,
            _ => None,
        },
    }
}

/// Lines in the order that was asked for: those without a mark last, either way.
fn sort(lines: &mut [Line], asked: &Asked, columns: &[gradebook::Column]) {
    let down = asked.order == "down";
    let turn = |order: Ordering| if down { order.reverse() } else { order };
    if asked.sort == "name" || asked.sort.is_empty() {
        if down {
            lines.reverse();
        }
        return;
    }
    let column = columns.iter().position(|c| c.assignment.id.to_string() == asked.sort);
    if column.is_none() && asked.sort != "total" {
        return;
    }
    lines.sort_by(|a, b| match (value(a, column), value(b, column)) {
        (Some(a), Some(b)) => turn(a.cmp(&b)),
        (Some(_), None) => Ordering::Less,
        (None, Some(_)) => Ordering::Greater,
        (None, None) => Ordering::Equal,
    });
}

/// Whether a line is among those that were asked for.
fn wanted(line: &Line, asked: &Asked) -> bool {
    let part = asked.find.trim().to_lowercase();
    let others: &[String] = match &line.whose {
        Whose::Pair(pair) => &pair.people,
        Whose::Student(_, pair) => std::slice::from_ref(pair),
    };
    let named = part.is_empty()
        || name(line).to_lowercase().contains(&part)
        || others.iter().any(|n| n.to_lowercase().contains(&part));
    let done = |test: &dyn Fn(&gradebook::Standing) -> bool| {
        line.entries.iter().any(|e| matches!(e, Entry::Done(d) if test(d)))
    };
    named
        && match asked.only.as_str() {
            "missing" => line.entries.contains(&Entry::Missing),
            "late" => done(&|d| d.minutes_late > 0),
            "waits" => done(&|d| d.waits),
            _ => true,
        }
}

fn row(class: i64, line: Line) -> Row {
    let total = line.total.mark.map(|m| format!("{m:.1}")).unwrap_or_default();
    let cells = line
        .entries
        .iter()
        .enumerate()
        .map(|(i, e)| cell(e, line.total.dropped.contains(&i)))
        .collect();
    let (name, under, href) = match line.whose {
        Whose::Pair(pair) => (pair.name, pair.people, String::new()),
        Whose::Student(student, pair) => {
            let href = format!("/classes/{class}/students/{}", student.person);
            let pair = if pair.is_empty() {
                Vec::new()
            } else {
                vec![format!("pair {pair}")]
            };
            (student.name, pair, href)
        }
    };
    Row {
        name,
        under,
        href,
        cells,
        total,
    }
}

/// Tables of at most so many columns, evenly filled.
fn sheets(columns: usize) -> Vec<(usize, usize)> {
    let tables = columns.div_ceil(ON_PAPER).max(1);
    let each = columns.div_ceil(tables).max(1);
    (0..columns)
        .step_by(each)
        .map(|from| (from, (from + each).min(columns)))
        .collect()
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    of: ClassOf,
    Query(asked): Query<Asked>,
) -> Result<Page<Gradebook>, WebError> {
    let ClassOf { person, class } = of;
    let now = app.service.clock.now();
    let zone = times::zone(&class.time_zone);
    let mut book = gradebook::of_class(&app.service.store, &class, asked.lines(), now).await?;
    let head = |c: &gradebook::Column| {
        let a = &c.assignment;
        let state = if a.released_at.is_some() { ", released" } else { "" };
        let weight = if c.weight == Decimal::ONE {
            String::new()
        } else {
            format!(", counts {}", c.weight.normalize())
        };
        Head {
            id: a.id.0,
            title: a.title.clone(),
            under: format!("due {}{state}{weight}", times::show_day(a.due_at, &zone)),
            sorted: asked.sorted(&a.id.to_string()),
            aria: asked.aria(&a.id.to_string()),
        }
    };
    let heads: Vec<Head> = book.columns.iter().map(head).collect();
    sort(&mut book.rows, &asked, &book.columns);
    let all = book.rows.len();
    let rows = book.rows.into_iter().filter(|line| wanted(line, &asked));
    Ok(Page(Gradebook {
        frame: Frame::of(&person, "/classes"),
        class: class.id.0,
        may_change: may_change_class(&person),
        sheets: sheets(heads.len()),
        heads,
        rows: rows.map(|line| row(class.id.0, line)).collect(),
        all,
        drops: book.drops,
        asked,
        cells: vec![
            ("Class", class.name.clone()),
            ("Term", class.term),
            ("As of", times::show(now, &zone)),
        ],
        class_name: class.name,
    }))
}

/// A cell of the export: a mark, or why there is none. What is suspected of a report is not in it.
fn exported(entry: &Entry) -> String {
    match entry {
        Entry::Done(done) => done.mark.map(|m| format!("{m:.1}")).unwrap_or_default(),
        Entry::Missing => "missing".to_owned(),
        Entry::Excused => "excused".to_owned(),
        Entry::Open | Entry::NotOpen | Entry::NotThere => String::new(),
    }
}

/// The gradebook as CSV: UTF-8 with a byte-order mark, since names come in any script and spreadsheets look for it.
pub(in crate::web) async fn export(
    State(app): State<App>,
    of: ClassOf,
    Query(asked): Query<Asked>,
) -> Result<Response, WebError> {
    let by = asked.lines();
    let book = gradebook::of_class(&app.service.store, &of.class, by, app.service.clock.now()).await?;
    let first: &[&str] = match by {
        By::Pairs => &["pair", "people"],
        By::Students => &["student", "school id", "pair"],
    };
    let titles = book.columns.iter().map(|c| c.assignment.title.as_str());
    let headings: Vec<&str> = first.iter().copied().chain(titles).chain(["total"]).collect();
    let rows = book.rows.iter().map(|line| {
        let mut cells = match &line.whose {
            Whose::Pair(pair) => vec![pair.name.clone(), pair.people.join("; ")],
            Whose::Student(student, pair) => {
                vec![
                    student.name.clone(),
                    student.school_id.clone().unwrap_or_default(),
                    pair.clone(),
                ]
            }
        };
        cells.extend(line.entries.iter().map(exported));
        cells.push(line.total.mark.map(|m| format!("{m:.1}")).unwrap_or_default());
        cells
    });
    let csv = rows_csv(&headings, rows).map_err(WebError::internal)?;
    let headers = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"gradebook-{}.csv\"", of.class.id),
        ),
    ];
    Ok((headers, format!("\u{feff}{csv}")).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sheets_of_paper_hold_every_column_once() {
        for columns in 0..40 {
            let sheets = sheets(columns);
            assert_eq!(sheets.iter().map(|(a, b)| b - a).sum::<usize>(), columns);
            assert!(sheets.windows(2).all(|w| w[0].1 == w[1].0), "{columns}");
            assert!(sheets.iter().all(|(a, b)| b - a <= ON_PAPER && b > a));
        }
    }
}
