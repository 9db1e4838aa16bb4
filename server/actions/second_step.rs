//! The second step at sign-in, for staff who want it: six digits that an app makes of a shared secret and the clock
//! (RFC 6238: SHA-1, 30 seconds, one step of grace before and after), or one of ten recovery codes.
//!
//! The secret is 160 random bits, sealed with XChaCha20-Poly1305 under a key that lies outside of the database. A code is
//! taken once: a step of the clock that was used, or an older one, is refused. Tries are counted as those of a name are.

use std::time::Duration;

use chacha20poly1305::aead::{Aead, Payload};
use chacha20poly1305::{KeyInit, XChaCha20Poly1305, XNonce};
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use qrcode::{Color, QrCode};
use rand::TryRng;
use rand::rngs::SysRng;
use sha2::{Digest, Sha256};
use thiserror::Error;
use totp_rs::{Builder, Secret, Totp};

use super::Service;
use super::charge;
use super::sign_in::{self, Proof, SignInError, Token};
use super::take_seat::SlipError;
use crate::store::ids::PersonId;
use crate::store::key_file::{self, Key, KeyError};
use crate::store::people::{Person, Role};
use crate::store::second_steps::{self, CodeHash};
use crate::store::when::When;
use crate::store::{StoreError, Tx, audit, sessions};

/// Recovery codes at once.
pub const CODES: usize = 10;

/// Random bytes of a recovery code: 80 bits, 16 letters of base 32.
const CODE_BYTES: usize = 10;

/// How long the code may be waited for after the passphrase.
const HALF: Duration = Duration::from_secs(5 * 60);

const NONCE: usize = 24;

/// What stands as it is in the address that apps read.
const NAME: &AsciiSet = &NON_ALPHANUMERIC.remove(b'-').remove(b'_').remove(b'.');

