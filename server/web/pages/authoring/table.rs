//! Pasting the print's table of balloons: first what was understood, then into the draft.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::{get, refused, to_form};
use crate::actions::author_exercise::keep;
use crate::exercise::form::{Column, Goes, Pasted, Row, read_table, take, text};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::Listed;
use crate::web::frame::Frame;
use crate::web::guards::DraftOf;
use crate::web::render::{Page, Sheet};

#[derive(Debug, Template)]
#[template(path = "authoring_table.html")]
pub(in crate::web) struct TablePage {
    frame: Frame,
    draft: i64,
    version: i64,
    title: String,
    pasted: String,
    mend: String,
    /// What was understood, once something was pasted.
    found: Option<Found>,
}

#[derive(Debug)]
struct Found {
    parted_by: &'static str,
    decimal_comma: bool,
    has_heading: bool,
    /// Name of the field, heading, and what it is taken for.
    columns: Vec<(String, String, &'static str)>,
    rows: Vec<(Row, String)>,
}

impl TablePage {
    fn of(of: &DraftOf, pasted: &str, found: Option<Found>) -> Self {
        Self {
            frame: Frame::of(&of.person, "/exercises"),
            draft: of.draft.id.0,
            version: of.draft.version,
            title: text(&take(&of.draft.toml).form.head, "title").to_owned(),
            pasted: pasted.to_owned(),
            mend: String::new(),
            found,
        }
    }

    /// Choices for a column.
    fn choices() -> Vec<(&'static str, &'static str)> {
        Column::ALL.iter().map(|(word, words, _)| (*word, *words)).collect()
    }
}

pub(in crate::web) async fn page(of: DraftOf) -> Page<TablePage> {
    Page(TablePage::of(&of, "", None))
}

fn words(goes: Goes) -> String {
    match goes {
        Goes::Again => "changes the number that is there".to_owned(),
        Goes::To(name) => format!("to {name}"),
        Goes::New(name) => format!("makes {name}"),
        Goes::Between(a, b) => format!("between {a} and {b}"),
    }
}

/// Where the rows go, in words; a feature is made by the first row that names it.
fn all_words(goes: Vec<Goes>, from: Vec<Option<String>>) -> Vec<String> {
    let mut made: Vec<String> = Vec::new();
    let line = |(goes, from): (Goes, Option<String>)| {
        let said = match goes {
            Goes::New(name) if made.contains(&name.to_lowercase()) => words(Goes::To(name)),
            Goes::New(name) => {
                made.push(name.to_lowercase());
                words(Goes::New(name))
            }
            other => words(other),
        };
        from.map_or_else(|| said.clone(), |from| format!("{said}, no more to {from}"))
    };
    goes.into_iter().zip(from).map(line).collect()
}

fn found(pasted: Pasted, goes: Vec<String>) -> Found {
    let heading = pasted.heading.unwrap_or_default();
    let has_heading = !heading.is_empty();
    let column = |(i, c): (usize, &Column)| {
        let head = heading.get(i).cloned().unwrap_or_else(|| format!("column {}", i + 1));
        (format!("col-{i}"), head, c.word())
    };
    Found {
        parted_by: pasted.parted_by,
        decimal_comma: pasted.decimal_comma,
        has_heading,
        columns: pasted.columns.iter().enumerate().map(column).collect(),
        rows: pasted.rows.into_iter().zip(goes).collect(),
    }
}

pub(in crate::web) async fn submit(
    State(app): State<App>,
    of: DraftOf,
    Listed(pairs): Listed,
) -> Result<Response, WebError> {
    let typed = get(&pairs, "pasted");
    // What the columns are was said for the table that stood there then.
    let said = get(&pairs, "of") == folded(typed);
    let column = |i: usize| Column::from_word(get(&pairs, &format!("col-{i}"))).filter(|_| said);
    let columns: Vec<Option<Column>> = (0..64).map(column).collect();
    let pasted = read_table(typed, &columns);
    if pasted.rows.is_empty() {
        let mut page = TablePage::of(&of, typed, None);
        page.mend = "Copy the rows of the table in the spreadsheet and paste them here; nothing was read.".to_owned();
        return Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let mut form = take(&of.draft.toml).form;
    if get(&pairs, "do") != "put" {
        let goes = all_words(form.where_to(&pasted), form.taken_from(&pasted));
        return Ok(Page(TablePage::of(&of, typed, Some(found(pasted, goes)))).into_response());
    }
    let first = form.features.len();
    let count = form.put_table(&pasted);
    let version = get(&pairs, "version").parse().unwrap_or(0);
    let what = format!("{count} lines of a table put in");
    match keep(&app.service, of.draft.id, version, of.person.id, &form, Some(&what)).await {
        Ok(_) => Ok(to_form(
            &of.draft,
            Some(format!("f{}-name", first.min(form.features.len().saturating_sub(1)))),
        )),
        Err(error) => refused(&of.draft, error),
    }
}

/// A short word for a text, to know it again (FNV-1a, 64 bits).
fn folded(text: &str) -> String {
    let fold = |h: u64, b: u8| (h ^ u64::from(b)).wrapping_mul(0x0000_0100_0000_01b3);
    let unified = text.replace("\r\n", "\n");
    format!("{:016x}", unified.trim_end().bytes().fold(0xcbf2_9ce4_8422_2325, fold))
}

impl TablePage {
    fn folded(&self) -> String {
        folded(&self.pasted)
    }
}
