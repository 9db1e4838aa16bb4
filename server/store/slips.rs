//! Printed slips with which a person takes a seat, once. The database has the hash of a code and never the code.

use super::ids::PersonId;
use super::people::{Person, Role};
use super::when::When;
use super::{Store, StoreError, Tx};

/// SHA-256 of a code.
pub type CodeHash = [u8; 32];

/// Adds a slip; slips that the person has not used are good no more. `by` is none for the command line.
///
/// # Errors
/// When the database cannot be written.
pub async fn add(
    tx: &mut Tx,
    person: PersonId,
    code: &CodeHash,
    now: When,
    by: Option<PersonId>,
    expires_at: When,
) -> Result<(), StoreError> {
    let code = code.as_slice();
    cancel(tx, person).await?;
    sqlx::query!(
        "insert into seat_slip (person, code_hash, made_at, made_by, expires_at) values (?, ?, ?, ?, ?)",
        person,
        code,
        now,
        by,
        expires_at,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Removes the slips that a person has not used.
///
/// # Errors
/// When the database cannot be written.
pub async fn cancel(tx: &mut Tx, person: PersonId) -> Result<(), StoreError> {
    sqlx::query!("delete from seat_slip where person = ? and used_at is null", person)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Whose seat a code is for, if it is good at `now`.
///
/// # Errors
/// When the database does not answer.
pub async fn whose(store: &Store, code: &CodeHash, now: When) -> Result<Option<Person>, StoreError> {
    let code = code.as_slice();
    Ok(sqlx::query_as!(
        Person,
        r#"select p.id as "id!", p.role as "role: Role", p.name, p.sign_in
           from seat_slip s join person p on p.id = s.person
           where s.code_hash = ? and s.used_at is null and s.expires_at > ?"#,
        code,
        now,
    )
    .fetch_optional(store.read())
    .await?)
}

/// Uses a slip up; false where somebody was quicker or it is good no more.
///
/// # Errors
/// When the database cannot be written.
pub async fn use_up(tx: &mut Tx, code: &CodeHash, now: When) -> Result<bool, StoreError> {
    let code = code.as_slice();
    let done = sqlx::query!(
        "update seat_slip set used_at = ?1 where code_hash = ?2 and used_at is null and expires_at > ?1",
        now,
        code,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() == 1)
}
