//! Weights and drops of a gradebook, and which assignments want a photo or PDF of the sheet.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;

use crate::actions::gradebook::{self, By, Column, Rules, set_rules};
use crate::store::classes::Class;
use crate::store::people::Person;
use crate::store::versions::{self, Thing};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::Fields;
use crate::web::frame::Frame;
use crate::web::guards::{ClassOf, Instructor};
use crate::web::render::{Page, Sheet};
use crate::web::wrongs::meanwhile;

#[derive(Debug, Template)]
#[template(path = "gradebook_rules.html")]
pub(in crate::web) struct GradebookRules {
    frame: Frame,
    class: i64,
    class_name: String,
    /// What stands now, as [`versions`] has it.
    seen: String,
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

/// The page with what stands, or with what was typed.
fn whole(
    person: &Person,
    class: Class,
    (columns, now): (&[Column], usize),
    seen: String,
    typed: Option<&Typed>,
) -> GradebookRules {
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
        seen,
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
    let seen = versions::now(&app.service.store, Thing::Gradebook(of.class.id)).await?;
    Ok(Page(whole(&person, of.class, (&book.columns, book.drops), seen, None)))
}

/// Keeps them.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ClassOf,
    Fields(typed): Fields,
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
        let seen = typed.get("seen").cloned().unwrap_or_default();
        let page = whole(&person, of.class, (&book.columns, book.drops), seen, Some(&typed));
        return Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let seen = typed.get("seen").map_or("", String::as_str);
    let rules = Rules { columns, drops };
    if !set_rules(&app.service, of.class.id, &rules, seen, person.id).await? {
        return overtaken(&app, &person, of.class, &typed).await;
    }
    Ok(Redirect::to(&format!("/classes/{}/gradebook", of.class.id)).into_response())
}

/// Two people changed the rules at once: what stands now is said at each field, and what was typed stays in it.
async fn overtaken(app: &App, person: &Person, class: Class, typed: &Typed) -> Result<Response, WebError> {
    let seen = versions::now(&app.service.store, Thing::Gradebook(class.id)).await?;
    let book = gradebook::of_class(&app.service.store, &class, By::Pairs, app.service.clock.now()).await?;
    let mut page = whole(person, class, (&book.columns, book.drops), seen, Some(typed));
    for (row, column) in page.rows.iter_mut().zip(&book.columns) {
        let evidence = if column.wants_evidence { "wanted" } else { "not wanted" };
        if weight(&row.weight) != Some(column.weight.normalize()) || row.wants_evidence != column.wants_evidence {
            row.mend = meanwhile(&format!(
                "weight {}, photo or PDF {evidence},",
                column.weight.normalize()
            ));
            page.wrongs
                .push((format!("weight-{}", row.id), format!("{}: {}", row.title, row.mend)));
        }
    }
    if drops(&page.drops) != i64::try_from(book.drops).ok() {
        page.drops_mend = meanwhile(&book.drops.to_string());
        page.wrongs.push(("drops".to_owned(), page.drops_mend.clone()));
    }
    Ok(Sheet(StatusCode::CONFLICT, page).into_response())
}
