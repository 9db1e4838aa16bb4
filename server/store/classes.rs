//! Classes and who belongs to them.

use super::ids::{ClassId, PairId, PersonId};
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
    /// When it was closed for changes; none while it runs.
    pub archived_at: Option<When>,
    /// How many days after that the names of its students are kept.
    pub keep_days: i64,
    /// When the names of its students were taken out.
    pub forgotten_at: Option<When>,
    /// What happens when the time for keeping them is over.
    pub when_over: WhenOver,
}

/// What happens when the time for keeping the names of an archived class is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "snake_case")]
pub enum WhenOver {
    /// Nothing until a person does it.
    Ask,
    /// Names are taken out; numbers stand in their place.
    Names,
    /// The students are deleted; the numbers of their reports stay.
    Delete,
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
    /// When it was closed for changes.
    pub archived_at: Option<When>,
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
               (select count(distinct pp.pair) from pair p join pair_person pp on pp.pair = p.id and pp.to_at is null
                where p.class = c.id) as "pairs!: i64",
               (select count(*) from class_person s join person sp on sp.id = s.person
                where s.class = c.id and s.left_at is null and sp.role = 'student') as "students!: i64",
               (select count(*) from assignment a where a.class = c.id) as "assignments!: i64",
               c.archived_at as "archived_at: When"
           from class c join class_person m on m.class = c.id and m.person = ? and m.left_at is null
           order by c.archived_at is not null, c.id desc"#,
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
        r#"select c.id as "id!", c.name, c.term, c.time_zone, c.archived_at as "archived_at: When", c.keep_days,
               c.forgotten_at as "forgotten_at: When", c.when_over as "when_over: WhenOver"
           from class c join class_person m on m.class = c.id and m.person = ? and m.left_at is null
           where c.id = ?"#,
        person,
        class,
    )
    .fetch_optional(store.read())
    .await?)
}

/// All classes of the school, for whoever runs the server.
///
/// # Errors
/// When the database does not answer.
pub async fn all(store: &Store) -> Result<Vec<Class>, StoreError> {
    Ok(sqlx::query_as!(
        Class,
        r#"select id as "id!", name, term, time_zone, archived_at as "archived_at: When", keep_days,
               forgotten_at as "forgotten_at: When", when_over as "when_over: WhenOver" from class order by id"#,
    )
    .fetch_all(store.read())
    .await?)
}

/// Everybody in a class now: students by name, then its assistants and instructors.
///
/// # Errors
/// When the database does not answer.
pub async fn roster(store: &Store, class: ClassId) -> Result<Vec<RosterLine>, StoreError> {
    Ok(sqlx::query_as!(
        RosterLine,
        r#"select p.id as "person!", p.role as "role!: Role", p.name as "name!", p.sign_in as "sign_in!", min(r.name) as "pair?: String"
           from class_person m join person p on p.id = m.person
           left join pair_person pp on pp.person = p.id and pp.to_at is null
               and pp.pair in (select id from pair where class = ?1)
           left join pair r on r.id = pp.pair
           where m.class = ?1 and m.left_at is null
           group by p.id order by p.role desc, p.name"#,
        class,
    )
    .fetch_all(store.read())
    .await?)
}

/// One person of a class with what the people's page shows.
#[derive(Debug, Clone)]
pub struct Member {
    /// Row.
    pub person: PersonId,
    /// What the person may do.
    pub role: Role,
    /// Name.
    pub name: String,
    /// What is typed to sign in.
    pub sign_in: String,
    /// The school's identifier.
    pub school_id: Option<String>,
    /// Address.
    pub email: Option<String>,
    /// When the person left; none while here.
    pub left_at: Option<When>,
    /// Whether the seat is taken: the person has a PIN or passphrase.
    pub has_seat: bool,
    /// Until when a slip that nobody has used yet is good.
    pub slip_until: Option<When>,
    /// Pair that the person is in now.
    pub pair: Option<PairId>,
    /// Its name.
    pub pair_name: Option<String>,
}

/// Everybody who belongs or belonged to a class: students by name, then its instructors and assistants.
///
/// # Errors
/// When the database does not answer.
pub async fn members(store: &Store, class: ClassId, now: When) -> Result<Vec<Member>, StoreError> {
    Ok(sqlx::query_as!(
        Member,
        r#"select p.id as "person!", p.role as "role!: Role", p.name as "name!", p.sign_in as "sign_in!", p.school_id, p.email,
               m.left_at as "left_at: When", p.secret_hash is not null as "has_seat!: bool",
               (select max(s.expires_at) from seat_slip s where s.person = p.id and s.used_at is null
                and s.expires_at > ?1) as "slip_until: When",
               r.id as "pair?: PairId", r.name as "pair_name?"
           from class_person m join person p on p.id = m.person
           left join pair r on r.class = m.class and r.id = (
               select max(pp.pair) from pair_person pp join pair q on q.id = pp.pair and q.class = ?2
               where pp.person = p.id and pp.to_at is null)
           where m.class = ?2 order by m.left_at is not null, p.role desc, p.name, p.id"#,
        now,
        class,
    )
    .fetch_all(store.read())
    .await?)
}

/// Whether a person belongs to a class, as the change in progress sees it: none where the person never did, else when
/// the person left.
///
/// # Errors
/// When the database does not answer.
pub async fn membership(tx: &mut Tx, class: ClassId, person: PersonId) -> Result<Option<Option<When>>, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select left_at as "left_at: When" from class_person where class = ? and person = ?"#,
        class,
        person,
    )
    .fetch_optional(tx.connection())
    .await?)
}

/// Notes that a person has left a class.
///
/// # Errors
/// When the database cannot be written.
pub async fn leave(tx: &mut Tx, class: ClassId, person: PersonId, now: When) -> Result<(), StoreError> {
    sqlx::query!(
        "update class_person set left_at = ? where class = ? and person = ? and left_at is null",
        now,
        class,
        person,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// How many instructors belong to a class now.
///
/// # Errors
/// When the database does not answer.
pub async fn instructors(tx: &mut Tx, class: ClassId) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select count(*) as "n!: i64" from class_person m join person p on p.id = m.person
           where m.class = ? and m.left_at is null and p.role = 'instructor'"#,
        class,
    )
    .fetch_one(tx.connection())
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

/// Whether a class is closed for changes.
///
/// # Errors
/// When the database does not answer.
pub async fn is_archived(store: &Store, class: ClassId) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select 1 from class where id = ? and archived_at is not null) as "is!: bool""#,
        class,
    )
    .fetch_one(store.read())
    .await?)
}