/// Why a second step is not begun, passed or ended.
#[derive(Debug, Error)]
pub enum StepError {
    /// Only for staff.
    #[error("a second step is for instructors and assistants")]
    NotStaff,
    /// There is one already, or none.
    #[error("the second step is not as this page had it; look at the account again")]
    NotSo,
    /// Too much time passed since the passphrase.
    #[error("too much time passed since the passphrase")]
    Over,
    /// The code is wrong, or was used.
    #[error("this code is not good, or was used already")]
    WrongCode,
    /// The key file is not there.
    #[error("the key file of this server is not in its data folder, so codes of the app cannot be checked")]
    NoKey,
    /// The key file cannot be used.
    #[error(transparent)]
    Key(#[from] KeyError),
    /// What is stored cannot be opened with this key.
    #[error("what is stored was sealed with another key")]
    Sealed,
    /// The rest is as for signing in.
    #[error(transparent)]
    SignIn(#[from] SignInError),
}

impl From<StoreError> for StepError {
    fn from(error: StoreError) -> Self {
        Self::SignIn(error.into())
    }
}

impl From<rand::rngs::SysError> for StepError {
    fn from(error: rand::rngs::SysError) -> Self {
        Self::SignIn(SignInError::Random(error))
    }
}

/// What a person puts into the app.
#[derive(Debug, Clone)]
pub struct ToEnrol {
    /// In base 32, in groups of four.
    pub secret: String,
    /// The address that apps read.
    pub link: String,
    /// Modules of the QR code of that address, dark ones true, line by line; empty where it cannot be drawn.
    pub picture: Vec<Vec<bool>>,
}

fn random<const N: usize>() -> Result<[u8; N], rand::rngs::SysError> {
    let mut bytes = [0; N];
    SysRng.try_fill_bytes(&mut bytes)?;
    Ok(bytes)
}

/// Sealed for one person: the sealed secret of another opens nothing.
fn seal(key: &Key, person: PersonId, secret: &[u8]) -> Result<Vec<u8>, StepError> {
    let nonce: [u8; NONCE] = random()?;
    let payload = Payload {
        msg: secret,
        aad: &person.0.to_be_bytes(),
    };
    let cipher = XChaCha20Poly1305::new(&(*key).into());
    let sealed = cipher
        .encrypt(&XNonce::from(nonce), payload)
        .map_err(|_| StepError::Sealed)?;
    Ok(nonce.into_iter().chain(sealed).collect())
}

fn open(key: &Key, person: PersonId, sealed: &[u8]) -> Result<Vec<u8>, StepError> {
    let (nonce, sealed) = sealed.split_first_chunk::<NONCE>().ok_or(StepError::Sealed)?;
    let payload = Payload {
        msg: sealed,
        aad: &person.0.to_be_bytes(),
    };
    let cipher = XChaCha20Poly1305::new(&(*key).into());
    cipher
        .decrypt(&XNonce::from(*nonce), payload)
        .map_err(|_| StepError::Sealed)
}

/// The code maker of a secret: six digits, 30 seconds, one step of grace.
fn maker(secret: Vec<u8>) -> Result<Totp, StepError> {
    Builder::new()
        .with_secret(Secret::from(secret))
        .build()
        .map_err(|_| StepError::Sealed)
}

/// The step of the clock to which a code belongs at a time, if it is good then.
fn step_of(secret: Vec<u8>, code: &str, now: When) -> Result<Option<i64>, StepError> {
    let seconds = u64::try_from(now.millisecond() / 1000).unwrap_or(0);
    let step = maker(secret)?.check(code, seconds);
    Ok(step.and_then(|s| i64::try_from(s).ok()))
}

fn to_enrol(person: &Person, secret: Vec<u8>) -> ToEnrol {
    let text = Secret::from(secret).to_base32();
    let name = utf8_percent_encode(&person.sign_in, NAME);
    let link =
        format!("otpauth://totp/Platemark:{name}?secret={text}&issuer=Platemark&algorithm=SHA1&digits=6&period=30");
    let picture = QrCode::new(link.as_bytes()).map(|code| {
        let dark: Vec<bool> = code.to_colors().iter().map(|c| *c == Color::Dark).collect();
        dark.chunks(code.width().max(1)).map(<[bool]>::to_vec).collect()
    });
    ToEnrol {
        secret: grouped(&text),
        link,
        picture: picture.unwrap_or_default(),
    }
}

/// In groups of four, which people read and type.
fn grouped(text: &str) -> String {
    let letters: Vec<char> = text.chars().collect();
    let groups: Vec<String> = letters.chunks(4).map(|g| g.iter().collect()).collect();
    groups.join(" ")
}

/// What a person has; none where no second step was begun.
///
/// # Errors
/// When the database does not answer.
pub async fn of(service: &Service, person: PersonId) -> Result<Option<second_steps::SecondStep>, StoreError> {
    second_steps::of(&service.store, person).await
}

/// Begins: a new secret to put into the app. Nothing is asked for before [`confirm`].
///
/// # Errors
/// When the passphrase is wrong, there is a second step already, or something cannot be written.
pub async fn begin(service: &Service, person: &Person, passphrase: &str) -> Result<ToEnrol, StepError> {
    if person.role == Role::Student {
        return Err(StepError::NotStaff);
    }
    let proof = sign_in::prove(service, person, passphrase).await?;
    let key = key_file::read_or_write(&service.store, &random()?)?;
    let secret: [u8; 20] = random()?;
    let sealed = seal(&key, person.id, &secret)?;
    let mut tx = service.store.change().await?;
    proof.hold(&mut tx).await?;
    if !second_steps::begin(&mut tx, person.id, &sealed, service.clock.now()).await? {
        return Err(StepError::NotSo);
    }
    tx.commit().await?;
    Ok(to_enrol(person, secret.to_vec()))
}

/// The secret that was begun, to be shown again after a code that was wrong.
///
/// # Errors
/// When nothing was begun, it is confirmed already, or it cannot be opened.
pub async fn begun(service: &Service, person: &Person) -> Result<ToEnrol, StepError> {
    let stored = of(service, person.id).await?.ok_or(StepError::NotSo)?;
    if stored.confirmed_at.is_some() {
        return Err(StepError::NotSo);
    }
    Ok(to_enrol(person, secret_of(service, person.id, &stored.sealed)?))
}

fn secret_of(service: &Service, person: PersonId, sealed: &[u8]) -> Result<Vec<u8>, StepError> {
    let key = key_file::read(&service.store)?.ok_or(StepError::NoKey)?;
    open(&key, person, sealed)
}

/// Switches it on with a first code; other devices are signed out. Gives the recovery codes, which are shown this once.
///
/// # Errors
/// When the code is wrong, nothing was begun, or the database cannot be written.
pub async fn confirm(service: &Service, person: &Person, here: &Token, code: &str) -> Result<Vec<String>, StepError> {
    let stored = of(service, person.id).await?.ok_or(StepError::NotSo)?;
    if stored.confirmed_at.is_some() {
        return Err(StepError::NotSo);
    }
    let now = service.clock.now();
    sign_in::count_try(service, &tries_name(person.id), now).await?;
    let secret = secret_of(service, person.id, &stored.sealed)?;
    let step = step_of(secret, &digits(code), now)?.ok_or(StepError::WrongCode)?;
    let (codes, hashes) = draw_codes()?;
    let mut tx = service.store.change().await?;
    if !second_steps::take(&mut tx, person.id, step).await? {
        return Err(StepError::WrongCode);
    }
    second_steps::confirm(&mut tx, person.id, now).await?;
    second_steps::set_codes(&mut tx, person.id, &hashes).await?;
    sessions::end_others(&mut tx, person.id, &here.hash()).await?;
    sign_in::unlock(&mut tx, &tries_name(person.id)).await?;
    note(&mut tx, person.id, person.id, "second-step-on", now).await?;
    tx.commit().await?;
    Ok(codes)
}

fn digits(code: &str) -> String {
    code.chars().filter(|c| !c.is_whitespace()).collect()
}

/// The name under which tries with codes of a person are counted. What is typed as a sign-in name is counted in lower case, so
/// nobody locks a second step that way.
fn tries_name(person: PersonId) -> String {
    format!("SECOND STEP OF {person}")
}

fn draw_codes() -> Result<(Vec<String>, Vec<CodeHash>), StepError> {
    let mut codes = Vec::with_capacity(CODES);
    for _ in 0..CODES {
        let bytes: [u8; CODE_BYTES] = random()?;
        codes.push(Secret::from(bytes.to_vec()).to_base32());
    }
    let hashes = codes.iter().map(|c| hash(c)).collect();
    Ok((codes.iter().map(|c| grouped(c).replace(' ', "-")).collect(), hashes))
}

fn hash(code: &str) -> CodeHash {
    Sha256::digest(code.as_bytes()).into()
}

/// A recovery code as typed, in the form in which it is hashed; none where it cannot be one. Base 32 has no 0, 1, 8 and 9.
#[must_use]
pub fn recovery(typed: &str) -> Option<String> {
    let letters = typed.chars().filter(|c| c.is_alphanumeric());
    let code: String = letters
        .map(|c| match c.to_ascii_uppercase() {
            '0' => 'O',
            '1' => 'I',
            '8' => 'B',
            c => c,
        })
        .collect();
    let is_letter = |byte: u8| matches!(byte, b'A'..=b'Z' | b'2'..=b'7');
    (code.len() == 16 && code.bytes().all(is_letter)).then_some(code)
}

async fn note(
    tx: &mut Tx,
    about: PersonId,
    by: impl Into<Option<PersonId>>,
    what: &str,
    now: When,
) -> Result<(), StoreError> {
    audit::note(tx, ("person", about.0), what, by, now, serde_json::json!({})).await
}

/// Whether a code is good for a person: six digits of the app, or a recovery code, which is used up by it. Counted.
async fn pass(service: &Service, tx: &mut Tx, person: &Person, typed: &str, now: When) -> Result<(), StepError> {
    let typed = digits(typed);
    let good = if let Some(code) = recovery(&typed) {
        let used = second_steps::use_code(tx, person.id, &hash(&code), now).await?;
        if used {
            note(tx, person.id, person.id, "recovery-code-used", now).await?;
        }
        used
    } else {
        let stored = of(service, person.id).await?.ok_or(StepError::NotSo)?;
        match step_of(secret_of(service, person.id, &stored.sealed)?, &typed, now)? {
            Some(step) => second_steps::take(tx, person.id, step).await?,
            None => false,
        }
    };
    if good {
        sign_in::unlock(tx, &tries_name(person.id)).await?;
        Ok(())
    } else {
        Err(StepError::WrongCode)
    }
}

/// Keeps for some minutes that the passphrase was right; opens nothing yet.
pub(super) async fn half(tx: &mut Tx, proof: &Proof, now: When) -> Result<Token, SignInError> {
    proof.hold(tx).await?;
    let token = Token::random()?;
    second_steps::half(tx, &token.hash(), proof.person, now, sign_in::later(now, HALF)).await?;
    Ok(token)
}

/// The second half of a sign-in: `half` is what the first half gave, `had` the token of a session that ends; `shared` on a
/// device that many people use.
///
/// # Errors
/// When too much time passed, the code is wrong, or there were too many tries.
pub async fn finish(
    service: &Service,
    half: &Token,
    typed: &str,
    had: Option<&Token>,
    shared: bool,
) -> Result<(Token, Person), StepError> {
    let now = service.clock.now();
    let person = second_steps::half_of(&service.store, &half.hash(), now).await?;
    let person = person.ok_or(StepError::Over)?;
    sign_in::count_try(service, &tries_name(person.id), now).await?;
    let mut tx = service.store.change().await?;
    // Whoever has changed the secret or freed the seat meanwhile has ended the first half.
    let secret_hash = second_steps::secret_of_half(&mut tx, &half.hash(), now).await?;
    let proof = Proof {
        person: person.id,
        secret_hash: secret_hash.ok_or(StepError::Over)?,
    };
    let passed = pass(service, &mut tx, &person, typed, now).await;
    passed.inspect_err(|_| tracing::info!(person = person.id.0, "a second step failed"))?;
    second_steps::end_halves(&mut tx, person.id).await?;
    sign_in::unlock(&mut tx, &person.sign_in).await?;
    let token = sign_in::begin(service, &mut tx, &proof, had, (now, shared)).await?;
    tx.commit().await?;
    tracing::info!(person = person.id.0, "signed in with a second step");
    Ok((token, person))
}

/// Passphrase and code of somebody who is signed in, before the second step is changed.
async fn prove(service: &Service, person: &Person, passphrase: &str, typed: &str) -> Result<(Tx, When), StepError> {
    if !second_steps::is_on(&service.store, person.id).await? {
        return Err(StepError::NotSo);
    }
    let proof = sign_in::prove(service, person, passphrase).await?;
    let now = service.clock.now();
    sign_in::count_try(service, &tries_name(person.id), now).await?;
    let mut tx = service.store.change().await?;
    proof.hold(&mut tx).await?;
    pass(service, &mut tx, person, typed, now).await?;
    Ok((tx, now))
}

/// Switches it off.
///
/// # Errors
/// When passphrase or code are wrong, or the database cannot be written.
pub async fn switch_off(service: &Service, person: &Person, passphrase: &str, typed: &str) -> Result<(), StepError> {
    let (mut tx, now) = prove(service, person, passphrase, typed).await?;
    second_steps::remove(&mut tx, person.id).await?;
    note(&mut tx, person.id, person.id, "second-step-off", now).await?;
    Ok(tx.commit().await?)
}

/// New recovery codes in the place of all older ones; shown this once.
///
/// # Errors
/// As for [`switch_off`].
pub async fn new_codes(
    service: &Service,
    person: &Person,
    passphrase: &str,
    typed: &str,
) -> Result<Vec<String>, StepError> {
    let (mut tx, now) = prove(service, person, passphrase, typed).await?;
    let (codes, hashes) = draw_codes()?;
    second_steps::set_codes(&mut tx, person.id, &hashes).await?;
    note(&mut tx, person.id, person.id, "recovery-codes-new", now).await?;
    tx.commit().await?;
    Ok(codes)
}

/// Takes the second step of somebody else away, who has lost the app and the codes; the person's sessions end. `by` is none
/// for the command line. Gives whether there was one.
///
/// # Errors
/// When somebody else is in charge of the person, or the database cannot be written.
pub async fn reset(service: &Service, person: PersonId, by: Option<PersonId>) -> Result<bool, SlipError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    if let Some(by) = by {
        charge::of_another(&mut tx, person, by).await??;
    }
    let had = second_steps::remove(&mut tx, person).await?;
    if had {
        sessions::end_all(&mut tx, person).await?;
        sign_in::unlock(&mut tx, &tries_name(person)).await?;
        note(&mut tx, person, by, "second-step-reset", now).await?;
    }
    tx.commit().await?;
    Ok(had)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 6238, appendix B, SHA-1, secret "12345678901234567890" in ASCII: the last six of the eight digits there.
    #[test]
    fn codes_are_those_of_the_standard() {
        let secret = b"12345678901234567890".to_vec();
        for (seconds, eight) in [
            (59_u64, "94287082"),
            (1_111_111_109, "07081804"),
            (1_111_111_111, "14050471"),
            (1_234_567_890, "89005924"),
            (2_000_000_000, "69279037"),
            (20_000_000_000, "65353130"),
        ] {
            let code = &eight[2..];
            assert_eq!(maker(secret.clone()).unwrap().generate(seconds).to_string(), code);
            let millis = i64::try_from(seconds).unwrap() * 1000;
            let step = i64::try_from(seconds / 30).unwrap();
            let at = |shift: i64| step_of(secret.clone(), code, When::from(millis + shift * 1000)).unwrap();
            assert_eq!(at(0), Some(step));
            // One step of grace on both sides, and no more.
            assert_eq!((at(30), at(61)), (Some(step), None));
            if seconds > 90 {
                assert_eq!((at(-30), at(-61)), (Some(step), None));
            }
        }
        assert_eq!(step_of(secret.clone(), "", When::from(59_000)).unwrap(), None);
        assert_eq!(step_of(secret, "28708", When::from(59_000)).unwrap(), None);
    }

    #[test]
    fn what_is_sealed_opens_for_its_person_and_key_only() {
        let (key, other) = ([7; 32], [8; 32]);
        let sealed = seal(&key, PersonId(3), b"a secret of bytes").unwrap();
        assert_eq!(open(&key, PersonId(3), &sealed).unwrap(), b"a secret of bytes");
        assert!(open(&key, PersonId(4), &sealed).is_err());
        assert!(open(&other, PersonId(3), &sealed).is_err());
        assert!(open(&key, PersonId(3), &sealed[..20]).is_err());
        assert!(!sealed.windows(8).any(|w| w == b"a secret"));
    }

    #[test]
    fn recovery_codes_as_people_type_them() {
        let (codes, hashes) = draw_codes().unwrap();
        assert_eq!(codes.len(), CODES);
        let typed = codes[0].to_lowercase().replace('-', " ");
        assert_eq!(hash(&recovery(&typed).unwrap()), hashes[0]);
        assert_eq!(recovery("123456"), None);
        // There is no such letter in it.
        assert_eq!(recovery("abcd-efgh-ijkl-mn9p"), None);
        assert_eq!(recovery("abcd-efgh-ijkl-mn0p").as_deref(), Some("ABCDEFGHIJKLMNOP"));
    }
}
