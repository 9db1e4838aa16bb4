//! Signs a person in and out, and says whose a token is.
//!
//! A token is 256 random bits that only the browser holds; the database has its SHA-256. Every sign-in makes a new one
//! and ends the one that the browser had. Ten failed tries lock a name for a while, whether or not somebody has it, and
//! tries are counted before they are checked, so that a burst of them counts in full.

use std::sync::Arc;
use std::time::Duration;

use rand::TryRng;
use rand::rngs::SysRng;
use sha2::{Digest, Sha256};
use thiserror::Error;
use tokio::sync::Semaphore;

use super::secrets::{LONGEST, SecretError};
use super::{Service, second_step};
use crate::store::ids::PersonId;
use crate::store::people::{self, Person};
use crate::store::sessions::{self, TokenHash};
use crate::store::when::When;
use crate::store::{StoreError, Tx, second_steps, tries};
use crate::units::hex;

/// Tries before a name is locked.
pub const TRIES: i64 = 10;

/// How long it is locked.
const LOCK: Duration = Duration::from_secs(15 * 60);

/// After so long without a try, counting starts again.
const FORGET: Duration = Duration::from_secs(24 * 3600);

/// Use is noted at most so often, so that reading pages seldom writes.
const NOTE_USE: Duration = Duration::from_secs(60);

/// How long a session on a device that many people use lasts without use.
pub const SHARED_IDLE: Duration = Duration::from_secs(10 * 60);

/// How long sessions last.
#[derive(Debug, Clone, Copy)]
pub struct Lasting {
    /// Without use.
    pub idle: Duration,
    /// In any case.
    pub longest: Duration,
}

/// Why somebody is not signed in.
#[derive(Debug, Error)]
pub enum SignInError {
    /// Name and secret do not belong together, or there is no such name: which of the two is not told.
    #[error("name and secret do not belong together")]
    DoesNotFit,
    /// Too many tries.
    #[error("locked after {TRIES} tries")]
    Locked {
        /// Until when.
        until: When,
    },
    /// No randomness from the system.
    #[error("the system gave no random numbers: {0}")]
    Random(rand::rngs::SysError),
    /// Hashing failed.
    #[error(transparent)]
    Secret(#[from] SecretError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What the browser holds.
#[derive(Clone, PartialEq, Eq)]
pub struct Token(String);

impl std::fmt::Debug for Token {
    /// Never the token itself: it would be in a log one day.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Token")
    }
}

impl Token {
    /// A new one.
    pub(super) fn random() -> Result<Self, SignInError> {
        let mut bytes = [0_u8; 32];
        SysRng.try_fill_bytes(&mut bytes).map_err(SignInError::Random)?;
        Ok(Self(hex(&bytes)))
    }

    /// The one that a browser sent, if it has the form of one.
    #[must_use]
    pub fn from_cookie(text: &str) -> Option<Self> {
        (text.len() == 64 && text.bytes().all(|b| b.is_ascii_hexdigit())).then(|| Self(text.to_owned()))
    }

    /// The text for the cookie.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    pub(super) fn hash(&self) -> TokenHash {
        Sha256::digest(self.0.as_bytes()).into()
    }
}

/// A sign-in name in the form that it is stored in; none where it cannot be one.
#[must_use]
pub fn canonical(sign_in: &str) -> Option<String> {
    let text = sign_in.trim().to_lowercase();
    let length = text.chars().count();
    let allowed = |c: char| c.is_alphanumeric() || matches!(c, '.' | '-' | '_' | '@' | '+');
    ((2..=40).contains(&length) && text.chars().all(allowed)).then_some(text)
}

/// How far somebody came with name and secret.
#[derive(Debug)]
pub enum Entered {
    /// Signed in.
    Whole(Token, Person),
    /// The code of the second step is still to come; this token opens nothing but the form for it.
    Half(Token),
}

/// Signs a person in, or half in where a second step is asked for; `shared` on a device that many people use. `had` is the
/// token that the browser sent along, which ends.
///
/// # Errors
/// [`SignInError::DoesNotFit`] and [`SignInError::Locked`] are for the person; the others are the server's.
pub async fn sign_in(
    service: &Service,
    name: &str,
    secret: &str,
    had: Option<&Token>,
    shared: bool,
) -> Result<Entered, SignInError> {
    let now = service.clock.now();
    let typed: String = name.trim().to_lowercase().chars().take(LONGEST).collect();
    let name_hash = name_hash(&typed);
    count_try(service, &typed, now).await?;

    let found = match canonical(&typed) {
        Some(name) => people::by_sign_in(&service.store, &name).await?,
        None => None,
    };
    let hash = found.as_ref().and_then(|(_, hash)| hash.as_deref());
    let secret: String = secret.chars().take(LONGEST + 1).collect();
    let fits = service.secrets.fits(&secret, hash).await?;
    let (Some((person, _)), true) = (&found, fits) else {
        // Row numbers, never what was typed: somebody types the PIN into the field of the name one day.
        let person = found.as_ref().map(|(person, _)| person.id.0);
        tracing::info!(person, "a sign-in failed");
        return Err(SignInError::DoesNotFit);
    };
    let proof = Proof::of(person, hash);
    let mut tx = service.store.change_beside().await?;
    // Within the change: nobody switches it on in between.
    if second_steps::is_on(&service.store, person.id).await? {
        let half = second_step::half(&mut tx, &proof, now).await?;
        tx.commit().await?;
        return Ok(Entered::Half(half));
    }
    let token = begin(service, &mut tx, &proof, had, (now, shared)).await?;
    tries::forget(&mut tx, &name_hash).await?;
    tx.commit().await?;
    tracing::info!(person = person.id.0, "signed in");
    Ok(Entered::Whole(token, person.clone()))
}

