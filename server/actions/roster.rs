//! Takes a roster into a class, line by line: who is new, who is known to the school, who comes back.
//!
//! A person is known by the school's identifier; without one by the name within the class, the first of two people of
//! one name by the first line and the second by the second. Nobody is ever taken out by a list, nobody's name is changed by
//! one, and the address only of somebody in whose charge the person is.

use std::collections::{BTreeMap, BTreeSet};

use rand::TryRng;
use rand::rngs::SysRng;
use thiserror::Error;

use super::Service;
use super::charge;
use super::pair_up::{PairUpError, by_label};
use crate::actions::sign_in::canonical;
use crate::report::roster::{Entry, LONGEST_NAME, clean};
use crate::store::ids::{ClassId, PersonId};
use crate::store::people::{self, NewPerson, Person, Role};
use crate::store::when::When;
use crate::store::{StoreError, Tx, audit, classes};

/// What becomes of one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fate {
    /// Somebody new to the school.
    New,
    /// Known to the school, new to this class. The other name, where the list has another than the school.
    Known(Option<String>),
    /// Left the class and comes back.
    Back,
    /// In the class already.
    Here,
    /// Cannot be taken; why, and how to mend it.
    Refused(String),
}

/// One line with what becomes of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// As read.
    pub entry: Entry,
    /// What becomes of it.
    pub fate: Fate,
}

