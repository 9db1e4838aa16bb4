//! People of a class, one at a time: another name, leaving, coming back, staff.

use thiserror::Error;

use super::Service;
use super::charge::{self, NotInCharge};
use super::sign_in::canonical;
use super::take_seat::SlipError;
use crate::report::roster::{LONGEST_NAME, clean};
use crate::store::ids::{ClassId, PersonId};
use crate::store::people::{self, NewPerson, Role};
use crate::store::when::When;
use crate::store::{StoreError, Tx, audit, classes, pairs, slips};

/// Why something was not done.
#[derive(Debug, Error)]
pub enum PeopleError {
    /// The name is empty or too long.
    #[error("write a name of 1 to {LONGEST_NAME} characters")]
    Name,
    /// The sign-in name has not the form.
    #[error("the sign-in name must have 2 to 40 letters, digits, points, hyphens or underscores, without spaces")]
    SignIn,
    /// The sign-in name is a student's.
    #[error("a student signs in as `{0}`; choose another sign-in name for somebody of the staff")]
    IsStudent(String),
    /// Nobody would be left who may change the class.
    #[error("a class needs an instructor. Add another one first; then this one can be taken out")]
    LastInstructor,
    /// Somebody else is in charge of the account.
    #[error(transparent)]
    NotInCharge(#[from] NotInCharge),
    /// A seat could not be freed.
    #[error(transparent)]
    Seat(SlipError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl From<SlipError> for PeopleError {
    fn from(error: SlipError) -> Self {
        match error {
            SlipError::Store(error) => Self::Store(error),
            SlipError::NotInCharge(why) => Self::NotInCharge(why),
            error => Self::Seat(error),
        }
    }
}

async fn note(
    tx: &mut Tx,
    class: ClassId,
    what: &str,
    person: PersonId,
    by: PersonId,
    at: When,
) -> Result<(), StoreError> {
    let detail = serde_json::json!({ "person": person });
    audit::note(tx, ("class", class.0), what, by, at, detail).await
}

/// Gives a person another name, everywhere in the school.
///
/// # Errors
/// When the name has not its form, somebody else is in charge of the person, or the database cannot be written.
pub async fn rename(
    service: &Service,
    class: ClassId,
    person: PersonId,
    name: &str,
    by: PersonId,
) -> Result<(), PeopleError> {
    let name = clean(name);
    if !(1..=LONGEST_NAME).contains(&name.chars().count()) {
        return Err(PeopleError::Name);
    }
    let mut tx = service.store.change().await?;
    charge::of_any(&mut tx, person, by).await??;
    people::rename(&mut tx, person, &name).await?;
    note(&mut tx, class, "rename-person", person, by, service.clock.now()).await?;
    Ok(tx.commit().await?)
}

/// Takes a person out of a class: from now on out of the pair too. What the pair handed in stays the person's. A slip that was
/// not used is good no more where it is for `by` to say.
///
/// # Errors
/// When it is the last instructor, or the database cannot be written.
pub async fn leave(service: &Service, class: ClassId, person: PersonId, by: PersonId) -> Result<(), PeopleError> {
    let now = service.clock.now();
    let known = people::one(&service.store, person).await?;
    let mut tx = service.store.change().await?;
    if known.is_some_and(|p| p.role == Role::Instructor) && classes::instructors(&mut tx, class).await? < 2 {
        return Err(PeopleError::LastInstructor);
    }
    let in_charge = charge::of_any(&mut tx, person, by).await?.is_ok();
    pairs::leave(&mut tx, class, person, now).await?;
    classes::leave(&mut tx, class, person, now).await?;
    if in_charge {
        slips::cancel(&mut tx, person).await?;
    }
    note(&mut tx, class, "leave-class", person, by, now).await?;
    Ok(tx.commit().await?)
}

/// Takes a person back into a class.
///
/// # Errors
/// When the database cannot be written.
pub async fn come_back(service: &Service, class: ClassId, person: PersonId, by: PersonId) -> Result<(), PeopleError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    classes::join(&mut tx, class, person, now).await?;
    note(&mut tx, class, "come-back", person, by, now).await?;
    Ok(tx.commit().await?)
}

/// Adds somebody to the staff of a class. Who is known by the sign-in name keeps name and role; who is not is new, and
/// takes the seat with a slip.
///
/// # Errors
/// When a name has not its form or is a student's, or the database cannot be written.
pub async fn add_staff(
    service: &Service,
    class: ClassId,
    sign_in: &str,
    name: &str,
    role: Role,
    by: PersonId,
) -> Result<(), PeopleError> {
    let sign_in = canonical(sign_in).ok_or(PeopleError::SignIn)?;
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let person = match people::with_sign_in(&mut tx, &sign_in).await? {
        Some(known) if known.role == Role::Student => return Err(PeopleError::IsStudent(sign_in)),
        Some(known) => known.id,
        None => {
            let name = clean(name);
            if !(1..=LONGEST_NAME).contains(&name.chars().count()) {
                return Err(PeopleError::Name);
            }
            let new = NewPerson {
                role,
                name: &name,
                sign_in: &sign_in,
                secret_hash: None,
            };
            people::add(&mut tx, &new, now).await?
        }
    };
    classes::join(&mut tx, class, person, now).await?;
    note(&mut tx, class, "add-staff", person, by, now).await?;
    Ok(tx.commit().await?)
}
