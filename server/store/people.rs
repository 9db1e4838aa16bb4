//! Persons and their secrets' hashes.

use super::ids::PersonId;
use super::when::When;
use super::{Store, StoreError, Tx};

/// What a person may do here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, sqlx::Type)]
#[sqlx(rename_all = "snake_case")]
pub enum Role {
    /// Everything.
    Instructor,
    /// Reviews reports; does not see what plates really are.
    Assistant,
    /// Hands in reports.
    Student,
}

/// A person without the secret.
#[derive(Debug, Clone)]
pub struct Person {
    /// Row.
    pub id: PersonId,
    /// What the person may do.
    pub role: Role,
    /// Name for people.
    pub name: String,
    /// What is typed to sign in.
    pub sign_in: String,
}

/// A person who is about to be added.
#[derive(Debug, Clone)]
pub struct NewPerson<'a> {
    /// What the person may do.
    pub role: Role,
    /// Name for people.
    pub name: &'a str,
    /// What is typed to sign in, in lower case.
    pub sign_in: &'a str,
    /// argon2id in PHC form; none until the seat is taken.
    pub secret_hash: Option<&'a str>,
}

/// Adds a person.
///
/// # Errors
/// [`StoreError::breaks_unique`] on `person.sign_in` when the name is taken.
pub async fn add(tx: &mut Tx, person: &NewPerson<'_>, now: When) -> Result<PersonId, StoreError> {
    let id = sqlx::query_scalar!(
        r#"insert into person (role, name, sign_in, secret_hash, created_at) values (?, ?, ?, ?, ?) returning id as "id!""#,
        person.role,
        person.name,
        person.sign_in,
        person.secret_hash,
        now,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(PersonId(id))
}

/// The person who signs in by this name, with the hash of the secret.
///
/// # Errors
/// When the database does not answer.
pub async fn by_sign_in(store: &Store, sign_in: &str) -> Result<Option<(Person, Option<String>)>, StoreError> {
    let row = sqlx::query!(
        r#"select id as "id!", role as "role: Role", name, sign_in, secret_hash from person where sign_in = ?"#,
        sign_in,
    )
    .fetch_optional(store.read())
    .await?;
    Ok(row.map(|r| {
        let person = Person {
            id: PersonId(r.id),
            role: r.role,
            name: r.name,
            sign_in: r.sign_in,
        };
        (person, r.secret_hash)
    }))
}

/// Puts another hash in place, as when the parameters of hashing have grown or the secret changed.
///
/// # Errors
/// When the database cannot be written.
pub async fn set_secret(tx: &mut Tx, person: PersonId, secret_hash: &str) -> Result<(), StoreError> {
    sqlx::query!("update person set secret_hash = ? where id = ?", secret_hash, person)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// How many persons of this role there are.
///
/// # Errors
/// When the database does not answer.
pub async fn count(store: &Store, role: Role) -> Result<i64, StoreError> {
    Ok(
        sqlx::query_scalar!(r#"select count(*) as "n!: i64" from person where role = ?"#, role)
            .fetch_one(store.read())
            .await?,
    )
}