/// Why a roster was not taken.
#[derive(Debug, Error)]
pub enum RosterError {
    /// The name is empty or too long.
    #[error("write a name of 1 to {LONGEST_NAME} characters")]
    Name,
    /// The line cannot be taken.
    #[error("{0}")]
    Line(String),
    /// No randomness from the system.
    #[error("the system gave no random numbers: {0}")]
    Random(#[from] rand::rngs::SysError),
    /// The pairs of the list could not be made.
    #[error(transparent)]
    Pairs(#[from] PairUpError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What would become of every line; nothing is changed.
///
/// # Errors
/// When the database does not answer.
pub async fn look(service: &Service, class: ClassId, entries: &[Entry]) -> Result<Vec<Line>, RosterError> {
    // The transaction is dropped, so nothing of it is kept.
    let mut tx = service.store.change().await?;
    lines(&mut tx, class, entries).await
}

async fn lines(tx: &mut Tx, class: ClassId, entries: &[Entry]) -> Result<Vec<Line>, RosterError> {
    let mut named = BTreeSet::new();
    let mut lines = Vec::with_capacity(entries.len());
    for entry in entries {
        let (fate, known) = fate(tx, class, entry, &named).await?;
        named.extend(known.map(|p| p.id));
        lines.push(Line {
            entry: entry.clone(),
            fate,
        });
    }
    Ok(lines)
}

/// What becomes of one line, and who it is where that is known. `named` are the people of the lines before it.
async fn fate(
    tx: &mut Tx,
    class: ClassId,
    entry: &Entry,
    named: &BTreeSet<PersonId>,
) -> Result<(Fate, Option<Person>), RosterError> {
    let known = if entry.school_id.is_empty() {
        people::by_name_in_class(tx, class, &entry.name)
            .await?
            .into_iter()
            .find(|p| !named.contains(&p.id))
    } else {
        people::by_school_id(tx, &entry.school_id).await?
    };
    let Some(known) = known else {
        return Ok((Fate::New, None));
    };
    if known.role != Role::Student {
        let why = format!(
            "{} is known to the school as an instructor or assistant. Take the line out, or correct its identifier.",
            known.name
        );
        return Ok((Fate::Refused(why), None));
    }
    let other_name = (known.name != entry.name).then(|| known.name.clone());
    let fate = match classes::membership(tx, class, known.id).await? {
        None => Fate::Known(other_name),
        Some(None) => Fate::Here,
        Some(Some(_)) => Fate::Back,
    };
    Ok((fate, Some(known)))
}

/// Takes the people of a list into a class, and puts those into pairs whom the list puts there. Returns every line with
/// what became of it.
///
/// # Errors
/// When the database cannot be written; then nobody is taken.
pub async fn take(
    service: &Service,
    class: ClassId,
    entries: &[Entry],
    by: PersonId,
) -> Result<Vec<Line>, RosterError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let mut named = BTreeSet::new();
    let (mut lines, mut labels) = (Vec::with_capacity(entries.len()), BTreeMap::new());
    for entry in entries {
        let (fate, known) = fate(&mut tx, class, entry, &named).await?;
        let person = match (&fate, known) {
            (Fate::Refused(_), _) => None,
            (_, Some(known)) => Some(known.id),
            (_, None) => Some(add(&mut tx, entry, Role::Student, now).await?),
        };
        named.extend(person);
        if let Some(person) = person {
            enter(&mut tx, class, person, entry, (by, now)).await?;
            if !entry.pair.is_empty() {
                labels.insert(person, entry.pair.clone());
            }
        }
        lines.push(Line {
            entry: entry.clone(),
            fate,
        });
    }
    if !labels.is_empty() {
        by_label(&mut tx, class, &labels, by, now).await?;
    }
    let count = |f: fn(&Fate) -> bool| lines.iter().filter(|l| f(&l.fate)).count();
    let detail = serde_json::json!({
        "lines": lines.len(),
        "new": count(|f| *f == Fate::New),
        "known": count(|f| matches!(f, Fate::Known(_) | Fate::Back)),
    });
    audit::write(&mut tx, &entry_of("take-roster", class, by, now, detail)).await?;
    tx.commit().await?;
    Ok(lines)
}

fn entry_of(what: &str, class: ClassId, by: PersonId, at: When, detail: serde_json::Value) -> audit::Entry<'_> {
    audit::Entry {
        at,
        person: Some(by),
        what,
        about: ("class", class.0),
        detail,
    }
}

async fn enter(
    tx: &mut Tx,
    class: ClassId,
    person: PersonId,
    entry: &Entry,
    (by, now): (PersonId, When),
) -> Result<(), RosterError> {
    classes::join(tx, class, person, now).await?;
    // Somebody else's student keeps the address that is known.
    if !entry.email.is_empty() && charge::of_any(tx, person, by).await?.is_ok() {
        people::describe(tx, person, None, Some(&entry.email)).await?;
    }
    Ok(())
}

/// Adds a person without a secret: the seat is taken with a slip.
pub(super) async fn add(tx: &mut Tx, entry: &Entry, role: Role, now: When) -> Result<PersonId, RosterError> {
    let wanted = canonical(&entry.school_id);
    let free = match wanted {
        Some(name) if people::with_sign_in(tx, &name).await?.is_none() => Some(name),
        _ => None,
    };
    let sign_in = match free {
        Some(name) => name,
        None => drawn(tx).await?,
    };
    let new = NewPerson {
        role,
        name: &entry.name,
        sign_in: &sign_in,
        secret_hash: None,
    };
    let person = people::add(tx, &new, now).await?;
    if !entry.school_id.is_empty() {
        people::describe(tx, person, Some(&entry.school_id), None).await?;
    }
    Ok(person)
}

/// A sign-in name that nobody has, of a letter and five digits: it says nothing about the person.
async fn drawn(tx: &mut Tx) -> Result<String, RosterError> {
    loop {
        let mut bytes = [0_u8; 4];
        SysRng.try_fill_bytes(&mut bytes)?;
        let name = format!("s{:05}", u32::from_le_bytes(bytes) % 100_000);
        if people::with_sign_in(tx, &name).await?.is_none() {
            return Ok(name);
        }
    }
}

/// Adds one student who comes late.
///
/// # Errors
/// When the name has not its form, the identifier is somebody's of the staff, or the database cannot be written.
pub async fn add_one(
    service: &Service,
    class: ClassId,
    name: &str,
    school_id: &str,
    by: PersonId,
) -> Result<Line, RosterError> {
    let entry = Entry {
        line: 1,
        name: clean(name),
        school_id: clean(school_id),
        email: String::new(),
        pair: String::new(),
    };
    if !(1..=LONGEST_NAME).contains(&entry.name.chars().count()) {
        return Err(RosterError::Name);
    }
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    // Without an identifier a person typed by hand is always somebody new: two people may have one name.
    let (fate, known) = if entry.school_id.is_empty() {
        (Fate::New, None)
    } else {
        fate(&mut tx, class, &entry, &BTreeSet::new()).await?
    };
    let person = match (&fate, known) {
        (Fate::Refused(why), _) => return Err(RosterError::Line(why.clone())),
        (_, Some(known)) => known.id,
        (_, None) => add(&mut tx, &entry, Role::Student, now).await?,
    };
    enter(&mut tx, class, person, &entry, (by, now)).await?;
    let detail = serde_json::json!({ "person": person });
    audit::write(&mut tx, &entry_of("add-student", class, by, now, detail)).await?;
    tx.commit().await?;
    Ok(Line { entry, fate })
}
