//! Pairs of a class: by hand, at random, in rotation.

use std::collections::{BTreeMap, BTreeSet};

use askama::Template;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::change::told_apart;
use crate::actions::pair_up::{self, How, PairUpError};
use crate::cohort::pairing::Odd;
use crate::store::care;
use crate::store::classes::{self, Class, Member};
use crate::store::ids::PersonId;
use crate::store::pairs::{self as stored, Way};
use crate::store::people::Role;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::once_each;
use crate::web::frame::Frame;
use crate::web::guards::{ClassOf, Instructor};
use crate::web::render::{Page, Sheet};
use crate::web::times;
use crate::web::wrongs::sentence;

#[derive(Debug, Template)]
#[template(path = "pairs.html")]
pub(in crate::web) struct Pairs {
    frame: Frame,
    class: Class,
    students: Vec<Line>,
    groups: Vec<(String, Vec<String>)>,
    /// Pairs of one, of three and more.
    odd_groups: Vec<String>,
    trail: Vec<String>,
    /// Assignments for which pairs have no plate: address, title, how many pairs.
    without: Vec<(String, String, i64)>,
    wrongs: Vec<(&'static str, String)>,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Line {
    member: Member,
    /// The name, told apart from others of the same.
    name: String,
    typed: String,
}

/// Fields as sent, in order; a name may come more than once.
pub(in crate::web) type Sent = Vec<(String, String)>;

async fn pairs(
    app: &App,
    of: ClassOf,
    typed: &BTreeMap<PersonId, String>,
    wrongs: Vec<(&'static str, String)>,
) -> Result<Pairs, WebError> {
    let ClassOf { person, class } = of;
    let store = &app.service.store;
    let zone = times::zone(&class.time_zone);
    let members = classes::members(store, class.id, app.service.clock.now()).await?;
    let mut groups: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut students = Vec::new();
    for member in members
        .iter()
        .filter(|m| m.role == Role::Student && m.left_at.is_none())
    {
        let pair = member.pair_name.clone().unwrap_or_default();
        let name = told_apart(member, &members);
        if !pair.is_empty() {
            groups.entry(pair.clone()).or_default().push(name.clone());
        }
        let typed = typed.get(&member.person).cloned().unwrap_or(pair);
        let member = member.clone();
        students.push(Line { member, name, typed });
    }
    let odd_groups = groups
        .iter()
        .filter(|(_, people)| people.len() != 2)
        .map(|(name, people)| match people.len() {
            1 => format!("{name}: one person, alone"),
            n => format!("{name}: {n} people"),
        })
        .collect();
    let trail = stored::pairings(store, class.id).await?.into_iter().map(|line| {
        let way = match line.way {
            Way::Hand => "by hand",
            Way::Random => "at random",
            Way::Rotated => "in rotation",
        };
        let by = line.by.map(|by| format!(" by {by}")).unwrap_or_default();
        let seed = line.seed.map(|seed| format!(", seed {seed}")).unwrap_or_default();
        format!("{}: {way}{by}{seed}.", times::show(line.made_at, &zone))
    });
    let without = care::without_plates(store, class.id, app.service.clock.now()).await?;
    let without = without
        .into_iter()
        .map(|(id, title, pairs)| (format!("/assignments/{id}/change"), title, pairs));
    Ok(Pairs {
        frame: Frame::of(&person, "/classes"),
        cells: vec![
            ("Class", class.name.clone()),
            ("Students", students.len().to_string()),
            ("Pairs", groups.len().to_string()),
        ],
        class,
        students,
        groups: groups.into_iter().collect(),
        odd_groups,
        trail: trail.collect(),
        without: without.collect(),
        wrongs,
    })
}

pub(in crate::web) async fn page(
    State(app): State<App>,
    Instructor(_): Instructor,
    of: ClassOf,
) -> Result<Page<Pairs>, WebError> {
    Ok(Page(pairs(&app, of, &BTreeMap::new(), Vec::new()).await?))
}

pub(in crate::web) async fn submit(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ClassOf,
    Form(sent): Form<Sent>,
) -> Result<Response, WebError> {
    once_each(&sent, &["absent"])?;
    let of_name = |name: &str| sent.iter().find(|(n, _)| n == name).map_or("", |(_, v)| v.as_str());
    let class = of.class.id;
    let members = classes::members(&app.service.store, class, app.service.clock.now()).await?;
    let here: BTreeSet<PersonId> = members
        .iter()
        .filter(|m| m.role == Role::Student && m.left_at.is_none())
        .map(|m| m.person)
        .collect();
    // What is sent about somebody who is not in the class is about nobody.
    let person_in = |text: &str| text.parse().map(PersonId).ok().filter(|p| here.contains(p));
    let labels: BTreeMap<PersonId, String> = sent
        .iter()
        .filter_map(|(name, value)| Some((person_in(name.strip_prefix("pair-")?)?, value.clone())))
        .collect();
    let absent: BTreeSet<PersonId> = sent
        .iter()
        .filter(|(name, _)| name == "absent")
        .filter_map(|(_, value)| person_in(value))
        .collect();
    let odd = if of_name("odd") == "alone" {
        Odd::Alone
    } else {
        Odd::Three
    };
    let service = &app.service;
    let done = match of_name("do") {
        "hand" => pair_up::by_hand(service, class, &labels, person.id).await.map(|()| 0),
        "random" => pair_up::make(service, class, How::Random, odd, &absent, person.id).await,
        "rotate" => pair_up::make(service, class, How::Rotated, odd, &absent, person.id).await,
        _ => return Err(WebError::NotFound),
    };
    match done {
        Ok(_) => Ok(Redirect::to(&format!("/classes/{class}/pairs")).into_response()),
        Err(PairUpError::Store(error)) => Err(error.into()),
        Err(error @ (PairUpError::TooFew | PairUpError::Name(_))) => {
            let page = pairs(&app, of, &labels, vec![("hand", sentence(&error))]).await?;
            Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
        Err(error) => Err(WebError::internal(error)),
    }
}
