//! Who may see what: roles by the table of routes, objects by the extractors here, and nowhere else.
//!
//! `admit` runs before every handler: it finds out who is signed in and holds the request to the route's `Access`.
//! A handler then asks for the person (`Instructor`, `Staff`, `Student`) and for the object in its path
//! (`ClassOf`, `AssignmentOf`, `ReportOf`, `MyAssignment`, `MyReport`); other people's objects are not found.

use std::collections::{BTreeMap, BTreeSet};
use std::net::{IpAddr, Ipv6Addr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use axum::extract::{FromRequestParts, OptionalFromRequestParts, Path, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderName, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use axum_extra::extract::CookieJar;

use super::app::App;
use super::errors::{Explained, WebError};
use super::pages::people::not_yours;
use super::pages::sign_in::is_shared;
use crate::actions::sign_in::{self, Token};
use crate::actions::{charge, standing};
use crate::store::assignments::{self, Assignment, Mine};
use crate::store::classes::{self, Class, Member};
use crate::store::exercise_drafts::{self, Draft};
use crate::store::exercises::{self, Revision};
use crate::store::ids::{AssignmentId, ClassId, ExerciseDraftId, ExerciseId, PersonId, PlateId, RegradeId, ReportId};
use crate::store::people::{Person, Role};
use crate::store::plates::{self, PlateLine};
use crate::store::regrades::{self, Regrade};
use crate::store::reports::{self, Report};

/// Who may use a route.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// Everybody, signed in or not.
    Anyone,
    /// Everybody who is signed in.
    SignedIn,
    /// Students.
    Student,
    /// Instructors and assistants.
    Staff,
    /// Instructors.
    Instructor,
}

impl Access {
    fn check(self, person: Option<&Person>) -> Result<(), Denied> {
        let Some(person) = person else {
            return if self == Self::Anyone {
                Ok(())
            } else {
                Err(Denied::Nobody)
            };
        };
        let whom = match self {
            Self::Anyone | Self::SignedIn => return Ok(()),
            Self::Student if person.role == Role::Student => return Ok(()),
            Self::Staff if person.role != Role::Student => return Ok(()),
            Self::Instructor if person.role == Role::Instructor => return Ok(()),
            Self::Student => "students",
            Self::Staff => "instructors and their assistants",
            Self::Instructor => "instructors",
        };
        Err(Denied::Other(whom))
    }
}

/// Whether a person may see what plates really are: references, planted deviations, and whatever they can be worked out
/// from. The one place where this is decided; a page that staff share asks here what to leave out.
#[must_use]
pub const fn may_see_truth(person: &Person) -> bool {
    matches!(person.role, Role::Instructor)
}

/// Whether a person may review reports: look at them, comment, answer a query.
#[must_use]
pub const fn may_review(person: &Person) -> bool {
    matches!(person.role, Role::Instructor | Role::Assistant)
}

/// Whether a person may change a class: its people, pairs, assignments and machine time.
#[must_use]
pub const fn may_change_class(person: &Person) -> bool {
    matches!(person.role, Role::Instructor)
}

enum Denied {
    Nobody,
    Other(&'static str),
}

/// Name of the cookie. The prefix holds it to HTTPS and to this host (RFC 6265bis, 4.1.3.2).
#[must_use]
pub const fn cookie_name(behind_tls: bool) -> &'static str {
    if behind_tls { "__Host-session" } else { "session" }
}

/// The token that the browser sent.
#[must_use]
pub fn token(app: &App, jar: &CookieJar) -> Option<Token> {
    jar.get(cookie_name(app.settings.behind_tls))
        .and_then(|c| Token::from_cookie(c.value()))
}

/// What the browser kept goes: of pages and of what was typed.
pub(super) const CLEAR: [(HeaderName, &str); 1] =
    [(HeaderName::from_static("clear-site-data"), r#""cache", "storage""#)];

/// Finds out who is signed in and holds the request to the access of its route.
pub(super) async fn admit(State((app, access)): State<(App, Access)>, mut request: Request, next: Next) -> Response {
    let jar = CookieJar::from_headers(request.headers());
    let person = match token(&app, &jar) {
        Some(token) => match sign_in::who(&app.service, &token).await {
            Ok(person) => person,
            Err(error) => return WebError::from(error).into_response(),
        },
        None => None,
    };
    let mut response = match access.check(person.as_ref()) {
        Ok(()) => {
            if let Some(person) = &person {
                request.extensions_mut().insert(person.clone());
            }
            next.run(request).await
        }
        Err(Denied::Other(whom)) => {
            let person = person.as_ref().map(|p| p.id.0);
            tracing::info!(person, path = request.uri().path(), "refused: not for this person");
            WebError::NotForYou(whom).into_response()
        }
        Err(Denied::Nobody) if request.method() == Method::GET => {
            let here = request.uri().path_and_query().map_or("/", |p| p.as_str());
            let answer = WebError::SignIn(here.to_owned()).into_response();
            if token(&app, &jar).is_some() && is_shared(&jar) {
                // The session is over. Nobody's own device loses what its person has typed and not sent yet.
                (CLEAR, answer).into_response()
            } else {
                answer
            }
        }
        Err(Denied::Nobody) => WebError::SignedOut.into_response(),
    };
    // For the head of an error's page.
    if let Some(person) = person {
        response.extensions_mut().insert(person);
    }
    response
}

fn person_of(parts: &Parts, access: Access) -> Result<Person, WebError> {
    let person = parts.extensions.get::<Person>();
    match (access.check(person), person) {
        (Ok(()), Some(person)) => Ok(person.clone()),
        (Err(Denied::Other(whom)), _) => Err(WebError::NotForYou(whom)),
        _ => Err(WebError::SignedOut),
    }
}

macro_rules! person_guard {
    ($(#[$doc:meta])* $name:ident, $access:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone)]
        pub struct $name(pub Person);

        impl FromRequestParts<App> for $name {
            type Rejection = WebError;

            async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, WebError> {
                person_of(parts, $access).map(Self)
            }
        }
    };
}

person_guard!(
    /// Whoever is signed in.
    SignedIn,
    Access::SignedIn
);
person_guard!(
    /// A student.
    Student,
    Access::Student
);
person_guard!(
    /// An instructor or assistant.
    Staff,
    Access::Staff
);
person_guard!(
    /// An instructor: the only one who sees what plates really are.
    Instructor,
    Access::Instructor
);

/// An instructor who may copy the whole school and put another one in its place.
#[derive(Debug)]
pub struct WholeSchool(pub Person);

impl FromRequestParts<App> for WholeSchool {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebError> {
        let Instructor(person) = Instructor::from_request_parts(parts, app).await?;
        match charge::of_the_school(&app.service.store, app.settings.copies_on_pages).await? {
            Ok(()) => Ok(Self(person)),
            Err(why) => Err(not_yours(&person, &why, ("/classes", "Back to the classes"))),
        }
    }
}

impl OptionalFromRequestParts<App> for SignedIn {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Option<Self>, WebError> {
        Ok(parts.extensions.get::<Person>().cloned().map(Self))
    }
}

/// The number in the path under this name; what is no number is not found.
async fn in_path(parts: &mut Parts, app: &App, name: &str) -> Result<i64, WebError> {
    let Path(path) = <Path<BTreeMap<String, String>> as FromRequestParts<App>>::from_request_parts(parts, app)
        .await
        .map_err(|_| WebError::NotFound)?;
    path.get(name)
        .and_then(|text| text.parse().ok())
        .ok_or(WebError::NotFound)
}

/// `{exercise}` in its newest revision, for an instructor: exercises belong to the school.
#[derive(Debug)]
pub struct ExerciseOf {
    /// Who asks.
    pub person: Person,
    /// Newest revision.
    pub revision: Revision,
}

impl FromRequestParts<App> for ExerciseOf {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebError> {
        let person = person_of(parts, Access::Instructor)?;
        let id = ExerciseId(in_path(parts, app, "exercise").await?);
        let revision = exercises::newest(&app.service.store, id)
            .await?
            .ok_or(WebError::NotFound)?;
        Ok(Self { person, revision })
    }
}

/// `{draft}` of an exercise, for an instructor.
#[derive(Debug)]
pub struct DraftOf {
    /// Who asks.
    pub person: Person,
    /// The draft as it stands.
    pub draft: Draft,
}

impl FromRequestParts<App> for DraftOf {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebError> {
        let person = person_of(parts, Access::Instructor)?;
        let id = ExerciseDraftId(in_path(parts, app, "draft").await?);
        let draft = exercise_drafts::one(&app.service.store, id)
            .await?
            .ok_or(WebError::NotFound)?;
        Ok(Self { person, draft })
    }
}

/// `{exercise}` and `{plate}` of it, for an instructor: what a plate really is nobody else sees.
#[derive(Debug)]
pub struct PlateOf {
    /// Who asks.
    pub person: Person,
    /// Newest revision of the exercise.
    pub revision: Revision,
    /// The plate with its newest truth.
    pub plate: PlateLine,
}

impl FromRequestParts<App> for PlateOf {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebError> {
        let ExerciseOf { person, revision } = ExerciseOf::from_request_parts(parts, app).await?;
        let id = PlateId(in_path(parts, app, "plate").await?);
        let all = plates::of_exercise(&app.service.store, revision.exercise).await?;
        let plate = all.into_iter().find(|l| l.id == id).ok_or(WebError::NotFound)?;
        Ok(Self {
            person,
            revision,
            plate,
        })
    }
}

/// `{regrade}`, for the instructor who decided on it or one whose class it touches.
#[derive(Debug)]
pub struct RegradeOf {
    /// Who asks.
    pub person: Person,
    /// The regrading.
    pub regrade: Regrade,
}

impl FromRequestParts<App> for RegradeOf {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebError> {
        let person = person_of(parts, Access::Instructor)?;
        let id = RegradeId(in_path(parts, app, "regrade").await?);
        if !regrades::is_of(&app.service.store, id, person.id).await? {
            return Err(WebError::NotFound);
        }
        let regrade = regrades::one(&app.service.store, id).await?.ok_or(WebError::NotFound)?;
        Ok(Self { person, regrade })
    }
}

/// Whether a request may go on: a form about a class that is archived may not.
fn open_for(parts: &Parts, archived: bool) -> Result<(), WebError> {
    if !archived || parts.method == Method::GET {
        return Ok(());
    }
    let page = Explained::new(
        StatusCode::CONFLICT,
        "The class is archived",
        "The class is archived, so nothing in it can be changed any more. Nothing was stored.",
        "An instructor of the class can open it again on its page for the end of term.",
    );
    Err(page.into())
}

/// As [`open_for`], for the class of an assignment.
async fn still_open(parts: &Parts, app: &App, class: ClassId) -> Result<(), WebError> {
    if parts.method == Method::GET {
        return Ok(());
    }
    let archived = classes::is_archived(&app.service.store, class).await?;
    open_for(parts, archived)
}

/// `{class}`, archived or not, if the instructor or assistant belongs to it: for what is done at the end of term.
#[derive(Debug)]
pub struct AnyClassOf {
    /// Who asks.
    pub person: Person,
    /// The class.
    pub class: Class,
}

impl FromRequestParts<App> for AnyClassOf {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebError> {
        let person = person_of(parts, Access::Staff)?;
        let id = ClassId(in_path(parts, app, "class").await?);
        let class = classes::of(&app.service.store, id, person.id)
            .await?
            .ok_or(WebError::NotFound)?;
        Ok(Self { person, class })
    }
}

/// `{class}`, if the instructor or assistant belongs to it; for a form only while it is not archived.
#[derive(Debug)]
pub struct ClassOf {
    /// Who asks.
    pub person: Person,
    /// The class.
    pub class: Class,
}

impl FromRequestParts<App> for ClassOf {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebError> {
        let AnyClassOf { person, class } = AnyClassOf::from_request_parts(parts, app).await?;
        open_for(parts, class.archived_at.is_some())?;
        Ok(Self { person, class })
    }
}

/// `{class}` with `{person}`, who belongs or belonged to it, if the instructor or assistant belongs to the class.
#[derive(Debug)]
pub struct PersonOf {
    /// Who asks.
    pub person: Person,
    /// The class.
    pub class: Class,
    /// Who it is about.
    pub member: Member,
}

impl FromRequestParts<App> for PersonOf {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebError> {
        let ClassOf { person, class } = ClassOf::from_request_parts(parts, app).await?;
        let id = PersonId(in_path(parts, app, "person").await?);
        let now = app.service.clock.now();
        let members = classes::members(&app.service.store, class.id, now).await?;
        let member = members.into_iter().find(|m| m.person == id).ok_or(WebError::NotFound)?;
        Ok(Self { person, class, member })
    }
}

/// `{assignment}`, if it is of a class that the instructor or assistant belongs to.
#[derive(Debug)]
pub struct AssignmentOf {
    /// Who asks.
    pub person: Person,
    /// The assignment.
    pub assignment: Assignment,
}

impl FromRequestParts<App> for AssignmentOf {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebError> {
        let person = person_of(parts, Access::Staff)?;
        let id = AssignmentId(in_path(parts, app, "assignment").await?);
        if !assignments::is_of(&app.service.store, id, person.id).await? {
            return Err(WebError::NotFound);
        }
        let assignment = assignments::one(&app.service.store, id)
            .await?
            .ok_or(WebError::NotFound)?;
        still_open(parts, app, assignment.class).await?;
        Ok(Self { person, assignment })
    }
}

/// `{report}`, if it is of a class that the instructor or assistant belongs to.
#[derive(Debug)]
pub struct ReportOf {
    /// Who asks.
    pub person: Person,
    /// The report.
    pub report: Report,
}

impl FromRequestParts<App> for ReportOf {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebError> {
        let person = person_of(parts, Access::Staff)?;
        let id = ReportId(in_path(parts, app, "report").await?);
        if !reports::is_of_class_of(&app.service.store, id, person.id).await? {
            return Err(WebError::NotFound);
        }
        let report = reports::one(&app.service.store, id).await?.ok_or(WebError::NotFound)?;
        if parts.method != Method::GET {
            let of = assignments::one(&app.service.store, report.assignment).await?;
            let class = of.map(|a| a.class).ok_or(WebError::NotFound)?;
            still_open(parts, app, class).await?;
        }
        Ok(Self { person, report })
    }
}

/// `{assignment}` with the student's own pair and plate, once it has opened.
#[derive(Debug)]
pub struct MyAssignment {
    /// Who asks.
    pub person: Person,
    /// Assignment, pair and plate.
    pub mine: Mine,
}

impl FromRequestParts<App> for MyAssignment {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebError> {
        let person = person_of(parts, Access::Student)?;
        let id = AssignmentId(in_path(parts, app, "assignment").await?);
        let now = app.service.clock.now();
        let mine = assignments::mine(&app.service.store, id, person.id)
            .await?
            .ok_or(WebError::NotFound)?;
        if mine.assignment.opens_at > now {
            return Err(WebError::NotFound);
        }
        still_open(parts, app, mine.assignment.class).await?;
        Ok(Self { person, mine })
    }
}

/// `{report}`, if the student was in its pair when it was handed in; for a form only while its class is not archived.
#[derive(Debug)]
pub struct MyReport {
    /// Who asks.
    pub person: Person,
    /// The report.
    pub report: Report,
    /// Its assignment.
    pub assignment: Assignment,
}

impl FromRequestParts<App> for MyReport {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, WebError> {
        let person = person_of(parts, Access::Student)?;
        let id = ReportId(in_path(parts, app, "report").await?);
        if !reports::is_by(&app.service.store, id, person.id).await? {
            return Err(WebError::NotFound);
        }
        let report = reports::one(&app.service.store, id).await?.ok_or(WebError::NotFound)?;
        let assignment = assignments::one(&app.service.store, report.assignment)
            .await?
            .ok_or(WebError::NotFound)?;
        still_open(parts, app, assignment.class).await?;
        let assignment = standing::of_pair(&app.service.store, assignment, report.pair).await?;
        Ok(Self {
            person,
            report,
            assignment,
        })
    }
}

/// Where a request comes from: the connection's other end, or what the proxy in front says of it.
#[must_use]
pub fn address(app: &App, connection: SocketAddr, headers: &HeaderMap) -> IpAddr {
    let told = || {
        let last = headers.get_all("x-forwarded-for").iter().next_back()?;
        last.to_str().ok()?.rsplit(',').next()?.trim().parse().ok()
    };
    let told = if app.settings.forwarded_for { told() } else { None };
    told.unwrap_or_else(|| connection.ip())
}

/// What to say where more wrong tries came from one address than a school makes.
pub(super) const CROWDED: &str = "Very many wrong tries came from this network. Wait ten minutes, then try again.";

/// Counts a try to sign in by the address of its request before anything of it is looked at; none where too many went wrong.
pub(super) fn begin_try(app: &App, connection: SocketAddr, headers: &HeaderMap) -> Option<AddressTry> {
    app.sign_ins.begin(address(app, connection, headers), Instant::now())
}

/// Wrong tries to sign in that one address may make in [`WINDOW`]: a school is one address, so it is many.
const TRIES_PER_ADDRESS: u32 = 600;
const WINDOW: Duration = Duration::from_secs(600);
/// Addresses remembered at once; the one that was seen first makes room for a new one.
const ADDRESSES: usize = 10_000;

/// Counts tries to sign in by address.
#[derive(Debug, Clone, Default)]
pub struct AddressLimit(Arc<Mutex<Seen>>);

#[derive(Debug, Default)]
struct Seen {
    /// Since when, and how many.
    of: BTreeMap<IpAddr, (Instant, u32)>,
    /// The same in the order in which they were first seen.
    in_order: BTreeSet<(Instant, IpAddr)>,
}

impl Seen {
    /// The count of an address in the window that is open at a time, or that begins then.
    fn count(&mut self, address: IpAddr, now: Instant) -> (Instant, &mut u32) {
        let over = |since: Instant| now.saturating_duration_since(since) >= WINDOW;
        if let Some((since, _)) = self.of.get(&address).filter(|(since, _)| over(*since)) {
            self.in_order.remove(&(*since, address));
            self.of.remove(&address);
        }
        if !self.of.contains_key(&address) {
            while self.of.len() >= ADDRESSES {
                let Some((_, oldest)) = self.in_order.pop_first() else {
                    break;
                };
                self.of.remove(&oldest);
            }
            self.in_order.insert((now, address));
        }
        let (since, count) = self.of.entry(address).or_insert((now, 0));
        (*since, count)
    }
}

/// What is counted as one: an IPv4 address, or the 64 bits that one network of IPv6 has, within which anybody takes as many
/// addresses as there are (RFC 4291, 2.5.4).
fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(v6) => IpAddr::V6(Ipv6Addr::from_bits(v6.to_bits() >> 64 << 64)),
        v4 @ IpAddr::V4(_) => v4,
    }
}

/// A try that counts as wrong unless it is told otherwise: many at once are all counted before the first is looked at.
#[derive(Debug)]
#[must_use]
pub struct AddressTry {
    limit: AddressLimit,
    address: IpAddr,
    since: Instant,
}

impl AddressTry {
    /// It was no wrong guess: the class that signs in behind one address is not counted.
    pub fn was_not_wrong(self) {
        let mut seen = self.limit.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((since, count)) = seen.of.get_mut(&self.address)
            && *since == self.since
        {
            *count = count.saturating_sub(1);
        }
    }
}

impl AddressLimit {
    /// Counts one more; none where it may not go on.
    pub fn begin(&self, address: IpAddr, now: Instant) -> Option<AddressTry> {
        let address = network(address);
        let mut seen = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let (since, count) = seen.count(address, now);
        if *count >= TRIES_PER_ADDRESS {
            return None;
        }
        *count += 1;
        let limit = self.clone();
        Some(AddressTry { limit, address, since })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_instructors_see_the_truth_and_change_a_class() {
        let person = |role| Person {
            id: PersonId(1),
            role,
            name: "Somebody".to_owned(),
            sign_in: "somebody".to_owned(),
        };
        for (role, truth, review) in [
            (Role::Instructor, true, true),
            (Role::Assistant, false, true),
            (Role::Student, false, false),
        ] {
            let person = person(role);
            assert_eq!(may_see_truth(&person), truth, "{role:?}");
            assert_eq!(may_review(&person), review, "{role:?}");
            assert_eq!(may_change_class(&person), truth, "{role:?}");
        }
    }

    #[test]
    fn wrong_tries_hold_one_address_up_for_a_window_and_no_other() {
        let limit = AddressLimit::default();
        let start = Instant::now();
        let (here, there) = (IpAddr::from([10, 0, 0, 1]), IpAddr::from([10, 0, 0, 2]));
        // Right ones do not count, however many.
        for _ in 0..5 * TRIES_PER_ADDRESS {
            limit.begin(here, start).unwrap().was_not_wrong();
        }
        // Those under way do: as many at once as may be wrong.
        let begun: Vec<AddressTry> = (0..TRIES_PER_ADDRESS)
            .map(|_| limit.begin(here, start).unwrap())
            .collect();
        assert!(limit.begin(here, start).is_none());
        assert!(limit.begin(there, start).is_some());
        begun.into_iter().next().unwrap().was_not_wrong();
        let later = start + WINDOW;
        let last = limit.begin(here, later - Duration::from_millis(1)).unwrap();
        assert!(limit.begin(here, later - Duration::from_millis(1)).is_none());
        // One that began in the window before takes nothing back in the next.
        let next = limit.begin(here, later).unwrap();
        last.was_not_wrong();
        assert_eq!(limit.0.lock().unwrap().of[&here].1, 1);
        next.was_not_wrong();
        assert_eq!(limit.0.lock().unwrap().of[&here].1, 0);
    }

    #[test]
    fn all_addresses_of_a_network_of_ipv6_are_one() {
        let limit = AddressLimit::default();
        let start = Instant::now();
        let of = |network: u128, host: u128| IpAddr::V6(Ipv6Addr::from_bits(network << 64 | host));
        let here = 0x2001_0db8_0000_0007;
        for host in 0..u128::from(TRIES_PER_ADDRESS) {
            assert!(limit.begin(of(here, host << 32), start).is_some());
        }
        assert!(limit.begin(of(here, u128::from(u64::MAX)), start).is_none());
        assert!(limit.begin(of(here + 1, 0), start).is_some());
        // An address of IPv4 is itself, however it is written.
        let mapped: IpAddr = "::ffff:192.0.2.7".parse().unwrap();
        assert_eq!(network(mapped), IpAddr::from([192, 0, 2, 7]));
        assert_ne!(network(mapped), network("::ffff:192.0.2.8".parse().unwrap()));
    }

    #[test]
    fn a_full_table_forgets_the_oldest_and_nobody_else() {
        let limit = AddressLimit::default();
        let start = Instant::now();
        let of = |n: usize| IpAddr::from(u32::try_from(n).unwrap().to_be_bytes());
        for n in 0..ADDRESSES {
            let at = start + Duration::from_millis(u64::try_from(n).unwrap());
            assert!(limit.begin(of(n), at).is_some());
        }
        let now = start + Duration::from_secs(60);
        // The last of the old ones goes to its limit, and is still held up after as many new ones as push the rest out.
        let held = of(ADDRESSES - 1);
        while limit.begin(held, now).is_some() {}
        for n in 0..ADDRESSES - 1 {
            assert!(limit.begin(of(ADDRESSES + n), now).is_some());
        }
        assert!(limit.begin(held, now).is_none());
        let seen = limit.0.lock().unwrap();
        assert_eq!((seen.of.len(), seen.in_order.len()), (ADDRESSES, ADDRESSES));
        assert!(!seen.of.contains_key(&of(0)) && !seen.of.contains_key(&of(ADDRESSES - 2)));
    }
}
