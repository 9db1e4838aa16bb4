//! Pairs and who is in them: a pair is a group with dates.

use super::ids::{ClassId, PairId, PersonId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// A pair with the names of who is in it.
#[derive(Debug, Clone)]
pub struct PairLine {
    /// Row.
    pub id: PairId,
    /// Name in the class, as in `A`.
    pub name: String,
    /// Names of its people at the time asked for.
    pub people: Vec<String>,
}

/// The pairs of a class in the order in which they were made, with their people at `now`.
///
/// # Errors
/// When the database does not answer.
pub async fn of_class(store: &Store, class: ClassId, now: When) -> Result<Vec<PairLine>, StoreError> {
    let rows = sqlx::query!(
        r#"select r.id as "id!", r.name,
               (select json_group_array(name) from (
                   select p.name as name from pair_person pp join person p on p.id = pp.person
                   where pp.pair = r.id and pp.from_at <= ?1 and (pp.to_at is null or pp.to_at > ?1)
                   order by p.name)) as "people!: String"
           from pair r where r.class = ?2 order by r.id"#,
        now,
        class,
    )
    .fetch_all(store.read())
    .await?;
    let unreadable = |found: &str| StoreError::Unreadable {
        what: "the names of a pair",
        found: found.chars().take(80).collect(),
    };
    rows.into_iter()
        .map(|r| {
            let people = serde_json::from_str(&r.people).map_err(|_| unreadable(&r.people))?;
            Ok(PairLine {
                id: PairId(r.id),
                name: r.name,
                people,
            })
        })
        .collect()
}

/// The pairs of a class, without people.
///
/// # Errors
/// When the database does not answer.
pub async fn ids_of_class(tx: &mut Tx, class: ClassId) -> Result<Vec<PairId>, StoreError> {
    let rows = sqlx::query_scalar!(r#"select id as "id!" from pair where class = ? order by id"#, class)
        .fetch_all(tx.connection())
        .await?;
    Ok(rows.into_iter().map(PairId).collect())
}

/// Adds a pair.
///
/// # Errors
/// [`StoreError::breaks_unique`] on `pair.class, pair.name` when the class has one of this name.
pub async fn add(tx: &mut Tx, class: ClassId, name: &str) -> Result<PairId, StoreError> {
    let id = sqlx::query_scalar!(
        r#"insert into pair (class, name) values (?, ?) returning id as "id!""#,
        class,
        name
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(PairId(id))
}

/// Puts a person into a pair from a time on.
///
/// # Errors
/// When the database cannot be written.
pub async fn join(tx: &mut Tx, pair: PairId, person: PersonId, from_at: When) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into pair_person (pair, person, from_at) values (?, ?, ?)",
        pair,
        person,
        from_at
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}
