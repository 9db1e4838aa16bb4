//! Classes and who belongs to them.

use super::ids::{ClassId, PersonId};
use super::people::Role;
use super::when::When;
use super::{Store, StoreError, Tx};

/// A class.
#[derive(Debug, Clone)]
pub struct Class {
    /// Row.
    pub id: ClassId,
    /// Name.
    pub name: String,
    /// Term, as the school calls it.
    pub term: String,
    /// IANA name of its time zone.
    pub time_zone: String,
}

/// One line of the list of classes.
#[derive(Debug, Clone)]
pub struct ClassLine {
    /// Row.
    pub id: ClassId,
    /// Name.
    pub name: String,
    /// Term.
    pub term: String,
    /// How many pairs.
    pub pairs: i64,
    /// How many students.
    pub students: i64,
    /// How many assignments.
    pub assignments: i64,
}

/// One person of a class.
#[derive(Debug, Clone)]
pub struct RosterLine {
    /// Row.
    pub person: PersonId,
    /// What the person may do.
    pub role: Role,
    /// Name.
    pub name: String,
    /// What is typed to sign in.
    pub sign_in: String,
    /// Name of the pair that the person is in now.
    pub pair: Option<String>,
}

/// The classes of a person, newest first.
///
/// # Errors
/// When the database does not answer.
pub async fn of_person(store: &Store, person: PersonId) -> Result<Vec<ClassLine>, StoreError> {
    Ok(sqlx::query_as!(
        ClassLine,
        r#"select c.id as "id!", c.name, c.term,
               (select count(*) from pair p where p.class = c.id) as "pairs!: i64",
               (select count(*) from class_person s join person sp on sp.id = s.person
                where s.class = c.id and s.left_at is null and sp.role = 'student') as "students!: i64",
               (select count(*) from assignment a where a.class = c.id) as "assignments!: i64"
           from class c join class_person m on m.class = c.id and m.person = ? and m.left_at is null
           order by c.id desc"#,
        person,
    )
    .fetch_all(store.read())
    .await?)
}

/// A class, if this person belongs to it.
///
/// # Errors
/// When the database does not answer.
pub async fn of(store: &Store, class: ClassId, person: PersonId) -> Result<Option<Class>, StoreError> {
    Ok(sqlx::query_as!(
        Class,
        r#"select c.id as "id!", c.name, c.term, c.time_zone
           from class c join class_person m on m.class = c.id and m.person = ? and m.left_at is null
           where c.id = ?"#,
        person,
        class,
    )
    .fetch_optional(store.read())
    .await?)
}

/// Everybody in a class at `now`: students by name, then its assistants and instructors.
///
/// # Errors
/// When the database does not answer.
pub async fn roster(store: &Store, class: ClassId, now: When) -> Result<Vec<RosterLine>, StoreError> {
    Ok(sqlx::query_as!(
        RosterLine,
        r#"select p.id as "person!", p.role as "role!: Role", p.name as "name!", p.sign_in as "sign_in!", min(r.name) as "pair?: String"
           from class_person m join person p on p.id = m.person
           left join pair_person pp on pp.person = p.id and pp.from_at <= ?1 and (pp.to_at is null or pp.to_at > ?1)
               and pp.pair in (select id from pair where class = ?2)
           left join pair r on r.id = pp.pair
           where m.class = ?2 and m.left_at is null
           group by p.id order by p.role desc, p.name"#,
        now,
        class,
    )
    .fetch_all(store.read())
    .await?)
}

/// Adds a class.
///
/// # Errors
/// When the database cannot be written.
pub async fn add(tx: &mut Tx, name: &str, term: &str, time_zone: &str, now: When) -> Result<ClassId, StoreError> {
    let id = sqlx::query_scalar!(
        r#"insert into class (name, term, time_zone, created_at) values (?, ?, ?, ?) returning id as "id!""#,
        name,
        term,
        time_zone,
        now,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(ClassId(id))
}

/// Puts a person into a class, or back into it.
///
/// # Errors
/// When the database cannot be written.
pub async fn join(tx: &mut Tx, class: ClassId, person: PersonId, now: When) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into class_person (class, person, joined_at) values (?, ?, ?)
         on conflict (class, person) do update set left_at = null",
        class,
        person,
        now,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}
