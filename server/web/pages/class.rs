//! One class: its assignments, pairs and people.

use askama::Template;
use axum::extract::State;

use crate::actions::end_of_term::due;
use crate::store::assignments::{self, AssignmentLine};
use crate::store::classes::{self, Class as Stored, WhenOver};
use crate::store::pairs::{self, PairLine};
use crate::store::people::Role;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{ClassOf, may_change_class};
use crate::web::render::Page;
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "class.html")]
pub(in crate::web) struct Class {
    frame: Frame,
    class: Stored,
    may_change: bool,
    is_instructor: bool,
    assignments: Vec<Line>,
    pairs: Vec<PairLine>,
    students: usize,
    /// When something happens to its students by itself, and what; empty where nothing does.
    leaves: String,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Line {
    line: AssignmentLine,
    due: String,
    state: &'static str,
}

pub(in crate::web) async fn page(State(app): State<App>, of: ClassOf) -> Result<Page<Class>, WebError> {
    let ClassOf { person, class } = of;
    let (store, now) = (&app.service.store, app.service.clock.now());
    let zone = times::zone(&class.time_zone);
    let line = |line: AssignmentLine| {
        let state = match (line.opens_at > now, line.due_at < now, line.released_at.is_some()) {
            (true, _, _) => "not open yet",
            (_, _, true) => "marks released",
            (_, true, _) => "due",
            _ => "open",
        };
        Line {
            due: times::show(line.due_at, &zone),
            line,
            state,
        }
    };
    let assignments: Vec<Line> = assignments::of_class(store, class.id)
        .await?
        .into_iter()
        .map(line)
        .collect();
    let mut pairs = pairs::of_class(store, class.id).await?;
    pairs.retain(|pair| !pair.people.is_empty());
    let roster = classes::roster(store, class.id).await?;
    let students = roster.iter().filter(|l| l.role == Role::Student).count();
    let cells = vec![
        ("Class", class.name.clone()),
        ("Term", class.term.clone()),
        ("Time zone", class.time_zone.clone()),
        ("Pairs", pairs.len().to_string()),
        ("Students", students.to_string()),
    ];
    let leaves = leaves(&class, &zone);
    Ok(Page(Class {
        leaves,
        frame: Frame::of(&person, "/classes"),
        is_instructor: may_change_class(&person),
        may_change: may_change_class(&person) && class.archived_at.is_none(),
        class,
        assignments,
        pairs,
        students,
        cells,
    }))
}

/// What happens to the students of an archived class by itself, and when.
fn leaves(class: &Stored, zone: &jiff::tz::TimeZone) -> String {
    let what = match class.when_over {
        WhenOver::Ask => return String::new(),
        WhenOver::Names => "the names of its students are taken out",
        WhenOver::Delete => "its students are deleted",
    };
    match due(class).filter(|_| class.forgotten_at.is_none()) {
        Some(when) => format!("On {} {what}, by itself.", times::show(when, zone)),
        None => String::new(),
    }
}
