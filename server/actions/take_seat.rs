//! Printed slips, and the taking of a seat with one.
//!
//! A code has fifteen letters and digits in three groups, 75 random bits; the database has its SHA-256 only, so a sheet
//! of slips is shown once and never again. The first group is the slip's number, by which tries are counted: ten wrong
//! codes with one number lock that number for a while. The answer to a code that is wrong, used or too old is one and
//! the same, and names nobody.

use std::time::Duration;

use rand::TryRng;
use rand::rngs::SysRng;
use sha2::{Digest, Sha256};
use thiserror::Error;

use super::Service;
use super::charge::{self, NotInCharge};
use super::passphrase;
use super::secrets::{LONGEST, PIN_LEAST, SecretError};
use super::sign_in::{self, Proof, SignInError, Token};
use crate::store::ids::{ClassId, PersonId};
use crate::store::people::{self, Person, Role};
use crate::store::when::When;
use crate::store::{StoreError, audit, classes, second_steps, slips};

/// Letters and digits that nobody takes for another (Crockford's base 32: no I, L, O, U).
const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

const GROUP: usize = 5;
const LENGTH: usize = 3 * GROUP;

/// A slip to be printed.
#[derive(Debug, Clone)]
pub struct Slip {
    /// Whose it is.
    pub name: String,
    /// What the person will type to sign in.
    pub sign_in: String,
    /// The code in three groups.
    pub code: String,
    /// Until when it is good.
    pub until: When,
}

