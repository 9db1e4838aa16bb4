//! Two people at one draft, or a revision that was made meanwhile: both versions, and what can be done.

use askama::Template;
use axum::extract::{Form as Posted, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::zone_of;
use crate::exercise::difference::{Change, differences};
use crate::exercise::form::{Form, look, take};
use crate::store::exercise_drafts as drafts;
use crate::store::exercises;
use crate::store::ids::ExerciseRevisionId;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::DraftOf;
use crate::web::render::Sheet;
use crate::web::times;

#[derive(Debug, Template)]
#[template(path = "authoring_overtaken.html")]
pub(in crate::web) struct Overtaken {
    frame: Frame,
    draft: i64,
    version: i64,
    /// The step that holds what was typed here; 0 where a revision was published meanwhile.
    mine: i64,
    /// The revision that was published meanwhile; 0 where there is none.
    newer: i64,
    number: i64,
    by: String,
    when: String,
    changes: Vec<Change>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Which {
    mine: i64,
    newer: i64,
}

/// What differs, as far as both can be read; where one cannot, by its fields.
fn between(theirs: &Form, mine: &Form) -> Vec<Change> {
    let (a, b) = (look(theirs), look(mine));
    if let (Some(a), Some(b)) = (&a.exercise, &b.exercise) {
        return differences(a, b);
    }
    let Some(fields) = theirs.changed_fields(mine) else {
        return vec![Change {
            about: "features".to_owned(),
            what: crate::actions::author_exercise::changed_words(theirs, mine),
        }];
    };
    let change = |(name, old, new): (String, String, String)| {
        let label = mine.field(&name).map_or("", |(spec, _)| spec.label);
        let flat = |t: &str| t.replace(['\t', '\n'], " ");
        Change {
            about: mine.owner_of(&name).unwrap_or_else(|| "sheet".to_owned()),
            what: format!(
                "{label}: \u{201c}{}\u{201d} there, \u{201c}{}\u{201d} here",
                flat(&old),
                flat(&new)
            ),
        }
    };
    fields.into_iter().map(change).collect()
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    of: DraftOf,
    Query(which): Query<Which>,
) -> Result<Response, WebError> {
    let DraftOf { person, draft } = of;
    let store = &app.service.store;
    let zone = zone_of(&app, &person).await?;
    let stands = take(&draft.toml).form;
    let newer = exercises::revision(store, ExerciseRevisionId(which.newer)).await?;
    let newer = newer.filter(|r| Some(r.exercise) == draft.exercise);
    let page = if let Some(revision) = newer {
        Overtaken {
            frame: Frame::of(&person, "/exercises"),
            draft: draft.id.0,
            version: draft.version,
            mine: 0,
            newer: revision.id.0,
            number: revision.number,
            by: String::new(),
            when: times::show(revision.created_at, &zone),
            changes: between(&take(&revision.toml).form, &stands),
        }
    } else {
        let mine = drafts::step(store, draft.id, which.mine)
            .await?
            .ok_or(WebError::NotFound)?;
        Overtaken {
            frame: Frame::of(&person, "/exercises"),
            draft: draft.id.0,
            version: draft.version,
            mine: mine.number,
            newer: 0,
            number: draft.step,
            by: draft.made_by.unwrap_or_default(),
            when: times::show(draft.made_at, &zone),
            changes: between(&stands, &take(&mine.toml).form),
        }
    };
    Ok(Sheet(StatusCode::CONFLICT, page).into_response())
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Over {
    version: i64,
    newer: i64,
}

/// Publishes after the revision that was made meanwhile.
pub(in crate::web) async fn publish_over(
    State(app): State<App>,
    of: DraftOf,
    Posted(over): Posted<Over>,
) -> Result<Response, WebError> {
    super::published(
        &app,
        &of.person,
        &of.draft,
        over.version,
        Some(ExerciseRevisionId(over.newer)),
    )
    .await
}
