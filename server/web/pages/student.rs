//! One student's page in a class: every assignment with what made its mark, the total, and what is particular to the
//! student.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use crate::actions::adjust::{self, AdjustError};
use crate::actions::gradebook::{self, By, Column, Entry, Row as Line, Whose};
use crate::actions::review::{TEXT, Wrong};
use crate::store::ids::{AdjustmentId, AssignmentId, PersonId};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::Fields;
use crate::web::frame::Frame;
use crate::web::graded::{self, ReceiptLine};
use crate::web::guards::{ClassOf, Instructor, may_change_class};
use crate::web::render::{Page, Sheet};
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "student.html")]
pub(in crate::web) struct Student {
    frame: Frame,
    class: i64,
    class_name: String,
    id: i64,
    name: String,
    pair: String,
    may_change: bool,
    rows: Vec<Row>,
    lines: Vec<ReceiptLine>,
    total: String,
    wrongs: Vec<(String, String)>,
    options: Vec<(String, String)>,
    typed: Typed,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Row {
    title: String,
    mark: String,
    flags: Vec<String>,
    attempts: Vec<(i64, String)>,
    lines: Vec<ReceiptLine>,
    /// Adjustments that can be taken back: row and words.
    adjusted: Vec<(i64, String)>,
    assignment: i64,
}

/// What was typed, and what is wrong with it.
#[derive(Debug, Default)]
struct Typed {
    assignment: String,
    points: String,
    points_mend: String,
    reason: String,
    reason_mend: String,
}

fn row(column: &Column, entry: &Entry, dropped: bool) -> Row {
    let mut row = Row {
        title: column.assignment.title.clone(),
        mark: String::new(),
        flags: Vec::new(),
        attempts: Vec::new(),
        lines: Vec::new(),
        adjusted: Vec::new(),
        assignment: column.assignment.id.0,
    };
    row.flags
        .extend(dropped.then(|| "dropped as one of the lowest".to_owned()));
    let word = match entry {
        Entry::Missing => "missing, counts as 0",
        Entry::Open => "open",
        Entry::NotOpen => "not open yet",
        Entry::Excused => "excused",
        Entry::NotThere => "not there then",
        Entry::Done(done) => {
            if done.minutes_late > 0 {
                row.flags.push(times::late_words(done.minutes_late));
            }
            row.flags.extend(done.is_set.then(|| "set by a person".to_owned()));
            row.flags
                .extend(done.other_plate.then(|| "on another plate than was given".to_owned()));
            row.flags.extend(done.waits.then(|| "look at it".to_owned()));
            let mark =
                |m: &Option<rust_decimal::Decimal>| m.map_or_else(|| "no mark".to_owned(), |m| format!("{m:.1}"));
            row.attempts = done.attempts.iter().map(|(r, m)| (r.0, mark(m))).collect();
            row.lines = graded::receipt(&done.settled(&column.assignment).lines);
            let words = |(id, a): &(AdjustmentId, crate::grading::settled::Adjustment)| {
                (
                    id.0,
                    format!("{}: {}", crate::units::show_signed(a.points, 1), a.reason),
                )
            };
            row.adjusted = done.adjusted.iter().map(words).collect();
            row.mark = mark(&done.mark);
            return row;
        }
    };
    row.flags.insert(0, word.to_owned());
    row
}

async fn whole(app: &App, of: ClassOf, student: i64, typed: Typed) -> Result<Student, WebError> {
    let ClassOf { person, class } = of;
    let now = app.service.clock.now();
    let book = gradebook::of_class(&app.service.store, &class, By::Students, now).await?;
    let is_asked = |line: &&Line| matches!(&line.whose, Whose::Student(s, _) if s.person.0 == student);
    let line = book.rows.iter().find(is_asked).ok_or(WebError::NotFound)?;
    let (name, pair) = match &line.whose {
        Whose::Student(student, pair) => (student.name.clone(), pair.clone()),
        Whose::Pair(_) => return Err(WebError::NotFound),
    };
    let rows = book.columns.iter().zip(&line.entries).enumerate();
    let has_mark = |(c, e): &(&Column, &Entry)| match e {
        Entry::Done(done) if done.mark.is_some() => Some((c.assignment.id.to_string(), c.assignment.title.clone())),
        _ => None,
    };
    let wrongs = [("points", &typed.points_mend), ("reason", &typed.reason_mend)];
    Ok(Student {
        frame: Frame::of(&person, "/classes"),
        class: class.id.0,
        id: student,
        may_change: may_change_class(&person),
        rows: rows
            .map(|(i, (c, e))| row(c, e, line.total.dropped.contains(&i)))
            .collect(),
        lines: graded::receipt(&book.total_lines(line)),
        total: graded::total(line.total.mark),
        wrongs: wrongs
            .into_iter()
            .filter(|(_, mend)| !mend.is_empty())
            .map(|(field, mend)| (field.to_owned(), mend.clone()))
            .collect(),
        options: book
            .columns
            .iter()
            .zip(&line.entries)
            .filter_map(|pair| has_mark(&pair))
            .collect(),
        typed,
        cells: vec![
            ("Class", class.name.clone()),
            ("Pair", pair.clone()),
            ("As of", times::show(now, &times::zone(&class.time_zone))),
        ],
        class_name: class.name,
        name,
        pair,
    })
}

/// The student of the path; what is no number is not found.
fn student(path: &BTreeMap<String, String>) -> Result<i64, WebError> {
    path.get("student")
        .and_then(|id| id.parse().ok())
        .ok_or(WebError::NotFound)
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    of: ClassOf,
    Path(path): Path<BTreeMap<String, String>>,
) -> Result<Page<Student>, WebError> {
    Ok(Page(whole(&app, of, student(&path)?, Typed::default()).await?))
}

/// Gives the student points of its own, or takes them back.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ClassOf,
    Path(path): Path<BTreeMap<String, String>>,
    Fields(form): Fields,
) -> Result<Response, WebError> {
    let id = student(&path)?;
    let field = |name: &str| form.get(name).cloned().unwrap_or_default();
    // Also finds out whether both are of this class.
    let page = whole(&app, of, id, Typed::default()).await?;
    let assignment: i64 = field("assignment").parse().unwrap_or(0);
    if !page.rows.iter().any(|r| r.assignment == assignment) {
        return Err(WebError::NotFound);
    }
    let assignment = AssignmentId(assignment);
    let done = match field("do").strip_prefix("take-back:").map(str::parse::<i64>) {
        Some(Ok(adjustment)) => adjust::take_back(&app.service, assignment, AdjustmentId(adjustment), person.id).await,
        _ => match adjust::points(&field("points")) {
            Ok(points) => {
                let reason = field("reason");
                let made = adjust::adjust(&app.service, assignment, PersonId(id), points, &reason, person.id).await;
                made.map(|_| ())
            }
            Err(error) => Err(error),
        },
    };
    let mut typed = Typed {
        assignment: assignment.to_string(),
        points: field("points"),
        reason: field("reason"),
        ..Typed::default()
    };
    match done {
        Ok(()) => return Ok(Redirect::to(&format!("/classes/{}/students/{id}", page.class)).into_response()),
        Err(AdjustError::Store(error)) => return Err(error.into()),
        Err(AdjustError::NoStudent | AdjustError::Wrong(Wrong::Gone)) => return Err(WebError::NotFound),
        Err(AdjustError::Points) => {
            typed.points_mend =
                "Write the points as in +5 or -2.5: from -100 to 100, at most one decimal, not 0.".to_owned();
        }
        Err(AdjustError::Wrong(_)) => {
            typed.reason_mend = format!("Write why, in at most {TEXT} characters.");
        }
    }
    let page = Student {
        wrongs: [("points", &typed.points_mend), ("reason", &typed.reason_mend)]
            .into_iter()
            .filter(|(_, mend)| !mend.is_empty())
            .map(|(name, mend)| (name.to_owned(), mend.clone()))
            .collect(),
        typed,
        ..page
    };
    Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}
