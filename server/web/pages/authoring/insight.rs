//! What the print can tell before anyone measures: mistakes that it takes for each other, mistakes that it does not see, and
//! touches that would make its numbers as good as stated; each with a button that mends it, where one thing does.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};

use super::{get, refused, to_form};
use crate::actions::author_exercise::keep;
use crate::exercise::form::{Edit, look, take, text};
use crate::exercise::model::Exercise;
use crate::grading::insight::{Proposal, proposed, words};
use crate::procedure::plan::{Change, Conditions, plan};
use crate::units::{decimal_from_f64, show_number};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::Listed;
use crate::web::frame::Frame;
use crate::web::guards::DraftOf;
use crate::web::render::Page;

#[derive(Debug, Template)]
#[template(path = "authoring_insight.html")]
pub(in crate::web) struct InsightPage {
    frame: Frame,
    draft: i64,
    version: i64,
    title: String,
    /// Whether there is something to look at.
    readable: bool,
    first: String,
    /// Sentences under their headings.
    groups: Vec<(&'static str, Vec<Told>)>,
}

/// A sentence, and the button that mends what it says.
#[derive(Debug, Default)]
struct Told {
    text: String,
    /// What the button sends, and its words; empty without one.
    button: (String, String),
}

/// Sentences of one kind at most; a print of many numbers has many sets that nobody could tell.
const MOST: usize = 8;

#[derive(Default)]
struct Found {
    first: String,
    groups: Vec<(&'static str, Vec<Told>)>,
}

pub(in crate::web) async fn page(of: DraftOf) -> Result<Page<InsightPage>, WebError> {
    let form = take(&of.draft.toml).form;
    let title = text(&form.head, "title").to_owned();
    let work = move || {
        look(&form)
            .drawn
            .filter(|e| !e.characteristics.is_empty())
            .map(|e| found(&e))
    };
    let found = tokio::task::spawn_blocking(work).await.map_err(WebError::internal)?;
    let readable = found.is_some();
    let found = found.unwrap_or_default();
    Ok(Page(InsightPage {
        frame: Frame::of(&of.person, "/exercises"),
        draft: of.draft.id.0,
        version: of.draft.version,
        title,
        readable,
        first: found.first,
        groups: found.groups,
    }))
}

fn button(exercise: &Exercise, add: Option<&Proposal>) -> (String, String) {
    add.map_or_else(Default::default, |add| {
        let words = format!("Add {}", words::proposal(exercise, add));
        (format!("ask {} {}", add.feature, add.of.word()), words)
    })
}

fn found(exercise: &Exercise) -> Found {
    let insight = proposed(exercise).unwrap_or_default();
    let confusable = insight.confusable.iter().take(MOST).map(|set| Told {
        text: words::confusable(exercise, set),
        button: button(exercise, set.add.as_ref()),
    });
    let unseen = insight.unseen.iter().take(MOST).map(|one| Told {
        text: words::unseen(exercise, one),
        button: button(exercise, one.add.as_ref()),
    });
    let groups = [
        ("Mistakes that look alike", confusable.collect()),
        ("Mistakes that no number shows", unseen.collect()),
        ("Touches", touches(exercise)),
    ];
    Found {
        first: words::first(exercise, &insight).unwrap_or_default(),
        groups: groups
            .into_iter()
            .filter(|(_, told): &(_, Vec<Told>)| !told.is_empty())
            .collect(),
    }
}

/// Numbers that the touches do not bring to what is stated, and what would.
fn touches(exercise: &Exercise) -> Vec<Told> {
    let figure = |u: f64| {
        let u = decimal_from_f64(u).and_then(|u| u.round_sf(2));
        u.map_or_else(|| "?".to_owned(), |u| show_number(u.normalize()))
    };
    let plan = plan(exercise, &Conditions::default());
    let short = plan.lines.iter().filter(|line| !line.is_reached());
    let told = short.filter_map(|line| {
        let advice = line.advice?;
        let with = match advice.change {
            Change::Points { feature, to } => {
                let feature = exercise.features.get(feature)?;
                let button = (
                    format!("points {} {to}", feature.key),
                    format!("Ask for {to} touches on {}", feature.name),
                );
                (format!("{to} touches on {}", feature.name), button)
            }
            Change::Touches { datum, to } => (format!("{to} touches on datum {datum}"), Default::default()),
        };
        let much = if advice.reaches {
            "that is reached"
        } else {
            "the most that more touches in one place bring is reached"
        };
        Some(Told {
            text: format!(
                "Number {} is stated with U {}; its touches do not reach that. With {} U is {}, and {much}.",
                line.no,
                figure(line.stated),
                with.0,
                figure(advice.expanded)
            ),
            button: with.1,
        })
    });
    told.take(MOST).collect()
}

/// Adds what a sentence proposes.
pub(in crate::web) async fn add(
    State(app): State<App>,
    of: DraftOf,
    Listed(pairs): Listed,
) -> Result<Response, WebError> {
    let mut form = take(&of.draft.toml).form;
    let edit = Edit::from_word(get(&pairs, "do")).ok_or(WebError::NotFound)?;
    let here = form.edit(&edit);
    let version = get(&pairs, "version").parse().unwrap_or(0);
    match keep(&app.service, of.draft.id, version, of.person.id, &form, None).await {
        Ok(_) => Ok(to_form(&of.draft, here).into_response()),
        Err(error) => refused(&of.draft, error),
    }
}