/// Why slips were not made.
#[derive(Debug, Error)]
pub enum SlipError {
    /// Not of this class.
    #[error("somebody among them is not in this class")]
    NotHere,
    /// Somebody else is in charge of the account.
    #[error(transparent)]
    NotInCharge(#[from] NotInCharge),
    /// No randomness from the system.
    #[error("the system gave no random numbers: {0}")]
    Random(#[from] rand::rngs::SysError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Why a seat was not taken.
#[derive(Debug, Error)]
pub enum SeatError {
    /// Not known, used, or too old: which of them is not told.
    #[error("this slip is not good")]
    NotGood,
    /// The PIN has not its form.
    #[error("{0}")]
    Pin(&'static str),
    /// The rest is as for signing in.
    #[error(transparent)]
    SignIn(#[from] SignInError),
}

impl From<StoreError> for SeatError {
    fn from(error: StoreError) -> Self {
        Self::SignIn(error.into())
    }
}

impl From<SecretError> for SeatError {
    fn from(error: SecretError) -> Self {
        Self::SignIn(error.into())
    }
}

/// A code as typed, in the form in which it is hashed; none where it cannot be one. O is read as 0, I and L as 1.
#[must_use]
pub fn canonical(typed: &str) -> Option<String> {
    let mut code = String::with_capacity(LENGTH);
    for c in typed.chars().filter(|c| c.is_alphanumeric()) {
        let c = match c.to_ascii_uppercase() {
            'O' => '0',
            'I' | 'L' => '1',
            c => c,
        };
        if !c.is_ascii() || !ALPHABET.contains(&u8::try_from(c).ok()?) {
            return None;
        }
        code.push(c);
    }
    (code.len() == LENGTH).then_some(code)
}

fn hash(code: &str) -> slips::CodeHash {
    Sha256::digest(code.as_bytes()).into()
}

fn draw() -> Result<String, rand::rngs::SysError> {
    let mut bytes = [0_u8; LENGTH];
    SysRng.try_fill_bytes(&mut bytes)?;
    // 256 is a multiple of 32, so every letter is as likely as every other.
    Ok(bytes
        .iter()
        .map(|b| char::from(ALPHABET[usize::from(b % 32)]))
        .collect())
}

/// Makes new slips for these people of a class; older ones of theirs that nobody used are good no more. A person who
/// has a seat keeps it until [`free_seat`].
///
/// # Errors
/// When somebody is not in the class or not in the charge of `by`, or the database cannot be written; then no slip is made.
pub async fn make_slips(
    service: &Service,
    class: ClassId,
    people: &[PersonId],
    lasting: Duration,
    by: PersonId,
) -> Result<Vec<Slip>, SlipError> {
    let now = service.clock.now();
    let until = sign_in::later(now, lasting);
    let members = classes::members(&service.store, class, now).await?;
    let mut made = Vec::with_capacity(people.len());
    let mut tx = service.store.change().await?;
    for person in people {
        let member = members
            .iter()
            .find(|m| m.person == *person && m.left_at.is_none())
            .ok_or(SlipError::NotHere)?;
        charge::of_another(&mut tx, *person, by).await??;
        let code = draw()?;
        slips::add(&mut tx, *person, &hash(&code), now, Some(by), until).await?;
        made.push(Slip {
            name: member.name.clone(),
            sign_in: member.sign_in.clone(),
            code: grouped(&code),
            until,
        });
    }
    let entry = audit::Entry {
        at: now,
        person: Some(by),
        what: "make-slips",
        about: ("class", class.0),
        detail: serde_json::json!({ "slips": made.len() }),
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    Ok(made)
}

/// Makes a slip for one person, whoever it is: for whoever runs the server.
///
/// # Errors
/// When the database cannot be written.
pub async fn make_slip_here(service: &Service, person: &Person, lasting: Duration) -> Result<Slip, SlipError> {
    let now = service.clock.now();
    let until = sign_in::later(now, lasting);
    let code = draw()?;
    let mut tx = service.store.change().await?;
    slips::add(&mut tx, person.id, &hash(&code), now, None, until).await?;
    audit::note(
        &mut tx,
        ("person", person.id.0),
        "make-slip",
        None,
        now,
        serde_json::json!({}),
    )
    .await?;
    tx.commit().await?;
    Ok(Slip {
        name: person.name.clone(),
        sign_in: person.sign_in.clone(),
        code: grouped(&code),
        until,
    })
}

fn grouped(code: &str) -> String {
    let groups: Vec<&str> = (0..3).filter_map(|g| code.get(g * GROUP..(g + 1) * GROUP)).collect();
    groups.join("-")
}

/// Frees the seat of a person: PIN or passphrase are good no more, all sessions end, and the lock after wrong tries is
/// gone, as is a second step. A new slip gives the seat back.
///
/// # Errors
/// When the person is not in the charge of `by`, or the database cannot be written.
pub async fn free_seat(service: &Service, class: ClassId, person: &Person, by: PersonId) -> Result<(), SlipError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    charge::of_another(&mut tx, person.id, by).await??;
    people::free_seat(&mut tx, person.id).await?;
    second_steps::remove(&mut tx, person.id).await?;
    slips::cancel(&mut tx, person.id).await?;
    sign_in::unlock(&mut tx, &person.sign_in).await?;
    let entry = audit::Entry {
        at: now,
        person: Some(by),
        what: "free-seat",
        about: ("class", class.0),
        detail: serde_json::json!({ "person": person.id }),
    };
    audit::write(&mut tx, &entry).await?;
    Ok(tx.commit().await?)
}

/// Whose seat a code is for.
///
/// # Errors
/// [`SeatError::NotGood`] where it is no good code; locked after many tries with one number.
pub async fn whose(service: &Service, typed: &str) -> Result<Person, SeatError> {
    let code = canonical(typed).ok_or(SeatError::NotGood)?;
    let number = code.get(..GROUP).unwrap_or_default();
    let now = service.clock.now();
    if let Some(person) = slips::whose(&service.store, &hash(&code), now).await? {
        sign_in::check_lock(service, &slip_name(number), now).await?;
        return Ok(person);
    }
    sign_in::count_try(service, &slip_name(number), now).await?;
    tracing::info!("a slip was not good");
    Err(SeatError::NotGood)
}

/// The name under which tries with a slip are counted. What is typed as a sign-in name is counted in lower case, so nobody
/// locks a slip that way.
fn slip_name(number: &str) -> String {
    format!("SLIP {number}")
}

/// What is wrong with a PIN or passphrase that a person chose; none where nothing is. Passphrases take some milliseconds, so
/// they are looked at off the async threads.
///
/// # Errors
/// When the server is stopping.
pub async fn wrong_secret(person: &Person, secret: &str) -> Result<Option<&'static str>, SecretError> {
    if person.role == Role::Student {
        return Ok(wrong_pin(secret));
    }
    let (name, sign_in, secret) = (person.name.clone(), person.sign_in.clone(), secret.to_owned());
    tokio::task::spawn_blocking(move || passphrase::wrong(&secret, &[&name, &sign_in]))
        .await
        .map_err(|_| SecretError::Stopping)
}

fn wrong_pin(secret: &str) -> Option<&'static str> {
    let length = secret.chars().count();
    if length > LONGEST {
        return Some("It is longer than 1024 characters. Choose a shorter one.");
    }
    let digits: Vec<u8> = secret.bytes().collect();
    if length < PIN_LEAST || !digits.iter().all(u8::is_ascii_digit) {
        return Some("Choose a PIN of 6 digits and more, digits only.");
    }
    let steps: Vec<i16> = digits.windows(2).map(|w| i16::from(w[1]) - i16::from(w[0])).collect();
    let easy = [0, 1, -1].iter().any(|step| steps.iter().all(|s| s == step));
    easy.then_some("A PIN of one digit only, or of digits in a row, is the first that anybody tries. Choose another.")
}

/// Takes the seat: the slip is used up, the PIN or passphrase is the person's own, and the person is signed in. Who has a
/// second step signs in with it afterwards: no token then.
///
/// # Errors
/// As for [`whose`]; [`SeatError::Pin`] where the secret has not its form.
pub async fn take_seat(
    service: &Service,
    typed: &str,
    secret: &str,
    had: Option<&Token>,
    shared: bool,
) -> Result<(Option<Token>, Person), SeatError> {
    let person = whose(service, typed).await?;
    if let Some(wrong) = wrong_secret(&person, secret).await? {
        return Err(SeatError::Pin(wrong));
    }
    let code = canonical(typed).ok_or(SeatError::NotGood)?;
    let secret = service.secrets.hash(secret).await?;
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    if !slips::use_up(&mut tx, &hash(&code), now).await? {
        return Err(SeatError::NotGood);
    }
    people::free_seat(&mut tx, person.id).await?;
    people::set_secret(&mut tx, person.id, &secret).await?;
    sign_in::unlock(&mut tx, &person.sign_in).await?;
    let entry = audit::Entry {
        at: now,
        person: Some(person.id),
        what: "take-seat",
        about: ("person", person.id.0),
        detail: serde_json::json!({}),
    };
    audit::write(&mut tx, &entry).await?;
    let token = if second_steps::is_on(&service.store, person.id).await? {
        None
    } else {
        let proof = Proof {
            person: person.id,
            secret_hash: secret,
        };
        Some(sign_in::begin(service, &mut tx, &proof, had, (now, shared)).await?)
    };
    tx.commit().await?;
    let person_id = person.id.0;
    if token.is_some() {
        tracing::info!(person = person_id, "signed in with a slip");
    } else {
        tracing::info!(
            person = person_id,
            "took a seat with a slip; the second step is still to come"
        );
    }
    Ok((token, person))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_as_people_type_them() {
        let code = "0AB1CDEFGHJKMNP";
        for typed in ["0AB1C-DEFGH-JKMNP", "oabic defgh jkmnp", " OABLC–DEFGH–JKMNP\n"] {
            assert_eq!(canonical(typed).as_deref(), Some(code), "{typed}");
        }
        for typed in [
            "",
            "0AB1C-DEFGH-JKMN",
            "0AB1C-DEFGH-JKMNPQ",
            "UAB1C-DEFGH-JKMNP",
            "ÄAB1C-DEFGH-JKMNP",
        ] {
            assert_eq!(canonical(typed), None, "{typed}");
        }
        let drawn = draw().unwrap();
        assert_eq!(canonical(&grouped(&drawn)), Some(drawn.clone()));
        assert_ne!(drawn, draw().unwrap());
    }

    /// A code is fifteen letters out of thirty-two, each as likely as every other at its place: 75 bits, of which nobody
    /// tries more than ten with one slip.
    #[test]
    fn codes_cannot_be_guessed() {
        const CODES: usize = 4_000;
        let codes: std::collections::BTreeSet<String> = (0..CODES).map(|_| draw().unwrap()).collect();
        assert_eq!(codes.len(), CODES);
        let mut seen = [[0_u32; 32]; LENGTH];
        for code in &codes {
            for (place, letter) in code.bytes().enumerate() {
                let letter = ALPHABET.iter().position(|a| *a == letter).unwrap();
                seen[place][letter] += 1;
            }
        }
        // 125 of each are to be expected with a standard deviation of 11: none of 480 is seven of these off by chance.
        for (place, counts) in seen.iter().enumerate() {
            assert!(
                counts.iter().all(|n| (48..=202).contains(n)),
                "place {place}: {counts:?}"
            );
        }
    }

    #[test]
    fn pins_that_are_chosen() {
        for pin in ["12345", "abcdef", "111111", "123456", "987654", "12 345", "١٢٣٤٥٦"] {
            assert!(wrong_pin(pin).is_some(), "{pin}");
        }
        for pin in ["271828", "1223334444", "135791"] {
            assert_eq!(wrong_pin(pin), None, "{pin}");
        }
    }
}
