//! Passphrases and PINs: argon2id, off the async threads, few at once.
//!
//! One hash takes 19 MiB and some tens of milliseconds (the parameters that OWASP's cheat sheet on storing passwords
//! names as its least, and the defaults of the library). So a burst of sign-ins waits in line here and takes neither
//! the memory nor the threads from reports: two threads of their own do all of it, in the same memory again and again.

use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;

use argon2::password_hash::phc::{Output, ParamsString, PasswordHash, Salt};
use argon2::{Algorithm, Argon2, Block, Params, Version};
use rand::TryRng;
use rand::rngs::SysRng;
use thiserror::Error;
use tokio::sync::oneshot;

/// Hashes at once.
const THREADS: usize = 2;

/// Hashes that may wait: some seconds of work. Who comes after that is told to try again.
const LINE: usize = 256;

/// Room that is taken for a hash, in blocks of 1 KiB; only what the hash needs of it is ever touched. The allocator of
/// glibc gives room of more than 32 MiB back at once (mallopt(3), `M_MMAP_THRESHOLD`) and keeps less.
const ROOM: usize = 33 << 10;

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
    Hash(String),
    /// More than can be done in some seconds are waiting already.
    #[error("too many people sign in at the same moment")]
    Busy,
    /// The threads are gone.
    #[error("nobody is there to hash secrets")]
    Stopping,
}

fn refused(error: impl std::fmt::Display) -> SecretError {
    SecretError::Hash(error.to_string())
}

/// A hash of a secret that nobody has, to be checked where there is no account: so the answer takes the same time.
const NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$cGxhdGVtYXJrLW5vYm9keQ$\
    Hb2hh4Ya0vyXQXYpzAhkwL6s4q0XBeUOxhM7cYb2GkI";

/// The working memory of one thread. Taken from the system anew for every hash, it would stay with the allocator of
/// every thread that once hashed something.
#[derive(Default)]
struct Memory(Vec<Block>);

impl Memory {
    fn output(&mut self, params: Params, secret: &str, salt: &[u8]) -> Result<[u8; 32], SecretError> {
        self.0.reserve_exact(ROOM);
        self.0.resize(params.block_count(), Block::default());
        let mut out = [0; 32];
        let argon2 = Argon2::new(Algorithm::Argon2id, Version::V0x13, params);
        argon2
            .hash_password_into_with_memory(secret.as_bytes(), salt, &mut out, &mut self.0)
            .map_err(refused)?;
        Ok(out)
    }

    fn hash(&mut self, secret: &str) -> Result<String, SecretError> {
        let mut salt = [0_u8; 16];
        SysRng.try_fill_bytes(&mut salt).map_err(refused)?;
        let out = self.output(Params::default(), secret, &salt)?;
        let whole = PasswordHash {
            algorithm: Algorithm::Argon2id.ident(),
            version: Some(Version::V0x13.into()),
            params: ParamsString::try_from(&Params::default()).map_err(refused)?,
            salt: Some(Salt::new(&salt).map_err(refused)?),
            hash: Some(Output::new(&out).map_err(refused)?),
        };
        Ok(whole.to_string())
    }

    /// Whether a secret belongs to a hash in PHC form; never to one that is none of ours.
    fn fits(&mut self, secret: &str, hash: &str) -> bool {
        let Ok(hash) = PasswordHash::new(hash) else {
            return false;
        };
        let (Some(salt), Some(known)) = (&hash.salt, &hash.hash) else {
            return false;
        };
        let Ok(params) = Params::try_from(&hash) else {
            return false;
        };
        let ours = hash.algorithm == Algorithm::Argon2id.ident() && hash.version == Some(Version::V0x13.into());
        let Ok(out) = self.output(params, secret, salt) else {
            return false;
        };
        // The library compares outputs in constant time.
        ours && Output::new(&out).is_ok_and(|out| out == *known)
    }
}

type Job = Box<dyn FnOnce(&mut Memory) + Send>;

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

/// Works until nobody is left who could send anything. The memory goes back to the system as soon as nobody waits: a
/// class signs in once in a lesson.
fn work(line: &Mutex<Receiver<Job>>) {
    let mut memory = Memory::default();
    loop {
        // Where the other thread has the line, it waits for the next one there: nobody is left for this one.
        let next = line.try_lock().ok().and_then(|line| line.try_recv().ok());
        let next = next.map_or_else(
            || {
                memory = Memory::default();
                line.lock().unwrap_or_else(PoisonError::into_inner).recv()
            },
            Ok,
        );
        match next {
            Ok(job) => job(&mut memory),
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

    async fn apart<T: Send + 'static>(
        &self,
        work: impl FnOnce(&mut Memory) -> T + Send + 'static,
    ) -> Result<T, SecretError> {
        let (tell, told) = oneshot::channel();
        // Who asked may be gone by then; the work was done all the same.
        let job: Job = Box::new(move |memory| drop(tell.send(work(memory))));
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
        self.apart(move |memory| memory.hash(&secret)).await?
    }

    /// Whether a secret belongs to a hash; without a hash it takes as long and is never so.
    ///
    /// # Errors
    /// When too many are waiting.
    pub async fn fits(&self, secret: &str, hash: Option<&str>) -> Result<bool, SecretError> {
        let (secret, known) = (secret.to_owned(), hash.is_some());
        let hash = hash.unwrap_or(NOBODY).to_owned();
        self.apart(move |memory| memory.fits(&secret, &hash) && known).await
    }
}

#[cfg(test)]
mod tests {
    use argon2::PasswordVerifier;

    use super::*;

    #[tokio::test]
    async fn a_secret_fits_its_own_hash_only() {
        let secrets = Secrets::new();
        let hash = secrets.hash("a long enough phrase").await.unwrap();
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
        assert!(secrets.fits("a long enough phrase", Some(&hash)).await.unwrap());
        assert!(!secrets.fits("a long enough Phrase", Some(&hash)).await.unwrap());
        assert!(!secrets.fits("a long enough phrase", None).await.unwrap());
        assert!(
            !secrets
                .fits("a long enough phrase", Some("no hash at all"))
                .await
                .unwrap()
        );
        assert_ne!(hash, secrets.hash("a long enough phrase").await.unwrap());
    }

    #[test]
    fn memory_that_was_used_before_gives_what_the_library_gives() {
        let mut memory = Memory::default();
        for secret in ["one", "another", "a third"] {
            let hash = memory.hash(secret).unwrap();
            let parsed = PasswordHash::new(&hash).unwrap();
            assert!(Argon2::default().verify_password(secret.as_bytes(), &parsed).is_ok());
            assert!(memory.fits(secret, &hash));
            assert!(!memory.fits("else", &hash));
        }
    }

    #[test]
    fn nobodys_hash_takes_as_long_as_anybodys() {
        let hash = PasswordHash::new(NOBODY).unwrap();
        let cost = |p: &Params| (p.m_cost(), p.t_cost(), p.p_cost());
        assert_eq!(cost(&Params::try_from(&hash).unwrap()), cost(&Params::default()));
        assert!(hash.salt.is_some() && hash.hash.is_some());
    }
}
