//! Machines and the turns of pairs at them.

use super::ids::{AssignmentId, ClassId, PairId, PersonId, PlateId, ReportId};
use super::packed::Packed;
use super::when::When;
use super::{Store, StoreError, Tx};

/// A machine.
#[derive(Debug, Clone)]
pub struct Machine {
    /// Row.
    pub id: i64,
    /// Name.
    pub name: String,
}

/// The machines that a class uses.
///
/// # Errors
/// When the database does not answer.
pub async fn machines(store: &Store, class: ClassId) -> Result<Vec<Machine>, StoreError> {
    Ok(sqlx::query_as!(
        Machine,
        r#"select m.id as "id!", m.name from class_machine c join machine m on m.id = c.machine
           where c.class = ? order by m.name"#,
        class,
    )
    .fetch_all(store.read())
    .await?)
}

/// Adds a machine to a class; one of this name that the school has is the same machine.
///
/// # Errors
/// When the database cannot be written.
pub async fn add_machine(tx: &mut Tx, class: ClassId, name: &str) -> Result<(), StoreError> {
    sqlx::query!("insert into machine (name) values (?) on conflict do nothing", name)
        .execute(tx.connection())
        .await?;
    sqlx::query!(
        "insert into class_machine (class, machine) select ?, id from machine where name = ? on conflict do nothing",
        class,
        name,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Takes a machine from a class; turns that have been given at it stay. False where the class does not have it.
///
/// # Errors
/// When the database cannot be written.
pub async fn remove_machine(tx: &mut Tx, class: ClassId, machine: i64) -> Result<bool, StoreError> {
    let removed = sqlx::query!(
        "delete from class_machine where class = ? and machine = ?",
        class,
        machine
    )
    .execute(tx.connection())
    .await?;
    Ok(removed.rows_affected() == 1)
}

/// A turn with the names that pages show.
#[derive(Debug, Clone)]
pub struct TurnLine {
    /// Row.
    pub id: i64,
    /// Machine.
    pub machine: i64,
    /// Its name.
    pub machine_name: String,
    /// Assignment.
    pub assignment: AssignmentId,
    /// Its title.
    pub title: String,
    /// Class of it.
    pub class: ClassId,
    /// Pair.
    pub pair: PairId,
    /// Its name.
    pub pair_name: String,
    /// Plate that the pair has at the turn.
    pub plate: Option<PlateId>,
    /// Its serial number.
    pub serial: Option<String>,
    /// Beginning.
    pub from_at: When,
    /// End.
    pub to_at: When,
}

/// The turns at all machines that touch a time from `from` to `to`, in the order of time. Those of other classes are
/// among them: a machine is one machine.
///
/// # Errors
/// When the database does not answer.
pub async fn between(tx: &mut Tx, from: When, to: When) -> Result<Vec<TurnLine>, StoreError> {
    Ok(sqlx::query_as!(
        TurnLine,
        r#"select t.id as "id!", t.machine, m.name as machine_name, t.assignment, a.title, a.class, t.pair, r.name as pair_name,
               p.id as "plate?: PlateId", p.serial as "serial?", t.from_at, t.to_at
           from machine_turn t join machine m on m.id = t.machine join assignment a on a.id = t.assignment
           join pair r on r.id = t.pair
           left join assignment_plate ap on ap.assignment = t.assignment and ap.pair = t.pair and ap.to_at is null
           left join plate p on p.id = ap.plate
           where t.from_at < ?2 and t.to_at > ?1 order by t.from_at, m.name"#,
        from,
        to,
    )
    .fetch_all(tx.connection())
    .await?)
}

/// The turns of a class that end after `from`, in the order of time.
///
/// # Errors
/// When the database does not answer.
pub async fn of_class(store: &Store, class: ClassId, from: When) -> Result<Vec<TurnLine>, StoreError> {
    Ok(sqlx::query_as!(
        TurnLine,
        r#"select t.id as "id!", t.machine, m.name as machine_name, t.assignment, a.title, a.class, t.pair, r.name as pair_name,
               p.id as "plate?: PlateId", p.serial as "serial?", t.from_at, t.to_at
           from machine_turn t join machine m on m.id = t.machine join assignment a on a.id = t.assignment
           join pair r on r.id = t.pair
           left join assignment_plate ap on ap.assignment = t.assignment and ap.pair = t.pair and ap.to_at is null
           left join plate p on p.id = ap.plate
           where a.class = ?1 and t.to_at > ?2 order by t.from_at, m.name"#,
        class,
        from,
    )
    .fetch_all(store.read())
    .await?)
}

/// How many turns each pair has for an assignment.
///
/// # Errors
/// When the database does not answer.
pub async fn counts(tx: &mut Tx, assignment: AssignmentId) -> Result<Vec<(PairId, i64)>, StoreError> {
    let rows = sqlx::query!(
        r#"select pair, count(*) as "n!: i64" from machine_turn where assignment = ? group by pair"#,
        assignment,
    )
    .fetch_all(tx.connection())
    .await?;
    Ok(rows.into_iter().map(|r| (PairId(r.pair), r.n)).collect())
}

/// Gives a turn.
///
/// # Errors
/// [`StoreError::breaks_unique`] on `machine_turn.machine, machine_turn.from_at` when the machine is taken then.
pub async fn add(
    tx: &mut Tx,
    machine: i64,
    assignment: AssignmentId,
    pair: PairId,
    from_at: When,
    to_at: When,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into machine_turn (machine, assignment, pair, from_at, to_at) values (?, ?, ?, ?, ?)",
        machine,
        assignment,
        pair,
        from_at,
        to_at,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Takes back the turns of an assignment that have not begun.
///
/// # Errors
/// When the database cannot be written.
pub async fn clear(tx: &mut Tx, assignment: AssignmentId, now: When) -> Result<u64, StoreError> {
    let done = sqlx::query!(
        "delete from machine_turn where assignment = ? and from_at > ?",
        assignment,
        now
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected())
}

/// Takes back the turns of a class that have not begun and whose pair nobody is in any more.
///
/// # Errors
/// When the database cannot be written.
pub async fn clear_of_nobody(tx: &mut Tx, class: ClassId, now: When) -> Result<u64, StoreError> {
    let done = sqlx::query!(
        "delete from machine_turn where from_at > ?2 and assignment in (select id from assignment where class = ?1)
             and not exists (select 1 from pair_person pp where pp.pair = machine_turn.pair and pp.to_at is null)",
        class,
        now,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected())
}

/// Lets two turns change their pairs and assignments. What was asked about either is answered by it.
///
/// # Errors
/// When the database cannot be written.
pub async fn swap(tx: &mut Tx, one: &TurnLine, other: &TurnLine, now: When) -> Result<(), StoreError> {
    for (turn, of) in [(one, other), (other, one)] {
        sqlx::query!(
            "update machine_turn set pair = ?, assignment = ? where id = ?",
            of.pair,
            of.assignment,
            turn.id,
        )
        .execute(tx.connection())
        .await?;
        sqlx::query!(
            "update turn_swap set answered_at = ?1, answer = 'withdrawn'
             where answered_at is null and (mine = ?2 or theirs = ?2)",
            now,
            turn.id,
        )
        .execute(tx.connection())
        .await?;
    }
    Ok(())
}

/// A pair's wish to swap turns that nobody has answered.
#[derive(Debug, Clone)]
pub struct Wish {
    /// Row.
    pub id: i64,
    /// Turn of the pair that asks.
    pub mine: i64,
    /// Turn that it wants.
    pub theirs: i64,
}

/// The wishes about turns of a class that nobody has answered.
///
/// # Errors
/// When the database does not answer.
pub async fn wishes(store: &Store, class: ClassId) -> Result<Vec<Wish>, StoreError> {
    Ok(sqlx::query_as!(
        Wish,
        r#"select s.id as "id!", s.mine, s.theirs from turn_swap s join machine_turn t on t.id = s.mine
           join assignment a on a.id = t.assignment where a.class = ? and s.answered_at is null order by s.id"#,
        class,
    )
    .fetch_all(store.read())
    .await?)
}

/// Notes a wish; the same wish twice is one.
///
/// # Errors
/// When the database cannot be written.
pub async fn ask(tx: &mut Tx, mine: i64, theirs: i64, by: PersonId, now: When) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into turn_swap (mine, theirs, asked_by, asked_at) select ?1, ?2, ?3, ?4
         where not exists (select 1 from turn_swap where mine = ?1 and theirs = ?2 and answered_at is null)",
        mine,
        theirs,
        by,
        now,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Answers a wish; false where it was answered before.
///
/// # Errors
/// When the database cannot be written.
pub async fn answer(tx: &mut Tx, wish: i64, yes: bool, now: When) -> Result<bool, StoreError> {
    let answer = if yes { "yes" } else { "no" };
    let done = sqlx::query!(
        "update turn_swap set answered_at = ?, answer = ? where id = ? and answered_at is null",
        now,
        answer,
        wish,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// A draft of a class that is being written.
#[derive(Debug, Clone)]
pub struct DraftLine {
    /// Assignment.
    pub assignment: AssignmentId,
    /// Pair.
    pub pair: PairId,
    /// Its name.
    pub pair_name: String,
    /// Title of the assignment.
    pub title: String,
    /// Plate that the pair has.
    pub plate: Option<PlateId>,
    /// Its serial number.
    pub serial: Option<String>,
    /// What was typed, as JSON.
    pub fields: String,
    /// When it was last changed.
    pub updated_at: When,
}

/// The drafts of a class that were changed since a time, newest first.
///
/// # Errors
/// When the database does not answer.
pub async fn drafts(store: &Store, class: ClassId, since: When) -> Result<Vec<DraftLine>, StoreError> {
    Ok(sqlx::query_as!(
        DraftLine,
        r#"select d.assignment, d.pair, r.name as pair_name, a.title, p.id as "plate?: PlateId", p.serial as "serial?",
               d.fields, d.updated_at
           from draft d join assignment a on a.id = d.assignment join pair r on r.id = d.pair
           left join assignment_plate ap on ap.assignment = d.assignment and ap.pair = d.pair and ap.to_at is null
           left join plate p on p.id = ap.plate
           where a.class = ? and d.updated_at > ? order by d.updated_at desc"#,
        class,
        since,
    )
    .fetch_all(store.read())
    .await?)
}

/// A graded report of a pair that is still there.
#[derive(Debug, Clone)]
pub struct LastReport {
    /// Report.
    pub report: ReportId,
    /// Name of the pair.
    pub pair_name: String,
    /// Title of the assignment.
    pub title: String,
    /// The grade as JSON.
    pub result: Packed,
}

/// The last report of each pair in each assignment of a class, if it is graded, and the pair has its turn at `now` or handed it in
/// since `since`. In the order of the assignments.
///
/// # Errors
/// When the database does not answer.
pub async fn last_reports(
    store: &Store,
    class: ClassId,
    since: When,
    now: When,
) -> Result<Vec<LastReport>, StoreError> {
    Ok(sqlx::query_as!(
        LastReport,
        r#"select r.id as "report!", p.name as pair_name, a.title, g.result as "result: Packed"
           from assignment a join report r on r.assignment = a.id join pair p on p.id = r.pair
           join grade g on g.report = r.id and g.superseded_at is null
           where a.class = ?1
               and r.attempt = (select max(n.attempt) from report n where n.assignment = r.assignment and n.pair = r.pair)
               and (r.handed_in_at >= ?2 or exists (select 1 from machine_turn t where t.assignment = r.assignment
                   and t.pair = r.pair and t.from_at <= ?3 and t.to_at > ?3))
           order by a.due_at, a.id, p.id"#,
        class,
        since,
        now,
    )
    .fetch_all(store.read())
    .await?)
}
