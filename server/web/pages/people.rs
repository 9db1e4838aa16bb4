//! The people of a class: who is here, whose seat is taken, slips to print; one person.

use std::time::Duration;

use askama::Template;
use axum::extract::{Form, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use crate::actions::charge::{self, NotInCharge};
use crate::actions::people_of_class::{self, PeopleError};
use crate::actions::roster::{self, RosterError};
use crate::actions::second_step;
use crate::actions::take_seat::{self, Slip, SlipError};
use crate::store::classes::{self, Class, Member};
use crate::store::ids::PersonId;
use crate::store::pairs;
use crate::store::people::{self, Person, Role};
use crate::store::second_steps;
use crate::store::when::When;
use crate::web::app::App;
use crate::web::errors::{Explained, WebError};
use crate::web::frame::Frame;
use crate::web::guards::{ClassOf, Instructor, PersonOf, may_change_class};
use crate::web::render::{Page, Sheet};
use crate::web::times;
use crate::web::wrongs::{mend, sentence};

#[derive(Debug, Template)]
#[template(path = "people.html")]
pub(in crate::web) struct People {
    frame: Frame,
    class: Class,
    may_change: bool,
    students: Vec<Line>,
    staff: Vec<Line>,
    gone: Vec<Line>,
    without_seat: usize,
    /// Of those, whose slips somebody else makes.
    of_others: usize,
    typed: Typed,
    wrongs: Vec<(&'static str, String)>,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Line {
    member: Member,
    seat: String,
    left: String,
}

impl People {
    fn mend(&self, field: &str) -> &str {
        mend(&self.wrongs, field)
    }
}

/// The forms of the page as typed.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Typed {
    #[serde(rename = "do")]
    what: String,
    name: String,
    school_id: String,
    staff_name: String,
    staff_sign_in: String,
    staff_role: String,
}

const STAFF_ROLES: [(&str, &str); 2] = [
    (
        "assistant",
        "assistant: reviews reports, does not see what plates really are",
    ),
    ("instructor", "instructor: everything"),
];
const LASTING: [(&str, &str); 3] = [("2", "for 2 days"), ("7", "for 7 days"), ("14", "for 14 days")];

fn seat_words(member: &Member, zone: &jiff::tz::TimeZone) -> String {
    match (member.has_seat, member.slip_until) {
        (true, None) => "taken".to_owned(),
        (true, Some(until)) => format!("taken; a new slip is good until {}", times::show(until, zone)),
        (false, Some(until)) => format!("slip good until {}", times::show(until, zone)),
        (false, None) => "no slip yet".to_owned(),
    }
}

/// People of a class who have no seat yet: those whose slips this instructor makes, and how many others there are.
async fn without_seat(app: &App, members: &[Member], by: PersonId) -> Result<(Vec<PersonId>, usize), WebError> {
    let all = members.iter().filter(|m| m.left_at.is_none() && !m.has_seat);
    let all: Vec<PersonId> = all.map(|m| m.person).collect();
    let charges = charge::of_people(&app.service.store, &all, by).await?;
    let (ours, others): (Vec<PersonId>, Vec<PersonId>) = all
        .into_iter()
        .partition(|person| charges.get(person).is_some_and(Result::is_ok));
    Ok((ours, others.len()))
}

async fn people(app: &App, of: ClassOf, typed: Typed, wrongs: Vec<(&'static str, String)>) -> Result<People, WebError> {
    let ClassOf { person, class } = of;
    let zone = times::zone(&class.time_zone);
    let members = classes::members(&app.service.store, class.id, app.service.clock.now()).await?;
    let (ours, of_others) = without_seat(app, &members, person.id).await?;
    let without_seat = ours.len() + of_others;
    let (mut students, mut staff, mut gone) = (Vec::new(), Vec::new(), Vec::new());
    for member in members {
        let line = Line {
            seat: seat_words(&member, &zone),
            left: member.left_at.map(|at| times::show_day(at, &zone)).unwrap_or_default(),
            member,
        };
        match (&line.member.left_at, line.member.role) {
            (Some(_), _) => gone.push(line),
            (None, Role::Student) => students.push(line),
            (None, _) => staff.push(line),
        }
    }
    let cells = vec![
        ("Class", class.name.clone()),
        ("Term", class.term.clone()),
        ("Students", students.len().to_string()),
        ("Without a seat", without_seat.to_string()),
    ];
    Ok(People {
        frame: Frame::of(&person, "/classes"),
        may_change: may_change_class(&person),
        class,
        students,
        staff,
        gone,
        without_seat,
        of_others,
        typed,
        wrongs,
        cells,
    })
}

pub(in crate::web) async fn page(State(app): State<App>, of: ClassOf) -> Result<Page<People>, WebError> {
    Ok(Page(people(&app, of, Typed::default(), Vec::new()).await?))
}

/// Adds a student who comes late, or somebody to the staff of the class.
pub(in crate::web) async fn add(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ClassOf,
    Form(typed): Form<Typed>,
) -> Result<Response, WebError> {
    let class = of.class.id;
    let wrong = if typed.what == "staff" {
        let role = if typed.staff_role == "instructor" {
            Role::Instructor
        } else {
            Role::Assistant
        };
        let done = people_of_class::add_staff(
            &app.service,
            class,
            &typed.staff_sign_in,
            &typed.staff_name,
            role,
            person.id,
        );
        match done.await {
            Ok(()) => None,
            Err(PeopleError::Store(error)) => return Err(error.into()),
            Err(error) => {
                let field = if matches!(error, PeopleError::Name) {
                    "staff_name"
                } else {
                    "staff_sign_in"
                };
                Some((field, sentence(&error)))
            }
        }
    } else {
        match roster::add_one(&app.service, class, &typed.name, &typed.school_id, person.id).await {
            Ok(_) => None,
            Err(RosterError::Name) => Some(("name", sentence(&RosterError::Name))),
            Err(RosterError::Line(why)) => Some(("school_id", why)),
            Err(RosterError::Store(error)) => return Err(error.into()),
            Err(error) => return Err(WebError::internal(error)),
        }
    };
    match wrong {
        None => Ok(Redirect::to(&format!("/classes/{class}/people")).into_response()),
        Some(wrong) => {
            let page = people(&app, of, typed, vec![wrong]).await?;
            Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

#[derive(Debug, Template)]
#[template(path = "slips.html")]
struct Slips {
    frame: Frame,
    class: Class,
    slips: Vec<Slip>,
    until: String,
    address: String,
}

/// Whose slips, and for how long.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Wanted {
    /// Empty: everybody without a seat.
    person: String,
    days: String,
}

/// Makes slips and shows them, this once: the codes are not kept, so there is no page of them to come back to.
pub(in crate::web) async fn slips(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ClassOf,
    headers: HeaderMap,
    Form(wanted): Form<Wanted>,
) -> Result<Response, WebError> {
    let class = of.class;
    let members = classes::members(&app.service.store, class.id, app.service.clock.now()).await?;
    let whose = if wanted.person.is_empty() {
        without_seat(&app, &members, person.id).await?.0
    } else {
        let one = wanted.person.parse().map(PersonId).map_err(|_| WebError::NotFound)?;
        let here = members.iter().any(|m| m.left_at.is_none() && m.person == one);
        if !here {
            return Err(WebError::NotFound);
        }
        vec![one]
    };
    let days = match wanted.days.as_str() {
        "2" => 2,
        "14" => 14,
        _ => 7,
    };
    let lasting = Duration::from_secs(days * 24 * 3600);
    let slips = match take_seat::make_slips(&app.service, class.id, &whose, lasting, person.id).await {
        Ok(slips) => slips,
        Err(SlipError::Store(error)) => return Err(error.into()),
        Err(SlipError::NotHere) => return Err(WebError::NotFound),
        Err(SlipError::NotInCharge(why)) => {
            return Err(not_yours(
                &person,
                &why,
                (&format!("/classes/{}/people", class.id), TO_PEOPLE),
            ));
        }
        Err(error) => return Err(WebError::internal(error)),
    };
    let zone = times::zone(&class.time_zone);
    let until = slips.first().map(|s| times::show(s.until, &zone)).unwrap_or_default();
    Ok(Page(Slips {
        frame: Frame::of(&person, "/classes"),
        address: address(&app, &headers),
        class,
        slips,
        until,
    })
    .into_response())
}

/// For the log: somebody asked for what only whoever is in charge of a person can do.
fn note_refusal(by: &Person) {
    tracing::info!(person = by.id.0, "refused: somebody else is in charge");
}

/// Words of the way back to the people of a class.
pub(in crate::web) const TO_PEOPLE: &str = "Back to the people of the class";

/// The answer to what only whoever is in charge of a person, or of the school, can do.
pub(in crate::web) fn not_yours(by: &Person, why: &NotInCharge, (back, there): (&str, &str)) -> WebError {
    note_refusal(by);
    let mend = "Nothing was changed.";
    Explained::new(StatusCode::FORBIDDEN, "Not for you to do", &sentence(why), mend)
        .to(back, there)
        .into()
}

/// Where slips are used, as it is printed: the address at which the instructor's browser reached this server.
fn address(app: &App, headers: &HeaderMap) -> String {
    let host = headers
        .get(header::HOST)
        .and_then(|h| h.to_str().ok())
        .unwrap_or_default();
    let scheme = if app.settings.behind_tls { "https" } else { "http" };
    format!("{scheme}://{host}/seat")
}

#[derive(Debug, Template)]
#[template(path = "person.html")]
pub(in crate::web) struct OnePerson {
    frame: Frame,
    class: Class,
    may_change: bool,
    line: Line,
    is_staff: bool,
    is_self: bool,
    /// Why somebody else is in charge of the account; empty where the reader is.
    not_yours: String,
    second_step: bool,
    stays: Vec<(String, String, String)>,
    typed_name: String,
    wrongs: Vec<(&'static str, String)>,
    cells: Vec<(&'static str, String)>,
}

impl OnePerson {
    fn mend(&self, field: &str) -> &str {
        mend(&self.wrongs, field)
    }
}

async fn one(
    app: &App,
    of: PersonOf,
    typed: Option<String>,
    wrongs: Vec<(&'static str, String)>,
) -> Result<OnePerson, WebError> {
    let PersonOf { person, class, member } = of;
    let zone = times::zone(&class.time_zone);
    let show = |at: When| times::show(at, &zone);
    let second_step = second_steps::is_on(&app.service.store, member.person).await?;
    let charges = charge::of_people(&app.service.store, &[member.person], person.id).await?;
    let not_yours = charges
        .get(&member.person)
        .and_then(|is| is.as_ref().err())
        .map(sentence);
    let stays = pairs::of_person(&app.service.store, class.id, member.person).await?;
    let stays = stays
        .into_iter()
        .map(|s| (s.pair, show(s.from_at), s.to_at.map(show).unwrap_or_default()));
    Ok(OnePerson {
        frame: Frame::of(&person, "/classes"),
        may_change: may_change_class(&person),
        is_staff: member.role != Role::Student,
        is_self: member.person == person.id,
        not_yours: not_yours.unwrap_or_default(),
        second_step,
        stays: stays.collect(),
        typed_name: typed.unwrap_or_else(|| member.name.clone()),
        wrongs,
        cells: vec![("Class", class.name.clone()), ("Term", class.term.clone())],
        line: Line {
            seat: seat_words(&member, &zone),
            left: member.left_at.map(|at| times::show_day(at, &zone)).unwrap_or_default(),
            member,
        },
        class,
    })
}

pub(in crate::web) async fn person(State(app): State<App>, of: PersonOf) -> Result<Page<OnePerson>, WebError> {
    Ok(Page(one(&app, of, None, Vec::new()).await?))
}

/// What is to be done with one person.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Doing {
    #[serde(rename = "do")]
    what: String,
    name: String,
}

/// Renames, takes out, takes back, frees the seat.
pub(in crate::web) async fn change(
    State(app): State<App>,
    Instructor(by): Instructor,
    of: PersonOf,
    Form(doing): Form<Doing>,
) -> Result<Response, WebError> {
    let (class, id) = (of.class.id, of.member.person);
    let service = &app.service;
    let done = match doing.what.as_str() {
        "rename" => people_of_class::rename(service, class, id, &doing.name, by.id).await,
        "leave" => people_of_class::leave(service, class, id, by.id).await,
        "come-back" => people_of_class::come_back(service, class, id, by.id).await,
        "free-seat" => {
            let person = people::one(&service.store, id).await?.ok_or(WebError::NotFound)?;
            take_seat::free_seat(service, class, &person, by.id)
                .await
                .map_err(PeopleError::from)
        }
        "second-step" if of.member.role != Role::Student => second_step::reset(service, id, Some(by.id))
            .await
            .map(drop)
            .map_err(PeopleError::from),
        _ => return Err(WebError::NotFound),
    };
    let (status, field, what) = match done {
        Ok(()) => return Ok(Redirect::to(&format!("/classes/{class}/people/{id}")).into_response()),
        Err(PeopleError::Store(error)) => return Err(error.into()),
        Err(PeopleError::Seat(error)) => return Err(WebError::internal(error)),
        Err(PeopleError::NotInCharge(why)) => {
            note_refusal(&by);
            (StatusCode::FORBIDDEN, "seat", sentence(&why))
        }
        Err(error @ PeopleError::Name) => (StatusCode::UNPROCESSABLE_ENTITY, "name", sentence(&error)),
        Err(error) => (StatusCode::UNPROCESSABLE_ENTITY, "leave", sentence(&error)),
    };
    let typed = (doing.what == "rename").then_some(doing.name);
    let page = one(&app, of, typed, vec![(field, what)]).await?;
    Ok(Sheet(status, page).into_response())
}
