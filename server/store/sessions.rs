//! Sessions by the SHA-256 of their token; the token itself is only in the browser's cookie.

use super::ids::PersonId;
use super::people::{Person, Role};
use super::when::When;
use super::{Store, StoreError, Tx};

/// SHA-256 of a token.
pub type TokenHash = [u8; 32];

/// Who a token belongs to.
#[derive(Debug, Clone)]
pub struct Session {
    /// The person.
    pub person: Person,
    /// When the session was last used, to within a minute.
    pub seen_at: When,
}

/// Begins a session.
///
/// # Errors
/// When the database cannot be written.
pub async fn begin(
    tx: &mut Tx,
    token: &TokenHash,
    person: PersonId,
    now: When,
    expires_at: When,
    shared: bool,
) -> Result<(), StoreError> {
    let token = token.as_slice();
    sqlx::query!(
        "insert into session (token_hash, person, created_at, seen_at, expires_at, shared) values (?, ?, ?, ?, ?, ?)",
        token,
        person,
        now,
        now,
        expires_at,
        shared,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Since when sessions must have been used.
#[derive(Debug, Clone, Copy)]
pub struct Idle {
    /// On a device of one's own.
    pub own: When,
    /// On a device that many people use.
    pub shared: When,
}

/// The session of a token that has not expired and was used lately.
///
/// # Errors
/// When the database does not answer.
pub async fn find(store: &Store, token: &TokenHash, now: When, idle: Idle) -> Result<Option<Session>, StoreError> {
    let token = token.as_slice();
    let row = sqlx::query!(
        r#"select p.id as "id!", p.role as "role: Role", p.name, p.sign_in, s.seen_at
           from session s join person p on p.id = s.person
           where s.token_hash = ? and s.expires_at > ? and s.seen_at > iif(s.shared = 1, ?, ?)"#,
        token,
        now,
        idle.shared,
        idle.own,
    )
    .fetch_optional(store.read())
    .await?;
    Ok(row.map(|r| Session {
        person: Person {
            id: PersonId(r.id),
            role: r.role,
            name: r.name,
            sign_in: r.sign_in,
        },
        seen_at: When::from(r.seen_at),
    }))
}

/// Notes that the session was used.
///
/// # Errors
/// When the database cannot be written.
pub async fn seen(tx: &mut Tx, token: &TokenHash, now: When) -> Result<(), StoreError> {
    let token = token.as_slice();
    sqlx::query!("update session set seen_at = ? where token_hash = ?", now, token)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Ends one session.
///
/// # Errors
/// When the database cannot be written.
pub async fn end(tx: &mut Tx, token: &TokenHash) -> Result<(), StoreError> {
    let token = token.as_slice();
    sqlx::query!("delete from session where token_hash = ?", token)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Removes what has expired or was not used lately.
///
/// # Errors
/// When the database cannot be written.
pub async fn sweep(tx: &mut Tx, now: When, idle: Idle) -> Result<(), StoreError> {
    sqlx::query!(
        "delete from session where expires_at <= ? or seen_at <= iif(shared = 1, ?, ?)",
        now,
        idle.shared,
        idle.own,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// A device on which somebody is signed in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// When it signed in.
    pub since: When,
    /// When it was last used, to within a minute.
    pub seen_at: When,
    /// Whether it is the one that asks.
    pub here: bool,
}

/// The sessions of a person that have not ended, last used first.
///
/// # Errors
/// When the database does not answer.
pub async fn of_person(
    store: &Store,
    person: PersonId,
    here: &TokenHash,
    now: When,
    idle_since: When,
) -> Result<Vec<Device>, StoreError> {
    let here = here.as_slice();
    let rows = sqlx::query!(
        r#"select created_at, seen_at, token_hash = ?1 as "here!: bool" from session
           where person = ?2 and expires_at > ?3 and seen_at > ?4 order by seen_at desc"#,
        here,
        person,
        now,
        idle_since,
    )
    .fetch_all(store.read())
    .await?;
    let devices = rows.into_iter().map(|row| Device {
        since: row.created_at.into(),
        seen_at: row.seen_at.into(),
        here: row.here,
    });
    Ok(devices.collect())
}

/// Ends all sessions of a person but one.
///
/// # Errors
/// When the database cannot be written.
pub async fn end_others(tx: &mut Tx, person: PersonId, but: &TokenHash) -> Result<(), StoreError> {
    let but = but.as_slice();
    sqlx::query!("delete from session where person = ? and token_hash <> ?", person, but)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Ends all sessions of a person.
///
/// # Errors
/// When the database cannot be written.
pub async fn end_all(tx: &mut Tx, person: PersonId) -> Result<(), StoreError> {
    sqlx::query!("delete from session where person = ?", person)
        .execute(tx.connection())
        .await?;
    Ok(())
}
