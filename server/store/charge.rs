//! What decides who is in charge of a person's account: the classes of the person, and who teaches them.

use sqlx::SqliteConnection;

use super::ids::PersonId;
use super::people::Role;
use super::{Store, StoreError, Tx, json_of};

/// One class that a person belongs or belonged to, as one instructor sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tie {
    /// Whose.
    pub person: PersonId,
    /// What the person may do.
    pub role: Role,
    /// Whether the person never had a secret.
    pub is_new: bool,
    /// Whether the account was made for this class.
    pub made_for: bool,
    /// Whether the class runs and the person is in it.
    pub runs: bool,
    /// Whether the instructor teaches it.
    pub taught: bool,
}

async fn ties_of(database: &mut SqliteConnection, people: &[PersonId], by: PersonId) -> Result<Vec<Tie>, StoreError> {
    let people = json_of("the numbers of people", people)?;
    // A seat that was taken with a slip and freed since is not new; an account that the command line made has a secret from the
    // beginning and belongs to no class.
    Ok(sqlx::query_as!(
        Tie,
        r#"select p.id as "person!: PersonId", p.role as "role!: Role",
               p.secret_hash is null and not exists (
                   select 1 from seat_slip s where s.person = p.id and s.used_at is not null) as "is_new!: bool",
               m.joined_at = p.created_at as "made_for!: bool",
               c.archived_at is null and m.left_at is null as "runs!: bool",
               exists (select 1 from class_person t join person i on i.id = t.person and i.role = 'instructor'
                       where t.class = m.class and t.person = ?1 and t.left_at is null) as "taught!: bool"
           from class_person m join person p on p.id = m.person join class c on c.id = m.class
           where m.person in (select value from json_each(?2)) order by p.id, m.joined_at, m.class"#,
        by,
        people,
    )
    .fetch_all(database)
    .await?)
}

/// How many instructors the school has, those not counted whose names were taken out.
///
/// # Errors
/// When the database does not answer.
pub async fn instructors(store: &Store) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select count(*) as "n!" from person p where p.role = 'instructor'
               and not exists (select 1 from forgotten f where f.person = p.id and f.created_at = p.created_at)"#,
    )
    .fetch_one(store.read())
    .await?)
}

/// The classes of some people, each person's in the order in which the person came into them.
///
/// # Errors
/// When the database does not answer.
pub async fn ties(store: &Store, people: &[PersonId], by: PersonId) -> Result<Vec<Tie>, StoreError> {
    let mut reader = store.read().acquire().await?;
    ties_of(&mut reader, people, by).await
}

/// The same of one person as the change in progress sees it.
///
/// # Errors
/// When the database does not answer.
pub async fn ties_now(tx: &mut Tx, person: PersonId, by: PersonId) -> Result<Vec<Tie>, StoreError> {
    ties_of(tx.connection(), &[person], by).await
}
