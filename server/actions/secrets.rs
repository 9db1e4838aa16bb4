//! Passphrases and PINs: argon2id, off the async threads, few at once.
//!
//! One hash takes 19 MiB and some tens of milliseconds (the parameters that OWASP's cheat sheet on storing passwords
//! names as its least, and the defaults of the library). So a burst of sign-ins waits in line here and takes neither
//! the memory nor the threads from reports.

use std::sync::Arc;

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use thiserror::Error;
use tokio::sync::Semaphore;

/// Hashes at once.
const AT_ONCE: usize = 2;

/// Least length of an instructor's passphrase.
pub const PASSPHRASE_LEAST: usize = 12;

/// Least length of a student's PIN.
pub const PIN_LEAST: usize = 6;

/// What is longer is no secret that somebody remembers, and would only cost time.
pub const LONGEST: usize = 1024;

/// Why a secret could not be hashed or checked.
#[derive(Debug, Error)]
pub enum SecretError {
    /// The library refused.
    #[error("a secret could not be hashed: {0}")]
    Hash(argon2::password_hash::Error),
    /// The server is stopping.
    #[error("the server is stopping")]
    Stopping,
}

/// A hash of a secret that nobody has, to be checked where there is no account: so the answer takes the same time.
const NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$cGxhdGVtYXJrLW5vYm9keQ$\
    Hb2hh4Ya0vyXQXYpzAhkwL6s4q0XBeUOxhM7cYb2GkI";

/// The line in which secrets wait for their hash.
#[derive(Debug, Clone)]
pub struct Secrets {
    places: Arc<Semaphore>,
}

impl Default for Secrets {
    fn default() -> Self {
        Self::new()
    }
}

impl Secrets {
    /// An empty line.
    #[must_use]
    pub fn new() -> Self {
        Self {
            places: Arc::new(Semaphore::new(AT_ONCE)),
        }
    }

    async fn apart<T: Send + 'static>(&self, work: impl FnOnce() -> T + Send + 'static) -> Result<T, SecretError> {
        let place = Arc::clone(&self.places)
            .acquire_owned()
            .await
            .map_err(|_| SecretError::Stopping)?;
        tokio::task::spawn_blocking(move || {
            let done = work();
            // Held until the work is done, also where nobody waits for it any more.
            drop(place);
            done
        })
        .await
        .map_err(|_| SecretError::Stopping)
    }

    /// Hash of a secret, in PHC form with its own salt.
    ///
    /// # Errors
    /// When the library refuses it or the server is stopping.
    pub async fn hash(&self, secret: &str) -> Result<String, SecretError> {
        let secret = secret.to_owned();
        self.apart(move || {
            Argon2::default()
                .hash_password(secret.as_bytes())
                .map(|h| h.to_string())
        })
        .await?
        .map_err(SecretError::Hash)
    }

    /// Whether a secret belongs to a hash; without a hash it takes as long and is never so.
    ///
    /// # Errors
    /// When the server is stopping.
    pub async fn fits(&self, secret: &str, hash: Option<&str>) -> Result<bool, SecretError> {
        let (secret, known) = (secret.to_owned(), hash.is_some());
        let hash = hash.unwrap_or(NOBODY).to_owned();
        self.apart(move || {
            let checked = PasswordHash::new(&hash)
                .is_ok_and(|hash| Argon2::default().verify_password(secret.as_bytes(), &hash).is_ok());
            known && checked
        })
        .await
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_secret_fits_its_own_hash_only() {
        let secrets = Secrets::new();
        let hash = secrets.hash("a long enough phrase").await.unwrap();
        assert!(hash.starts_with("$argon2id$"), "{hash}");
        assert!(secrets.fits("a long enough phrase", Some(&hash)).await.unwrap());
        assert!(!secrets.fits("a long enough Phrase", Some(&hash)).await.unwrap());
        assert!(!secrets.fits("a long enough phrase", None).await.unwrap());
    }

    #[test]
    fn nobodys_hash_is_one_that_takes_time() {
        let hash = PasswordHash::new(NOBODY).unwrap();
        let ours = Argon2::default().hash_password(b"x").unwrap();
        assert_eq!(hash.params, ours.params);
    }
}
