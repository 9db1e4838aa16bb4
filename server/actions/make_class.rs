//! Makes a class with its pairs.

use thiserror::Error;

use super::Service;
use crate::store::ids::{ClassId, PairId, PersonId};
use crate::store::when::When;
use crate::store::{StoreError, audit, classes, pairs};

/// A class as the instructor wants it.
#[derive(Debug, Clone)]
pub struct Wanted<'a> {
    /// Name.
    pub name: &'a str,
    /// Term, as the school calls it.
    pub term: &'a str,
    /// IANA name of its time zone.
    pub time_zone: &'a str,
    /// Who makes it and belongs to it.
    pub by: PersonId,
}

/// Why it was not made.
#[derive(Debug, Error)]
pub enum MakeClassError {
    /// Name empty or too long.
    #[error("give it a name of 1 to 120 characters")]
    Name,
    /// Term too long.
    #[error("the term may have at most 120 characters")]
    Term,
    /// No such time zone.
    #[error("there is no time zone `{0}`; write it as in Europe/Dublin or America/Chicago")]
    TimeZone(String),
    /// A pair of this name is there.
    #[error("the class has a pair {0} already")]
    PairTaken(String),
    /// Pair name empty or too long.
    #[error("give the pair a name of 1 to 40 characters")]
    PairName,
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Makes a class, without people.
///
/// # Errors
/// When something in it cannot be, or the database cannot be written.
pub async fn make_class(service: &Service, wanted: &Wanted<'_>) -> Result<ClassId, MakeClassError> {
    let name = wanted.name.trim();
    if !(1..=120).contains(&name.chars().count()) {
        return Err(MakeClassError::Name);
    }
    if wanted.term.chars().count() > 120 {
        return Err(MakeClassError::Term);
    }
    if jiff::tz::TimeZone::get(wanted.time_zone).is_err() {
        return Err(MakeClassError::TimeZone(wanted.time_zone.chars().take(60).collect()));
    }
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let class = classes::add(&mut tx, name, wanted.term.trim(), wanted.time_zone, now).await?;
    classes::join(&mut tx, class, wanted.by, now).await?;
    let about = ("class", class.0);
    let detail = serde_json::json!({});
    let entry = audit::Entry {
        at: now,
        person: Some(wanted.by),
        what: "make-class",
        about,
        detail,
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    Ok(class)
}

/// Makes a pair of people who join the class with it, from a time on.
///
/// # Errors
/// When the name is taken or no name, or the database cannot be written.
pub async fn make_pair(
    service: &Service,
    class: ClassId,
    name: &str,
    people: &[PersonId],
    from: When,
) -> Result<PairId, MakeClassError> {
    let name = name.trim();
    if !(1..=40).contains(&name.chars().count()) {
        return Err(MakeClassError::PairName);
    }
    let mut tx = service.store.change().await?;
    let pair = match pairs::add(&mut tx, class, name).await {
        Err(error) if error.breaks_unique("pair.class, pair.name") => {
            return Err(MakeClassError::PairTaken(name.to_owned()));
        }
        other => other?,
    };
    for person in people {
        classes::join(&mut tx, class, *person, from).await?;
        pairs::join(&mut tx, pair, *person, from).await?;
    }
    tx.commit().await?;
    Ok(pair)
}
