//! Failed tries to sign in, by the SHA-256 of the name that was typed, whether or not somebody has that name.

use super::when::When;
use super::{Store, StoreError, Tx};

/// SHA-256 of the name as typed, in lower case.
pub type NameHash = [u8; 32];

/// Where a name stands after one more try was counted.
#[derive(Debug, Clone, Copy)]
pub struct Tries {
    /// Tries since the last success or the last lock, this one included.
    pub failed: i64,
    /// Until when it is locked.
    pub locked_until: Option<When>,
}

/// Counts one more try, before it is known whether it succeeds, so that many at once are all counted. Tries before
/// `forget_before` and locks that are over start again at one.
///
/// # Errors
/// When the database cannot be written.
pub async fn count(tx: &mut Tx, name: &NameHash, now: When, forget_before: When) -> Result<Tries, StoreError> {
    let name = name.as_slice();
    let row = sqlx::query!(
        r#"insert into sign_in_try (name_hash, failed, last_at, locked_until) values (?1, 1, ?2, null)
           on conflict (name_hash) do update set
               failed = case
                   when locked_until is not null and locked_until > ?2 then failed
                   when locked_until is not null or last_at < ?3 then 1
                   else failed + 1 end,
               last_at = ?2,
               locked_until = case when locked_until > ?2 then locked_until end
           returning failed, locked_until as "locked_until: When""#,
        name,
        now,
        forget_before,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(Tries {
        failed: row.failed,
        locked_until: row.locked_until,
    })
}

/// Locks a name.
///
/// # Errors
/// When the database cannot be written.
pub async fn lock(tx: &mut Tx, name: &NameHash, until: When) -> Result<(), StoreError> {
    let name = name.as_slice();
    sqlx::query!(
        "update sign_in_try set locked_until = ? where name_hash = ?",
        until,
        name
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Forgets the tries of a name, after a success.
///
/// # Errors
/// When the database cannot be written.
pub async fn forget(tx: &mut Tx, name: &NameHash) -> Result<(), StoreError> {
    let name = name.as_slice();
    sqlx::query!("delete from sign_in_try where name_hash = ?", name)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Removes tries before this time.
///
/// # Errors
/// When the database cannot be written.
pub async fn sweep(tx: &mut Tx, before: When) -> Result<(), StoreError> {
    sqlx::query!("delete from sign_in_try where last_at < ?", before)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Until when a name is locked, if it is at `now`.
///
/// # Errors
/// When the database does not answer.
pub async fn locked(store: &Store, name: &NameHash, now: When) -> Result<Option<When>, StoreError> {
    let name = name.as_slice();
    let until = sqlx::query_scalar!(
        r#"select locked_until as "until: When" from sign_in_try where name_hash = ? and locked_until > ?"#,
        name,
        now,
    )
    .fetch_optional(store.read())
    .await?;
    Ok(until.flatten())
}

/// How many names are counted at the moment.
///
/// # Errors
/// When the database does not answer.
#[cfg(test)]
pub(crate) async fn all(store: &Store) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar("select count(*) from sign_in_try")
        .fetch_one(store.read())
        .await?)
}
