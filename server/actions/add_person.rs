//! Adds a person who can sign in.

use thiserror::Error;

use super::secrets::{LONGEST, PASSPHRASE_LEAST, PIN_LEAST, SecretError};
use super::{Service, passphrase, sign_in};
use crate::store::ids::PersonId;
use crate::store::people::{self, NewPerson, Role};
use crate::store::{StoreError, audit};

/// Why a person was not added.
#[derive(Debug, Error)]
pub enum AddPersonError {
    /// The name is empty or too long.
    #[error("the name must have 1 to 120 characters")]
    Name,
    /// The sign-in name has not the form.
    #[error("the sign-in name must have 2 to 40 letters, digits, points, hyphens or underscores, without spaces")]
    SignIn,
    /// Somebody has this sign-in name.
    #[error("somebody signs in as `{0}` already; choose another name")]
    Taken(String),
    /// The passphrase is too short.
    #[error("the passphrase has {found} characters; it needs {PASSPHRASE_LEAST} and more")]
    ShortPassphrase {
        /// How many it has.
        found: usize,
    },
    /// The passphrase is easily guessed.
    #[error("{0}")]
    Passphrase(&'static str),
    /// The PIN is no PIN.
    #[error("the PIN needs {PIN_LEAST} digits and more")]
    ShortPin,
    /// Too long.
    #[error("the secret is longer than {LONGEST} characters")]
    LongSecret,
    /// Hashing failed.
    #[error(transparent)]
    Secret(#[from] SecretError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// A person as typed.
#[derive(Debug, Clone)]
pub struct Wanted<'a> {
    /// What the person may do.
    pub role: Role,
    /// Name for people.
    pub name: &'a str,
    /// What will be typed to sign in.
    pub sign_in: &'a str,
    /// Passphrase, or PIN of a student.
    pub secret: &'a str,
    /// Who adds; none for the command line.
    pub by: Option<PersonId>,
}

/// Adds a person.
///
/// # Errors
/// When a part of it has not its form, the sign-in name is taken, or the database cannot be written.
pub async fn add_person(service: &Service, wanted: &Wanted<'_>) -> Result<PersonId, AddPersonError> {
    let name = wanted.name.trim();
    if name.is_empty() || name.chars().count() > 120 {
        return Err(AddPersonError::Name);
    }
    let sign_in = sign_in::canonical(wanted.sign_in).ok_or(AddPersonError::SignIn)?;
    check_secret(wanted, &sign_in)?;
    let hash = service.secrets.hash(wanted.secret).await?;
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let new = NewPerson {
        role: wanted.role,
        name,
        sign_in: &sign_in,
        secret_hash: Some(&hash),
    };
    let person = match people::add(&mut tx, &new, now).await {
        Err(error) if error.breaks_unique("person.sign_in") => return Err(AddPersonError::Taken(sign_in)),
        other => other?,
    };
    let detail = serde_json::json!({ "role": format!("{:?}", wanted.role).to_lowercase() });
    let entry = audit::Entry {
        at: now,
        person: wanted.by,
        what: "add-person",
        about: ("person", person.0),
        detail,
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    Ok(person)
}

fn check_secret(wanted: &Wanted<'_>, sign_in: &str) -> Result<(), AddPersonError> {
    let found = wanted.secret.chars().count();
    match wanted.role {
        _ if found > LONGEST => Err(AddPersonError::LongSecret),
        Role::Student if found < PIN_LEAST => Err(AddPersonError::ShortPin),
        Role::Instructor | Role::Assistant if found < PASSPHRASE_LEAST => {
            Err(AddPersonError::ShortPassphrase { found })
        }
        Role::Instructor | Role::Assistant => passphrase::wrong(wanted.secret, &[wanted.name, sign_in])
            .map_or(Ok(()), |w| Err(AddPersonError::Passphrase(w))),
        _ => Ok(()),
    }
}
