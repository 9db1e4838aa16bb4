//! The end of a term: a class is archived, rolled over to the next term, and its students' names are taken out when the
//! school's time for keeping them is over.

use jiff::ToSpan;
use jiff::tz::TimeZone;
use thiserror::Error;

use super::Service;
use super::make_class::{MakeClassError, Wanted as WantedClass, make_class};
use crate::store::classes::{Class, WhenOver};
use crate::store::end_of_term::TakenOut;
use crate::store::ids::{ClassId, PersonId};
use crate::store::when::When;
use crate::store::{StoreError, Tx, assignments, audit, end_of_term as stored};

/// Milliseconds of a day of 24 hours, for the time of keeping.
const DAY_MS: i64 = 24 * 3_600_000;

/// Why something was not done.
#[derive(Debug, Error)]
pub enum EndError {
    /// Only an archived class is forgotten.
    #[error("archive the class first; names are taken out of a class that is over")]
    NotArchived,
    /// It was done before.
    #[error("the names of this class were taken out already")]
    Forgotten,
    /// Days out of range.
    #[error("give 0 to 36500 days")]
    Days,
    /// The word was not typed.
    #[error("type the name of the class to take out its names; this cannot be undone")]
    NotConfirmed,
    /// The day cannot be read.
    #[error("write the first day as in 2027-01-11")]
    Day,
    /// Nothing to move.
    #[error("the class has no assignment to roll over")]
    NothingToMove,
    /// The new class could not be made.
    #[error(transparent)]
    Class(#[from] MakeClassError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Closes a class for changes, or opens it again.
///
/// # Errors
/// When its names are taken out already, or the database cannot be written.
pub async fn archive(service: &Service, class: &Class, closed: bool, by: PersonId) -> Result<(), EndError> {
    if class.forgotten_at.is_some() {
        return Err(EndError::Forgotten);
    }
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    stored::archive(&mut tx, class.id, closed.then_some(now)).await?;
    audit::note(
        &mut tx,
        ("class", class.id.0),
        if closed { "archive" } else { "open-again" },
        by,
        now,
        serde_json::json!({}),
    )
    .await?;
    Ok(tx.commit().await?)
}

/// Says how long after the archiving names are kept, and what happens then.
///
/// # Errors
/// When the days are out of range or the database cannot be written.
pub async fn keep_for(
    service: &Service,
    class: ClassId,
    days: i64,
    over: WhenOver,
    by: impl Into<Option<PersonId>>,
) -> Result<(), EndError> {
    if !(0..=36_500).contains(&days) {
        return Err(EndError::Days);
    }
    let mut tx = service.store.change().await?;
    stored::keep_for(&mut tx, class, days, over).await?;
    let detail = serde_json::json!({ "days": days, "by_itself": over != WhenOver::Ask });
    let now = service.clock.now();
    audit::note(&mut tx, ("class", class.0), "keep-names", by, now, detail).await?;
    Ok(tx.commit().await?)
}

/// When the names of a class are due to be taken out; none while it runs.
#[must_use]
pub fn due(class: &Class) -> Option<When> {
    let archived = class.archived_at?;
    Some(When::from(
        archived
            .millisecond()
            .saturating_add(class.keep_days.saturating_mul(DAY_MS)),
    ))
}

/// Takes the names of the students of an archived class out, but of those who are in another class that still runs.
/// Returns of how many.
///
/// # Errors
/// When the class is not archived, `typed` is not its name, or the database cannot be written.
pub async fn forget(service: &Service, class: &Class, typed: &str, by: PersonId) -> Result<usize, EndError> {
    if class.archived_at.is_none() {
        return Err(EndError::NotArchived);
    } else if class.forgotten_at.is_some() {
        return Err(EndError::Forgotten);
    } else if typed.trim() != class.name {
        return Err(EndError::NotConfirmed);
    }
    let mut tx = service.store.change().await?;
    let students = take_out(service, &mut tx, class.id, false, Some(by)).await?;
    tx.commit().await?;
    service.store.take_out_traces().await;
    Ok(students)
}

/// Takes the names of the students of a class out, or deletes them. Returns of how many.
async fn take_out(
    service: &Service,
    tx: &mut Tx,
    class: ClassId,
    delete: bool,
    by: Option<PersonId>,
) -> Result<usize, StoreError> {
    let now = service.clock.now();
    let people = stored::to_forget(tx, class).await?;
    for (person, created_at) in &people {
        stored::forget(tx, *person, *created_at, now).await?;
        if delete {
            stored::delete(tx, *person).await?;
        }
    }
    stored::close_forgotten(tx, class, now).await?;
    let what = if delete { "delete-students" } else { "forget-names" };
    let detail = serde_json::json!({ "students": people.len(), "by_itself": by.is_none() });
    audit::note(tx, ("class", class.0), what, by, now, detail).await?;
    Ok(people.len())
}

/// Does what is to happen by itself in classes whose time for keeping names is over; where it fails in one, that is logged. Returns how
/// many classes.
///
/// # Errors
/// When the database does not answer.
pub async fn take_out_what_is_over(service: &Service) -> Result<usize, StoreError> {
    let mut done = 0;
    for class in stored::over(&service.store, service.clock.now()).await? {
        match take_out_if_over(service, class).await {
            Ok(taken_out) => done += usize::from(taken_out),
            Err(error) => tracing::error!(%error, class = class.0, "names whose time is over were not taken out"),
        }
    }
    if done > 0 {
        service.store.take_out_traces().await;
    }
    Ok(done)
}

/// Somebody may have opened the class again or wants its names kept since it was found, and what is taken out does not come back.
async fn take_out_if_over(service: &Service, class: ClassId) -> Result<bool, StoreError> {
    let mut tx = service.store.change().await?;
    let Some(delete) = stored::is_over(&mut tx, class, service.clock.now()).await? else {
        return Ok(false);
    };
    let students = take_out(service, &mut tx, class, delete, None).await?;
    tx.commit().await?;
    tracing::info!(class = class.0, students, delete, "the time for keeping names was over");
    Ok(true)
}

/// Takes out again what a restored backup has brought back: names, students who were deleted, and of the classes that
/// were over what went with the names. Returns of how many people.
///
/// # Errors
/// When the database cannot be written.
pub async fn take_out_again(service: &Service, gone: &TakenOut) -> Result<usize, StoreError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let mut done = 0;
    for person in &gone.people {
        if stored::has_a_name(&mut tx, person.person, person.created_at).await? {
            stored::forget(&mut tx, person.person, person.created_at, now).await?;
            if person.deleted {
                stored::delete(&mut tx, person.person).await?;
            }
            done += 1;
        }
    }
    for (class, created_at) in &gone.classes {
        if stored::has_names(&mut tx, *class, *created_at).await? {
            stored::close_forgotten(&mut tx, *class, now).await?;
        }
    }
    tx.commit().await?;
    service.store.take_out_traces().await;
    Ok(done)
}

/// Makes a class for the next term with the machines, staff and assignments of this one, each moved by whole days so
/// that the first opens on `first_day`, at the same time of day by the clocks of the class.
///
/// # Errors
/// When the day cannot be read, there is nothing to move, or the class cannot be made.
pub async fn roll_over(
    service: &Service,
    class: &Class,
    name: &str,
    term: &str,
    first_day: &str,
    by: PersonId,
) -> Result<ClassId, EndError> {
    let first: jiff::civil::Date = first_day.trim().parse().map_err(|_| EndError::Day)?;
    let zone = TimeZone::get(&class.time_zone).unwrap_or(TimeZone::UTC);
    let all = assignments::of_class(&service.store, class.id).await?;
    let day = |when: When| when.timestamp().to_zoned_datetime(zone.clone()).date();
    let began = all.iter().map(|a| a.opens_at).min().ok_or(EndError::NothingToMove)?;
    let by_days = day(began).until(first).map_err(|_| EndError::Day)?.get_days();
    let moved = |when: When| -> Result<When, EndError> {
        let there = when.timestamp().to_zoned_datetime(zone.clone()).datetime();
        let there = there.checked_add(by_days.days()).map_err(|_| EndError::Day)?;
        // A time that the clocks skip on that day becomes the one after it.
        let there = there.to_zoned_datetime(zone.clone()).map_err(|_| EndError::Day)?;
        Ok(When::from(there.timestamp()))
    };
    let wanted = WantedClass {
        name,
        term,
        time_zone: &class.time_zone,
        by,
    };
    let made = make_class(service, &wanted).await?;
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    stored::copy_around(&mut tx, class.id, made, now).await?;
    for assignment in &all {
        let (opens, due) = (moved(assignment.opens_at)?, moved(assignment.due_at)?);
        stored::copy_assignment(&mut tx, assignment.id, made, opens, due, now).await?;
    }
    audit::note(
        &mut tx,
        ("class", class.id.0),
        "roll-over",
        by,
        now,
        serde_json::json!({}),
    )
    .await?;
    tx.commit().await?;
    Ok(made)
}
