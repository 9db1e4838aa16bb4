//! Pairs and who is in them: a pair is a group with dates.

use super::ids::{ClassId, PairId, PersonId};
use super::when::When;
use super::{Store, StoreError, Tx, of_json};

/// A pair with the names of who is in it.
#[derive(Debug, Clone)]
pub struct PairLine {
    /// Row.
    pub id: PairId,
    /// Name in the class, as in `A`.
    pub name: String,
    /// Names of its people of now.
    pub people: Vec<String>,
}

/// The pairs of a class in the order in which they were made, with their people of now. A pair that nobody is in any
/// more stands among them if it ever had a plate or a report.
///
/// # Errors
/// When the database does not answer.
pub async fn of_class(store: &Store, class: ClassId) -> Result<Vec<PairLine>, StoreError> {
    let rows = sqlx::query!(
        r#"select r.id as "id!", r.name,
               (select json_group_array(name) from (
                   select p.name as name from pair_person pp join person p on p.id = pp.person
                   where pp.pair = r.id and pp.to_at is null
                   order by p.name)) as "people!: String"
           from pair r where r.class = ? and (
               exists (select 1 from pair_person pp where pp.pair = r.id and pp.to_at is null)
               or exists (select 1 from assignment_plate ap where ap.pair = r.id)
               or exists (select 1 from assignment a join report t on t.assignment = a.id and t.pair = r.id
                          where a.class = r.class))
           order by r.id"#,
        class,
    )
    .fetch_all(store.read())
    .await?;
    rows.into_iter()
        .map(|r| {
            Ok(PairLine {
                id: PairId(r.id),
                name: r.name,
                people: of_json("the names of a pair", &r.people)?,
            })
        })
        .collect()
}

/// The pairs of a class that somebody is in now, without people.
///
/// # Errors
/// When the database does not answer.
pub async fn ids_of_class(tx: &mut Tx, class: ClassId) -> Result<Vec<PairId>, StoreError> {
    let rows = sqlx::query_scalar!(
        r#"select r.id as "id!" from pair r where r.class = ? and exists (
               select 1 from pair_person pp where pp.pair = r.id and pp.to_at is null)
           order by r.id"#,
        class,
    )
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

/// Who was in which pair of a class, when.
#[derive(Debug, Clone, Copy)]
pub struct Stay {
    /// Pair.
    pub pair: PairId,
    /// Person.
    pub person: PersonId,
    /// From when.
    pub from_at: When,
    /// Until when; none while it lasts.
    pub to_at: Option<When>,
}

/// All stays in pairs of a class, as the change in progress sees them.
///
/// # Errors
/// When the database does not answer.
pub async fn stays(tx: &mut Tx, class: ClassId) -> Result<Vec<Stay>, StoreError> {
    Ok(sqlx::query_as!(
        Stay,
        r#"select pp.pair, pp.person, pp.from_at, pp.to_at as "to_at: When"
           from pair_person pp join pair r on r.id = pp.pair where r.class = ? order by pp.id"#,
        class,
    )
    .fetch_all(tx.connection())
    .await?)
}

/// Takes a person out of the pairs of a class from a time on. A stay that would have begun then or later never was.
///
/// # Errors
/// When the database cannot be written.
pub async fn leave(tx: &mut Tx, class: ClassId, person: PersonId, now: When) -> Result<(), StoreError> {
    sqlx::query!(
        "delete from pair_person where person = ?1 and from_at >= ?2 and to_at is null
             and pair in (select id from pair where class = ?3)
             and not exists (select 1 from assignment a join report r on r.assignment = a.id and r.pair = pair_person.pair
                 where a.class = ?3 and r.handed_in_at >= pair_person.from_at)",
        person,
        now,
        class,
    )
    .execute(tx.connection())
    .await?;
    // A clock that was set back meanwhile takes no report from who handed it in.
    sqlx::query!(
        "update pair_person set to_at = max(?2, from_at + 1, coalesce((select max(r.handed_in_at) + 1
                 from assignment a join report r on r.assignment = a.id and r.pair = pair_person.pair
                 where a.class = ?3), 0))
             where person = ?1 and to_at is null and pair in (select id from pair where class = ?3)",
        person,
        now,
        class,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Row and name of every pair that a class ever had.
///
/// # Errors
/// When the database does not answer.
pub async fn names(tx: &mut Tx, class: ClassId) -> Result<Vec<(PairId, String)>, StoreError> {
    let rows = sqlx::query!(
        r#"select id as "id!", name from pair where class = ? order by id"#,
        class
    )
    .fetch_all(tx.connection())
    .await?;
    Ok(rows.into_iter().map(|r| (PairId(r.id), r.name)).collect())
}

/// How the pairs of a class were made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "snake_case")]
pub enum Way {
    /// By hand.
    Hand,
    /// At random.
    Random,
    /// In rotation.
    Rotated,
}

/// Writes down how pairs were made.
///
/// # Errors
/// When the database cannot be written.
pub async fn note_pairing(
    tx: &mut Tx,
    class: ClassId,
    by: PersonId,
    way: Way,
    seed: Option<&str>,
    groups: &str,
    now: When,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into pairing (class, made_at, made_by, way, seed, groups) values (?, ?, ?, ?, ?, ?)",
        class,
        now,
        by,
        way,
        seed,
        groups,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// One time that pairs were made.
#[derive(Debug, Clone)]
pub struct PairingLine {
    /// When.
    pub made_at: When,
    /// By whom; none where the person's data are deleted.
    pub by: Option<String>,
    /// How.
    pub way: Way,
    /// With which seed.
    pub seed: Option<String>,
}

/// When and how the pairs of a class were made, newest first.
///
/// # Errors
/// When the database does not answer.
pub async fn pairings(store: &Store, class: ClassId) -> Result<Vec<PairingLine>, StoreError> {
    Ok(sqlx::query_as!(
        PairingLine,
        r#"select g.made_at, p.name as "by?", g.way as "way: Way", g.seed
           from pairing g left join person p on p.id = g.made_by where g.class = ? order by g.id desc limit 50"#,
        class,
    )
    .fetch_all(store.read())
    .await?)
}

/// One stay of a person in a pair, for the person's page.
#[derive(Debug, Clone)]
pub struct StayLine {
    /// Name of the pair.
    pub pair: String,
    /// From when.
    pub from_at: When,
    /// Until when; none while it lasts.
    pub to_at: Option<When>,
}

/// The pairs of a person in a class, newest first.
///
/// # Errors
/// When the database does not answer.
pub async fn of_person(store: &Store, class: ClassId, person: PersonId) -> Result<Vec<StayLine>, StoreError> {
    Ok(sqlx::query_as!(
        StayLine,
        r#"select r.name as pair, pp.from_at, pp.to_at as "to_at: When"
           from pair_person pp join pair r on r.id = pp.pair
           where r.class = ? and pp.person = ? order by pp.from_at desc, pp.id desc"#,
        class,
        person,
    )
    .fetch_all(store.read())
    .await?)
}
