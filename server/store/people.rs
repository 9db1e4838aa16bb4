//! Persons and their secrets' hashes.

use super::ids::{ClassId, PersonId};
use super::when::When;
use super::{Store, StoreError, Tx, second_steps, sessions};

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

/// Gives a seat that is free its secret. What stands between passphrase and code of the second step is over.
///
/// # Errors
/// When the database cannot be written.
pub async fn set_secret(tx: &mut Tx, person: PersonId, secret_hash: &str) -> Result<(), StoreError> {
    sqlx::query!("update person set secret_hash = ? where id = ?", secret_hash, person)
        .execute(tx.connection())
        .await?;
    second_steps::end_halves(tx, person).await
}

/// Whether the person's secret is the one with this hash, as the change in progress sees it: nobody changes it before that is
/// kept.
///
/// # Errors
/// When the database does not answer.
pub async fn has_secret(tx: &mut Tx, person: PersonId, secret_hash: &str) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select 1 from person where id = ? and secret_hash = ?) as "has!: bool""#,
        person,
        secret_hash,
    )
    .fetch_one(tx.connection())
    .await?)
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

/// Writes the school's identifier and the address of a person; none leaves what is there.
///
/// # Errors
/// [`StoreError::breaks_unique`] on `person.school_id` when somebody else has it.
pub async fn describe(
    tx: &mut Tx,
    person: PersonId,
    school_id: Option<&str>,
    email: Option<&str>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "update person set school_id = coalesce(?, school_id), email = coalesce(?, email) where id = ?",
        school_id,
        email,
        person,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Gives a person another name.
///
/// # Errors
/// When the database cannot be written.
pub async fn rename(tx: &mut Tx, person: PersonId, name: &str) -> Result<(), StoreError> {
    sqlx::query!("update person set name = ? where id = ?", name, person)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Takes a person's secret away and ends all sessions, whole and half: the seat is free again.
///
/// # Errors
/// When the database cannot be written.
pub async fn free_seat(tx: &mut Tx, person: PersonId) -> Result<(), StoreError> {
    sqlx::query!("update person set secret_hash = null where id = ?", person)
        .execute(tx.connection())
        .await?;
    second_steps::end_halves(tx, person).await?;
    sessions::end_all(tx, person).await
}

/// The person with this identifier of the school, as the change in progress sees it.
///
/// # Errors
/// When the database does not answer.
pub async fn by_school_id(tx: &mut Tx, school_id: &str) -> Result<Option<Person>, StoreError> {
    Ok(sqlx::query_as!(
        Person,
        r#"select id as "id!", role as "role: Role", name, sign_in from person where school_id = ? collate nocase"#,
        school_id,
    )
    .fetch_optional(tx.connection())
    .await?)
}

/// People of a class with this name, with and without those who left, in the order in which they were added.
///
/// # Errors
/// When the database does not answer.
pub async fn by_name_in_class(tx: &mut Tx, class: ClassId, name: &str) -> Result<Vec<Person>, StoreError> {
    Ok(sqlx::query_as!(
        Person,
        r#"select p.id as "id!", p.role as "role: Role", p.name, p.sign_in from person p
           join class_person m on m.person = p.id and m.class = ? where p.name = ? order by p.id"#,
        class,
        name,
    )
    .fetch_all(tx.connection())
    .await?)
}

/// The person who signs in by this name, as the change in progress sees it.
///
/// # Errors
/// When the database does not answer.
pub async fn with_sign_in(tx: &mut Tx, sign_in: &str) -> Result<Option<Person>, StoreError> {
    Ok(sqlx::query_as!(
        Person,
        r#"select id as "id!", role as "role: Role", name, sign_in from person where sign_in = ?"#,
        sign_in,
    )
    .fetch_optional(tx.connection())
    .await?)
}

/// A person.
///
/// # Errors
/// When the database does not answer.
pub async fn one(store: &Store, person: PersonId) -> Result<Option<Person>, StoreError> {
    Ok(sqlx::query_as!(
        Person,
        r#"select id as "id!", role as "role: Role", name, sign_in from person where id = ?"#,
        person,
    )
    .fetch_optional(store.read())
    .await?)
}
