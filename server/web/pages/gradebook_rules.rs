//! Weights and drops of a gradebook, and which assignments want a photo or PDF of the sheet.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;

use crate::actions::gradebook::{self, By, Column, Rules, set_rules};
use crate::store::classes::Class;
use crate::store::people::Person;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::{ClassOf, Instructor};
use crate::web::render::{Page, Sheet};

#[derive(Debug, Template)]
#[template(path = "gradebook_rules.html")]
pub(in crate::web) struct GradebookRules {
    frame: Frame,
    class: i64,
    class_name: String,
    wrongs: Vec<(String, String)>,
    drops: String,
    drops_mend: String,
    rows: Vec<Row>,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Row {
    id: i64,
    title: String,
    weight: String,
    wants_evidence: bool,
    mend: String,
}

type Typed = BTreeMap<String, String>;

const WEIGHT: &str = "Write a weight from 0 to 1000, with at most two decimals; 0 does not count.";
const DROPS: &str = "Write a whole number from 0 to 99.";

fn weight(text: &str) -> Option<Decimal> {
    let weight: Decimal = text.trim().replace(',', ".").parse().ok()?;
    let weight = weight.normalize();
    (weight.scale() <= 2 && (Decimal::ZERO..=Decimal::ONE_THOUSAND).contains(&weight)).then_some(weight)
}

fn drops(text: &str) -> Option<i64> {
    text.trim().parse().ok().filter(|n| (0..=99).contains(n))
}

fn whole(person: &Person, class: Class, columns: &[Column], now: usize, typed: Option<&Typed>) -> GradebookRules {
    let mut wrongs = Vec::new();
    let row = |c: &Column| {
        let id = c.assignment.id.0;
        let kept = || c.weight.normalize().to_string();
        let text = typed.map_or_else(kept, |t| t.get(&format!("weight-{id}")).cloned().unwrap_or_default());
        let wrong = typed.is_some() && weight(&text).is_none();
        if wrong {
            wrongs.push((format!("weight-{id}"), format!("{}: {WEIGHT}", c.assignment.title)));
        }
        Row {
            id,
            title: c.assignment.title.clone(),
            weight: text,
            wants_evidence: typed.map_or(c.wants_evidence, |t| t.contains_key(&format!("evidence-{id}"))),
            mend: if wrong { WEIGHT.to_owned() } else { String::new() },
        }
    };
    let rows = columns.iter().map(row).collect();
    let text = typed.map_or_else(|| now.to_string(), |t| t.get("drops").cloned().unwrap_or_default());
    let wrong = typed.is_some() && drops(&text).is_none();
    if wrong {
        wrongs.push(("drops".to_owned(), DROPS.to_owned()));
    }
    GradebookRules {
        frame: Frame::of(person, "/classes"),
        class: class.id.0,
        wrongs,
        drops: text,
        drops_mend: if wrong { DROPS.to_owned() } else { String::new() },
        rows,
        cells: vec![("Class", class.name.clone()), ("Term", class.term)],
        class_name: class.name,
    }
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ClassOf,
) -> Result<Page<GradebookRules>, WebError> {
    let now = app.service.clock.now();
    let book = gradebook::of_class(&app.service.store, &of.class, By::Pairs, now).await?;
    Ok(Page(whole(&person, of.class, &book.columns, book.drops, None)))
}

/// Keeps them.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ClassOf,
    Form(typed): Form<Typed>,
) -> Result<Response, WebError> {
    let now = app.service.clock.now();
    let book = gradebook::of_class(&app.service.store, &of.class, By::Pairs, now).await?;
    let column = |c: &Column| {
        let id = c.assignment.id;
        let weight = weight(typed.get(&format!("weight-{id}"))?)?;
        Some((id, weight, typed.contains_key(&format!("evidence-{id}"))))
    };
    let columns: Option<Vec<_>> = book.columns.iter().map(column).collect();
    let (Some(columns), Some(drops)) = (columns, typed.get("drops").and_then(|t| drops(t))) else {
        let page = whole(&person, of.class, &book.columns, book.drops, Some(&typed));
        return Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    set_rules(&app.service, of.class.id, &Rules { columns, drops }, person.id).await?;
    Ok(Redirect::to(&format!("/classes/{}/gradebook", of.class.id)).into_response())
}
