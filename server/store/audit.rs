//! Who did what and when. Rows are only ever added; words about students leave them with the students' names.

use super::ids::PersonId;
use super::when::When;
use super::{Store, StoreError, Tx};

/// One line of the trail.
#[derive(Debug, Clone)]
pub struct Line {
    /// When.
    pub at: When,
    /// Who; none where it was the server itself or the person's data are deleted.
    pub person: Option<String>,
    /// What was done, as a word of the action.
    pub what: String,
    /// Details as JSON.
    pub detail: String,
}

/// What is written to the trail.
#[derive(Debug, Clone)]
pub struct Entry<'a> {
    /// When.
    pub at: When,
    /// Who; none for the server itself.
    pub person: Option<PersonId>,
    /// What was done.
    pub what: &'a str,
    /// Table of what it was done to, and the row.
    pub about: (&'a str, i64),
    /// Details.
    pub detail: serde_json::Value,
}

/// Writes one line.
///
/// # Errors
/// When the database cannot be written.
pub async fn write(tx: &mut Tx, entry: &Entry<'_>) -> Result<(), StoreError> {
    let (about, about_id) = entry.about;
    let detail = entry.detail.to_string();
    sqlx::query!(
        "insert into audit (at, person, what, about, about_id, detail) values (?, ?, ?, ?, ?, ?)",
        entry.at,
        entry.person,
        entry.what,
        about,
        about_id,
        detail,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Writes what a person did to something, or what was done by itself.
///
/// # Errors
/// When the database cannot be written.
pub async fn note(
    tx: &mut Tx,
    about: (&str, i64),
    what: &str,
    by: impl Into<Option<PersonId>>,
    at: When,
    detail: serde_json::Value,
) -> Result<(), StoreError> {
    let entry = Entry {
        at,
        person: by.into(),
        what,
        about,
        detail,
    };
    write(tx, &entry).await
}

/// The trail of one thing, newest first.
///
/// # Errors
/// When the database does not answer.
pub async fn of(store: &Store, about: &str, about_id: i64) -> Result<Vec<Line>, StoreError> {
    Ok(sqlx::query_as!(
        Line,
        r#"select a.at, p.name as "person?", a.what, a.detail
           from audit a left join person p on p.id = a.person
           where a.about = ? and a.about_id = ? order by a.at desc, a.id desc"#,
        about,
        about_id,
    )
    .fetch_all(store.read())
    .await?)
}
