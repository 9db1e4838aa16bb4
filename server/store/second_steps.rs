//! The second step at sign-in: sealed secrets, recovery codes by their hash, and who stands between passphrase and code.

use super::ids::PersonId;
use super::people::{Person, Role};
use super::sessions::TokenHash;
use super::when::When;
use super::{Store, StoreError, Tx};

/// SHA-256 of a recovery code.
pub type CodeHash = [u8; 32];

/// The second step of a person.
#[derive(Debug, Clone)]
pub struct SecondStep {
    /// The secret, sealed.
    pub sealed: Vec<u8>,
    /// Since when it is asked for; none where no code was right yet.
    pub confirmed_at: Option<When>,
    /// Recovery codes that nobody used.
    pub codes_left: i64,
}

/// What a person has; none where nothing was begun.
///
/// # Errors
/// When the database does not answer.
pub async fn of(store: &Store, person: PersonId) -> Result<Option<SecondStep>, StoreError> {
    Ok(sqlx::query_as!(
        SecondStep,
        r#"select sealed, confirmed_at as "confirmed_at: When",
               (select count(*) from recovery_code c where c.person = s.person and c.used_at is null) as "codes_left!: i64"
           from second_step s where person = ?"#,
        person,
    )
    .fetch_optional(store.read())
    .await?)
}

/// Whether a second step is asked for when a person signs in.
///
/// # Errors
/// When the database does not answer.
pub async fn is_on(store: &Store, person: PersonId) -> Result<bool, StoreError> {
    Ok(of(store, person).await?.is_some_and(|s| s.confirmed_at.is_some()))
}

/// Begins one, in place of one that was never confirmed. Gives `false` where one is confirmed already.
///
/// # Errors
/// When the database cannot be written.
pub async fn begin(tx: &mut Tx, person: PersonId, sealed: &[u8], now: When) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "insert into second_step (person, sealed, begun_at) values (?, ?, ?)
         on conflict (person) do update set sealed = excluded.sealed, begun_at = excluded.begun_at, last_step = 0
         where confirmed_at is null",
        person,
        sealed,
        now,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// From now on it is asked for.
///
/// # Errors
/// When the database cannot be written.
pub async fn confirm(tx: &mut Tx, person: PersonId, now: When) -> Result<(), StoreError> {
    sqlx::query!("update second_step set confirmed_at = ? where person = ?", now, person)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Notes that the code of a step of the clock was taken. Gives `false` where that step or a later one was taken before.
///
/// # Errors
/// When the database cannot be written.
pub async fn take(tx: &mut Tx, person: PersonId, step: i64) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update second_step set last_step = ?1 where person = ?2 and last_step < ?1",
        step,
        person
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Removes the second step of a person with its recovery codes. Gives whether there was one.
///
/// # Errors
/// When the database cannot be written.
pub async fn remove(tx: &mut Tx, person: PersonId) -> Result<bool, StoreError> {
    sqlx::query!("delete from recovery_code where person = ?", person)
        .execute(tx.connection())
        .await?;
    end_halves(tx, person).await?;
    let done = sqlx::query!("delete from second_step where person = ?", person)
        .execute(tx.connection())
        .await?;
    Ok(done.rows_affected() == 1)
}

/// Puts new recovery codes in the place of all that the person had.
///
/// # Errors
/// When the database cannot be written.
pub async fn set_codes(tx: &mut Tx, person: PersonId, codes: &[CodeHash]) -> Result<(), StoreError> {
    sqlx::query!("delete from recovery_code where person = ?", person)
        .execute(tx.connection())
        .await?;
    for code in codes {
        let code = code.as_slice();
        sqlx::query!(
            "insert into recovery_code (person, code_hash) values (?, ?)",
            person,
            code
        )
        .execute(tx.connection())
        .await?;
    }
    Ok(())
}

/// Uses a recovery code up. Gives `false` where the person has no such code, or used it before.
///
/// # Errors
/// When the database cannot be written.
pub async fn use_code(tx: &mut Tx, person: PersonId, code: &CodeHash, now: When) -> Result<bool, StoreError> {
    let code = code.as_slice();
    let done = sqlx::query!(
        "update recovery_code set used_at = ? where person = ? and code_hash = ? and used_at is null",
        now,
        person,
        code,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Notes that the passphrase was right and the code is still to come. What is over goes.
///
/// # Errors
/// When the database cannot be written.
pub async fn half(tx: &mut Tx, token: &TokenHash, person: PersonId, now: When, until: When) -> Result<(), StoreError> {
    let token = token.as_slice();
    sqlx::query!("delete from half_sign_in where expires_at <= ?", now)
        .execute(tx.connection())
        .await?;
    sqlx::query!(
        "insert into half_sign_in (token_hash, person, expires_at) values (?, ?, ?)",
        token,
        person,
        until,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// The hash of the secret that was right a moment ago, as the change in progress sees it; none where that is over, as after
/// the secret has changed.
///
/// # Errors
/// When the database does not answer.
pub async fn secret_of_half(tx: &mut Tx, token: &TokenHash, now: When) -> Result<Option<String>, StoreError> {
    let token = token.as_slice();
    let hash = sqlx::query_scalar!(
        "select p.secret_hash from half_sign_in h join person p on p.id = h.person
         where h.token_hash = ? and h.expires_at > ?",
        token,
        now,
    )
    .fetch_optional(tx.connection())
    .await?;
    Ok(hash.flatten())
}

/// Whose passphrase was right a moment ago.
///
/// # Errors
/// When the database does not answer.
pub async fn half_of(store: &Store, token: &TokenHash, now: When) -> Result<Option<Person>, StoreError> {
    let token = token.as_slice();
    Ok(sqlx::query_as!(
        Person,
        r#"select p.id as "id!", p.role as "role: Role", p.name, p.sign_in
           from half_sign_in h join person p on p.id = h.person where h.token_hash = ? and h.expires_at > ?"#,
        token,
        now,
    )
    .fetch_optional(store.read())
    .await?)
}

/// Ends everything that stands between passphrase and code of a person.
///
/// # Errors
/// When the database cannot be written.
pub async fn end_halves(tx: &mut Tx, person: PersonId) -> Result<(), StoreError> {
    sqlx::query!("delete from half_sign_in where person = ?", person)
        .execute(tx.connection())
        .await?;
    Ok(())
}