/// That a person's secret was right: the hash that it was held against. To check takes a while, so whatever follows from it is
/// done only where the secret is still that one.
#[derive(Debug)]
#[must_use]
pub(super) struct Proof {
    pub(super) person: PersonId,
    pub(super) secret_hash: String,
}

impl Proof {
    fn of(person: &Person, hash: Option<&str>) -> Self {
        Self {
            person: person.id,
            secret_hash: hash.unwrap_or_default().to_owned(),
        }
    }

    /// Whether it still is, until the change is kept.
    pub(super) async fn hold(&self, tx: &mut Tx) -> Result<(), SignInError> {
        if people::has_secret(tx, self.person, &self.secret_hash).await? {
            return Ok(());
        }
        tracing::info!(person = self.person.0, "a secret changed while it was checked");
        Err(SignInError::DoesNotFit)
    }
}

/// Begins a session within a change.
pub(super) async fn begin(
    service: &Service,
    tx: &mut Tx,
    proof: &Proof,
    had: Option<&Token>,
    (now, shared): (When, bool),
) -> Result<Token, SignInError> {
    proof.hold(tx).await?;
    let token = Token::random()?;
    if let Some(had) = had {
        sessions::end(tx, &had.hash()).await?;
    }
    let expires_at = later(now, service.sessions.longest);
    sessions::begin(tx, &token.hash(), proof.person, now, expires_at, shared).await?;
    Ok(token)
}

fn name_hash(name: &str) -> tries::NameHash {
    Sha256::digest(name.as_bytes()).into()
}

/// Forgets the tries with a name, and its lock.
pub(super) async fn unlock(tx: &mut Tx, name: &str) -> Result<(), StoreError> {
    tries::forget(tx, &name_hash(name)).await
}

/// Whether a name is locked at the moment, without counting a try.
pub(super) async fn check_lock(service: &Service, name: &str, now: When) -> Result<(), SignInError> {
    match tries::locked(&service.store, &name_hash(name), now).await? {
        Some(until) => Err(SignInError::Locked { until }),
        None => Ok(()),
    }
}

/// Whether a secret is that of somebody who is signed in; tries count like those of a sign-in.
///
/// # Errors
/// [`SignInError::DoesNotFit`] and [`SignInError::Locked`] are for the person; the others are the server's.
pub(super) async fn prove(service: &Service, person: &Person, secret: &str) -> Result<Proof, SignInError> {
    count_try(service, &person.sign_in, service.clock.now()).await?;
    let found = people::by_sign_in(&service.store, &person.sign_in).await?;
    let hash = found.as_ref().and_then(|(_, hash)| hash.as_deref());
    let secret: String = secret.chars().take(LONGEST + 1).collect();
    if !service.secrets.fits(&secret, hash).await? {
        return Err(SignInError::DoesNotFit);
    }
    let proof = Proof::of(person, hash);
    let mut tx = service.store.change_beside().await?;
    proof.hold(&mut tx).await?;
    unlock(&mut tx, &person.sign_in).await?;
    tx.commit().await?;
    Ok(proof)
}

/// The line in which tries wait to be counted. One at a time goes to the database, so that a report that is handed in during a
/// burst of them waits for one and not for hundreds.
#[derive(Debug, Clone)]
pub struct TryLine {
    places: Arc<Semaphore>,
    turn: Arc<Semaphore>,
}

/// Tries that may wait to be counted: seconds of work. Who comes after that is told to try again.
const WAITING: usize = 1024;

impl Default for TryLine {
    fn default() -> Self {
        Self {
            places: Arc::new(Semaphore::new(WAITING)),
            turn: Arc::new(Semaphore::new(1)),
        }
    }
}

