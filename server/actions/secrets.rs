//! Passphrases and PINs: argon2id, off the async threads, few at once.
//!
//! One hash takes 19 MiB and some tens of milliseconds (the parameters that OWASP's cheat sheet on storing passwords
//! names as its least, and the defaults of the library). So a burst of sign-ins waits in line here and takes neither
//! the memory nor the threads from reports: two threads of their own do all of it, in the same memory again and again.

use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use thiserror::Error;
use tokio::sync::oneshot;

/// Hashes at once.
const THREADS: usize = 2;

/// Hashes that may wait: some seconds of work. Who comes after that is told to try again.
const LINE: usize = 256;

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
    /// More than can be done in some seconds are waiting already.
    #[error("too many people sign in at the same moment")]
    Busy,
    /// The threads are gone.
    #[error("nobody is there to hash secrets")]
    Stopping,
}

type Job = Box<dyn FnOnce() + Send>;

/// A hash of a secret that nobody has, to be checked where there is no account: so the answer takes the same time.
const NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$cGxhdGVtYXJrLW5vYm9keQ$\
    Hb2hh4Ya0vyXQXYpzAhkwL6s4q0XBeUOxhM7cYb2GkI";

/// The line in which secrets wait for their hash.
#[derive(Debug, Clone)]
pub struct Secrets {
    line: SyncSender<Job>,
}

impl Default for Secrets {
    fn default() -> Self {
        Self::new()
    }
}

/// Works until nobody is left who could send anything.
fn work(line: &Mutex<Receiver<Job>>) {
    loop {
        let next = line.lock().unwrap_or_else(PoisonError::into_inner).recv();
        match next {
            Ok(job) => job(),
            Err(_) => return,
        }
    }
}

impl Secrets {
    /// An empty line, and the threads that serve it.
    #[must_use]
    pub fn new() -> Self {
        let (line, jobs) = sync_channel(LINE);
        let jobs = Arc::new(Mutex::new(jobs));
        for _ in 0..THREADS {
            let jobs = Arc::clone(&jobs);
            thread::spawn(move || work(&jobs));
        }
        Self { line }
    }

    async fn apart<T: Send + 'static>(&self, work: impl FnOnce() -> T + Send + 'static) -> Result<T, SecretError> {
        let (tell, told) = oneshot::channel();
        // Who asked may be gone by then; the work was done all the same.
        let job: Job = Box::new(move || drop(tell.send(work())));
        self.line.try_send(job).map_err(|error| match error {
            TrySendError::Full(_) => SecretError::Busy,
            TrySendError::Disconnected(_) => SecretError::Stopping,
        })?;
        told.await.map_err(|_| SecretError::Stopping)
    }

    /// Hash of a secret, in PHC form with its own salt.
    ///
    /// # Errors
    /// When the library refuses it or too many are waiting.
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
    /// When too many are waiting.
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
