//! What a person does with the account: another passphrase or PIN, and the devices that are signed in.

use thiserror::Error;

use super::Service;
use super::secrets::SecretError;
use super::sign_in::{self, SignInError, Token};
use super::take_seat::wrong_secret;
use crate::store::people::{self, Person};
use crate::store::sessions::{self, Device};
use crate::store::{StoreError, audit};

/// Why the secret stays as it was.
#[derive(Debug, Error)]
pub enum ChangeError {
    /// The one that is good now was typed wrong.
    #[error("the passphrase or PIN that is good now was not this one")]
    DoesNotFit,
    /// Too many tries.
    #[error("locked after too many tries")]
    Locked,
    /// The new one cannot be one; what is wrong, in words.
    #[error("{0}")]
    New(&'static str),
    /// Hashing failed.
    #[error(transparent)]
    Secret(#[from] SecretError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl From<SignInError> for ChangeError {
    fn from(error: SignInError) -> Self {
        match error {
            SignInError::DoesNotFit => Self::DoesNotFit,
            SignInError::Locked { .. } => Self::Locked,
            SignInError::Secret(error) => Self::Secret(error),
            SignInError::Store(error) => Self::Store(error),
            SignInError::Random(error) => Self::Secret(SecretError::Hash(error.to_string())),
        }
    }
}

/// Puts another secret in place and ends the sessions of all other devices. Wrong tries count like those of a sign-in.
///
/// # Errors
/// When the old one does not fit, the new one cannot be one, or the database cannot be written.
pub async fn change_secret(
    service: &Service,
    person: &Person,
    here: &Token,
    old: &str,
    new: &str,
) -> Result<(), ChangeError> {
    if let Some(wrong) = wrong_secret(person, new).await? {
        return Err(ChangeError::New(wrong));
    }
    let proof = sign_in::prove(service, person, old).await?;
    let hash = service.secrets.hash(new).await?;
    let mut tx = service.store.change().await?;
    proof.hold(&mut tx).await?;
    people::set_secret(&mut tx, person.id, &hash).await?;
    sessions::end_others(&mut tx, person.id, &here.hash()).await?;
    let entry = audit::Entry {
        at: service.clock.now(),
        person: Some(person.id),
        what: "change-secret",
        about: ("person", person.id.0),
        detail: serde_json::json!({}),
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    Ok(())
}

/// The devices on which a person is signed in, last used first; this one is marked.
///
/// # Errors
/// When the database does not answer.
pub async fn devices(service: &Service, person: &Person, here: &Token) -> Result<Vec<Device>, StoreError> {
    let now = service.clock.now();
    let idle_since = sign_in::earlier(now, service.sessions.idle);
    sessions::of_person(&service.store, person.id, &here.hash(), now, idle_since).await
}

/// Ends the sessions of all devices but this one.
///
/// # Errors
/// When the database cannot be written.
pub async fn end_others(service: &Service, person: &Person, here: &Token) -> Result<(), StoreError> {
    let mut tx = service.store.change().await?;
    sessions::end_others(&mut tx, person.id, &here.hash()).await?;
    tx.commit().await
}