/// Counts a try with a name, and locks it after [`TRIES`].
pub(super) async fn count_try(service: &Service, name: &str, now: When) -> Result<(), SignInError> {
    let name = &name_hash(name);
    let line = &service.try_line;
    let _place = line.places.try_acquire().map_err(|_| SecretError::Busy)?;
    let _turn = line.turn.acquire().await.map_err(|_| SecretError::Stopping)?;
    let mut tx = service.store.change_beside().await?;
    let counted = tries::count(&mut tx, name, now, earlier(now, FORGET)).await?;
    let until = match counted.locked_until {
        Some(until) => Some(until),
        None if counted.failed > TRIES => {
            let until = later(now, LOCK);
            tries::lock(&mut tx, name, until).await?;
            tracing::warn!("a sign-in name is locked after too many tries");
            Some(until)
        }
        None => None,
    };
    tx.commit().await?;
    until.map_or(Ok(()), |until| Err(SignInError::Locked { until }))
}

fn idle(service: &Service, now: When) -> sessions::Idle {
    let own = service.sessions.idle;
    sessions::Idle {
        own: earlier(now, own),
        shared: earlier(now, own.min(SHARED_IDLE)),
    }
}

/// Whose a token is, if it is still good.
///
/// # Errors
/// When the database does not answer.
pub async fn who(service: &Service, token: &Token) -> Result<Option<Person>, StoreError> {
    let now = service.clock.now();
    let hash = token.hash();
    let Some(session) = sessions::find(&service.store, &hash, now, idle(service, now)).await? else {
        return Ok(None);
    };
    if session.seen_at < earlier(now, NOTE_USE) {
        let mut tx = service.store.change_beside().await?;
        sessions::seen(&mut tx, &hash, now).await?;
        tx.commit().await?;
    }
    Ok(Some(session.person))
}

/// Ends a session.
///
/// # Errors
/// When the database cannot be written.
pub async fn sign_out(service: &Service, token: &Token) -> Result<(), StoreError> {
    let mut tx = service.store.change_beside().await?;
    sessions::end(&mut tx, &token.hash()).await?;
    tx.commit().await
}

/// Removes sessions and tries that are over.
///
/// # Errors
/// When the database cannot be written.
pub async fn sweep(service: &Service) -> Result<(), StoreError> {
    let now = service.clock.now();
    let mut tx = service.store.change_beside().await?;
    sessions::sweep(&mut tx, now, idle(service, now)).await?;
    tries::sweep(&mut tx, earlier(now, FORGET)).await?;
    tx.commit().await
}

pub(super) fn later(from: When, by: Duration) -> When {
    When::from(
        from.millisecond()
            .saturating_add(i64::try_from(by.as_millis()).unwrap_or(i64::MAX)),
    )
}

pub(super) fn earlier(from: When, by: Duration) -> When {
    When::from(
        from.millisecond()
            .saturating_sub(i64::try_from(by.as_millis()).unwrap_or(i64::MAX)),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::actions::clock::Clock;
    use crate::store::Store;

    async fn service(folder: &std::path::Path) -> Service {
        let lasting = Lasting {
            idle: FORGET,
            longest: FORGET,
        };
        Service::new(Store::open(folder).await.unwrap(), Clock::default(), lasting)
    }

    /// Whoever wants to store something in the middle of a burst has its turn after one try, not after all of them.
    #[tokio::test]
    async fn a_burst_of_tries_stands_in_the_line_of_the_database_with_one() {
        const BURST: usize = 200;
        let folder = tempfile::tempdir().unwrap();
        let service = service(folder.path()).await;
        // Nobody stores anything before all of them wait.
        let before = service.store.change().await.unwrap();
        let mut burst = tokio::task::JoinSet::new();
        for n in 0..BURST {
            let service = service.clone();
            burst.spawn(async move { count_try(&service, &format!("nobody-{n}"), service.clock.now()).await });
        }
        while service.try_line.places.available_permits() > WAITING - BURST {
            tokio::task::yield_now().await;
        }
        let handed_in = tokio::spawn({
            let service = service.clone();
            async move {
                let _turn = service.store.change().await.unwrap();
                tries::all(&service.store).await.unwrap()
            }
        });
        // Until that has its place in the line.
        for _ in 0..100 {
            tokio::task::yield_now().await;
        }
        before.commit().await.unwrap();
        let counted = handed_in.await.unwrap();
        assert!(counted <= 2, "it waited for {counted} tries");
        assert!(burst.join_all().await.iter().all(Result::is_ok));
        assert_eq!(tries::all(&service.store).await.unwrap(), i64::try_from(BURST).unwrap());
    }

    #[tokio::test]
    async fn more_tries_than_can_wait_are_told_so() {
        let folder = tempfile::tempdir().unwrap();
        let service = service(folder.path()).await;
        let places = u32::try_from(WAITING).unwrap();
        let all = service.try_line.places.try_acquire_many(places).unwrap();
        let told = count_try(&service, "nobody", service.clock.now()).await;
        assert!(matches!(told, Err(SignInError::Secret(SecretError::Busy))), "{told:?}");
        drop(all);
        assert!(count_try(&service, "nobody", service.clock.now()).await.is_ok());
    }
}
