//! The gradebook: pairs by assignments.

use askama::Template;
use axum::extract::State;

use crate::actions::gradebook::{self, Entry};
use crate::store::people::Role;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::ClassOf;
use crate::web::render::Page;
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "gradebook.html")]
pub(in crate::web) struct Gradebook {
    frame: Frame,
    class: i64,
    class_name: String,
    may_open: bool,
    heads: Vec<Head>,
    rows: Vec<Row>,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Head {
    id: i64,
    title: String,
    under: String,
}

#[derive(Debug)]
struct Row {
    pair: String,
    people: Vec<String>,
    cells: Vec<Cell>,
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

fn cell(entry: &Entry) -> Cell {
    let word = |mark: &str| Cell {
        report: None,
        mark: mark.to_owned(),
        is_mark: false,
        under: String::new(),
        flags: Vec::new(),
    };
    match entry {
        Entry::Missing => Cell {
            flags: vec!["missing"],
            ..word("")
        },
        Entry::Open => word("open"),
        Entry::NotOpen => word("not open yet"),
        Entry::Done(done) => {
            let under = if done.attempts > 1 {
                format!("attempt {}", done.attempts)
            } else {
                String::new()
            };
            let mut flags = Vec::new();
            if done.minutes_late > 0 {
                flags.push("late");
            }
            if done.in_review {
                flags.push("look at it");
            }
            let mark = match (done.mark, done.being_graded) {
                (Some(mark), _) => format!("{mark:.1}"),
                (None, true) => "being graded".to_owned(),
                (None, false) => "no mark".to_owned(),
            };
            Cell {
                report: Some(done.report.0),
                mark,
                is_mark: done.mark.is_some(),
                under,
                flags,
            }
        }
    }
}

pub(in crate::web) async fn page(State(app): State<App>, of: ClassOf) -> Result<Page<Gradebook>, WebError> {
    let ClassOf { person, class } = of;
    let now = app.service.clock.now();
    let zone = times::zone(&class.time_zone);
    let book = gradebook::of_class(&app.service.store, &class, now).await?;
    let head = |a: &crate::store::assignments::Assignment| {
        let state = if a.released_at.is_some() { ", released" } else { "" };
        Head {
            id: a.id.0,
            title: a.title.clone(),
            under: format!("due {}{state}", times::show_day(a.due_at, &zone)),
        }
    };
    let heads = book.assignments.iter().map(head).collect();
    let row = |r: gradebook::Row| Row {
        pair: r.pair.name,
        people: r.pair.people,
        cells: r.entries.iter().map(cell).collect(),
    };
    Ok(Page(Gradebook {
        frame: Frame::of(&person, "/classes"),
        class: class.id.0,
        may_open: person.role == Role::Instructor,
        heads,
        rows: book.rows.into_iter().map(row).collect(),
        cells: vec![
            ("Class", class.name.clone()),
            ("Term", class.term),
            ("As of", times::show(now, &zone)),
        ],
        class_name: class.name,
    }))
}
