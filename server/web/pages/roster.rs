//! Taking a roster: paste or upload, see how it was read, correct that, take it.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::actions::roster::{self, Fate, Line, RosterError};
use crate::report::roster::{Column, Holds, Roster as Read, RosterOptions, read};
use crate::store::classes::{self, Class};
use crate::store::people::{Person, Role};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{ClassOf, Instructor};
use crate::web::render::{Page, Sheet};
use crate::web::upload::Upload;
use crate::web::wrongs::{mend, sentence};

#[derive(Debug, Template)]
#[template(path = "roster.html")]
pub(in crate::web) struct Roster {
    frame: Frame,
    class: Class,
    text: String,
    wrongs: Vec<(&'static str, String)>,
    found: Option<Found>,
    taken: Option<Vec<LineWords>>,
    new: usize,
    cells: Vec<(&'static str, String)>,
}

/// What was read, before anything is taken.
#[derive(Debug)]
struct Found {
    read: Read,
    first_line: &'static str,
    columns: Vec<Asked>,
    lines: Vec<LineWords>,
    /// Students of the class who are not in the list.
    others: Vec<String>,
    has_pairs: bool,
}

/// What a column holds, to be confirmed.
#[derive(Debug)]
struct Asked {
    field: String,
    label: String,
    holds: &'static str,
    hint: String,
}

fn asked((at, column): (usize, &Column)) -> Asked {
    let number = at + 1;
    Asked {
        field: format!("column-{at}"),
        label: if column.heading.is_empty() {
            format!("Column {number} holds")
        } else {
            format!("Column {number}, {}, holds", column.heading)
        },
        holds: column.holds.word(),
        hint: if column.example.is_empty() {
            String::new()
        } else {
            format!("As in: {}", column.example)
        },
    }
}

#[derive(Debug)]
struct LineWords {
    line: Line,
    fate: String,
}

const HOLDS: [(&str, &str); 7] = [
    ("name", "the name"),
    ("given", "the given name"),
    ("family", "the family name"),
    ("school-id", "the school's identifier"),
    ("email", "the e-mail address"),
    ("pair", "the pair"),
    ("nothing", "nothing that is used here"),
];
const HEADING: [(&str, &str); 2] = [
    ("yes", "the first line has headings"),
    ("no", "the first line is a person"),
];

impl Roster {
    fn of(person: &Person, class: Class, text: String) -> Self {
        Self {
            frame: Frame::of(person, "/classes"),
            cells: vec![("Class", class.name.clone()), ("Term", class.term.clone())],
            class,
            text,
            wrongs: Vec::new(),
            found: None,
            taken: None,
            new: 0,
        }
    }

    fn mend(&self, field: &str) -> &str {
        mend(&self.wrongs, field)
    }
}

fn words(line: Line) -> LineWords {
    let fate = match &line.fate {
        Fate::New => "new".to_owned(),
        Fate::Known(None) => "known to the school, new to this class".to_owned(),
        Fate::Known(Some(name)) => format!("known to the school as {name}; that name stays"),
        Fate::Back => "left the class, comes back".to_owned(),
        Fate::Here => "in the class already".to_owned(),
        Fate::Refused(why) => format!("not taken: {why}"),
    };
    LineWords { line, fate }
}

pub(in crate::web) async fn page(Instructor(person): Instructor, of: ClassOf) -> Page<Roster> {
    Page(Roster::of(&person, of.class, String::new()))
}

fn options(upload: &Upload) -> RosterOptions {
    let columns: Vec<Holds> = (0..40)
        .map_while(|at| upload.fields.get(&format!("column-{at}")))
        .map(|word| Holds::from_word(word).unwrap_or(Holds::Nothing))
        .collect();
    RosterOptions {
        columns: (!columns.is_empty()).then_some(columns),
        heading: upload.fields.get("heading").map(|h| h == "yes"),
    }
}

/// What was sent: the file, else what was pasted; or what is wrong with it.
fn sent(upload: &Upload) -> Result<Vec<u8>, (&'static str, String)> {
    match upload.file("file") {
        Some(file) if file.too_big => Err((
            "file",
            "The file is bigger than 8 MB. Take the table of names alone, saved as CSV.".to_owned(),
        )),
        Some(file) => Ok(file.bytes.clone()),
        None if upload.too_long.iter().any(|f| f == "text") => Err((
            "text",
            "This is more than 500 kB of text. Paste the lines of this class only.".to_owned(),
        )),
        None if upload.field("text").trim().is_empty() => {
            Err(("text", "Paste the list here, or choose a file below.".to_owned()))
        }
        None => Ok(upload.field("text").as_bytes().to_vec()),
    }
}

pub(in crate::web) async fn submit(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ClassOf,
    upload: Upload,
) -> Result<Response, WebError> {
    let mut page = Roster::of(&person, of.class, upload.field("text").to_owned());
    let bytes = match sent(&upload) {
        Ok(bytes) => bytes,
        Err(wrong) => {
            page.wrongs.push(wrong);
            return Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
        }
    };
    // A chosen file is another list than the one that the answers below are about.
    let is_file = upload.file("file").is_some();
    let options = if is_file {
        RosterOptions::default()
    } else {
        options(&upload)
    };
    let list = match read(&bytes, &options) {
        Ok(list) => list,
        Err(refusal) => {
            page.wrongs
                .push((if is_file { "file" } else { "text" }, sentence(&refusal)));
            return Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
        }
    };
    if is_file {
        page.text = decoded(&bytes);
    }
    if upload.field("do") == "take" && !is_file && !list.people.is_empty() {
        let taken = roster::take(&app.service, page.class.id, &list.people, person.id).await;
        let taken = taken.map_err(failed)?;
        page.new = taken.iter().filter(|l| l.fate == Fate::New).count();
        page.taken = Some(taken.into_iter().map(words).collect());
        return Ok(Page(page).into_response());
    }
    if list.people.is_empty() {
        page.wrongs.push(if list.has_names() {
            (
                "text",
                "No line has a name in it that can be used. See below what was found.".to_owned(),
            )
        } else {
            let what = "No column was found that holds names. Say below which one does, or paste the list with it.";
            ("column-0", what.to_owned())
        });
    }
    page.found = Some(found(&app, &page.class, list).await?);
    let status = if page.wrongs.is_empty() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    Ok(Sheet(status, page).into_response())
}

/// The text of a file, for the field in which it comes back to be taken.
fn decoded(bytes: &[u8]) -> String {
    crate::report::roster::text(bytes).unwrap_or_default()
}

async fn found(app: &App, class: &Class, read: Read) -> Result<Found, WebError> {
    let lines = roster::look(&app.service, class.id, &read.people)
        .await
        .map_err(failed)?;
    let members = classes::members(&app.service.store, class.id, app.service.clock.now()).await?;
    let is_listed = |m: &classes::Member| {
        read.people.iter().any(|p| {
            p.name == m.name
                || !p.school_id.is_empty()
                    && m.school_id
                        .as_deref()
                        .is_some_and(|id| id.eq_ignore_ascii_case(&p.school_id))
        })
    };
    let others = members
        .iter()
        .filter(|m| m.role == Role::Student && m.left_at.is_none() && !is_listed(m));
    Ok(Found {
        first_line: if read.heading { "yes" } else { "no" },
        columns: read.columns.iter().enumerate().map(asked).collect(),
        lines: lines.into_iter().map(words).collect(),
        others: others.map(|m| m.name.clone()).collect(),
        has_pairs: read.people.iter().any(|p| !p.pair.is_empty()),
        read,
    })
}

fn failed(error: RosterError) -> WebError {
    match error {
        RosterError::Store(error) => error.into(),
        error => WebError::internal(error),
    }
}
