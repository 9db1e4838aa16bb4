//! Everything that the gradebook of a class is made of, in one aggregated row: a statement costs a hop between threads,
//! so one fat one.

use std::collections::{BTreeMap, BTreeSet};

use serde::Deserialize;

use super::ids::{AdjustmentId, AssignmentId, ClassId, PairId, PersonId, ReportId};
use super::when::When;
use super::{Store, StoreError, Tx, of_json};

/// What cannot be read, should it be so.
const BOOK: &str = "the gradebook";

/// One report as far as the gradebook needs it. The order of the fields is that of the query, here and below.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Cell {
    /// Assignment.
    pub assignment: AssignmentId,
    /// Pair.
    pub pair: PairId,
    /// Report.
    pub report: ReportId,
    /// Attempt.
    pub attempt: i64,
    /// When it was handed in.
    pub handed_in_at: When,
    /// Computed mark, before everything else.
    pub mark: Option<String>,
    /// Mark that a person set.
    pub set: Option<String>,
    /// Whether a grade has been computed.
    pub graded: i64,
    /// Whether it waits for a person.
    pub waits: i64,
    /// Whether it is on another plate than the pair was given.
    pub other_plate: i64,
}

/// A student of the class.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Student {
    /// Person.
    pub person: PersonId,
    /// Name.
    pub name: String,
    /// The school's own identifier.
    pub school_id: Option<String>,
    /// When the student came into the class.
    pub joined_at: When,
}

/// Who was in which pair, and when.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub struct Member {
    /// Person.
    pub person: PersonId,
    /// Pair.
    pub pair: PairId,
    /// From when.
    pub from_at: When,
    /// Until when; none is still.
    pub to_at: Option<When>,
}

/// Points of one student.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Adjusted {
    /// Row.
    pub id: AdjustmentId,
    /// Assignment.
    pub assignment: AssignmentId,
    /// Whose.
    pub person: PersonId,
    /// More or fewer.
    pub points: String,
    /// Why.
    pub reason: String,
}

/// How an assignment stands in the gradebook.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Column {
    /// Assignment.
    pub assignment: AssignmentId,
    /// How much it counts.
    pub weight: String,
    /// Whether a photo or PDF of the sheet is wanted.
    pub wants_evidence: i64,
}

/// What the gradebook of a class is made of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Book {
    /// Every report, by assignment, pair and attempt.
    pub cells: Vec<Cell>,
    /// Students who are in the class, by name.
    pub students: Vec<Student>,
    /// Who was in which pair.
    pub members: Vec<Member>,
    /// Points of single students.
    pub adjusted: Vec<Adjusted>,
    /// Who is excused from what.
    pub excused: Vec<(AssignmentId, PersonId)>,
    /// Other due times of single pairs.
    pub extended: Vec<(AssignmentId, PairId, When)>,
    /// Assignments that do not stand as usual.
    pub columns: Vec<Column>,
    /// How many of the lowest marks are dropped.
    pub drops: i64,
}

/// The reports of an assignment as they are read: pair, report, attempt, when it was handed in, and the computed mark; that is empty where
/// the grade has none, and none where there is no grade.
type OfAssignment = (AssignmentId, Vec<(PairId, ReportId, i64, When, Option<String>)>);

/// What few reports of a class have, so that it is not said of each that it has not.
#[derive(Debug, Default)]
struct Beside {
    set: BTreeMap<ReportId, String>,
    /// Whether what was settled is that it does not count.
    other_plate: BTreeMap<ReportId, bool>,
    waits: BTreeSet<ReportId>,
}

impl Beside {
    /// The report as the gradebook takes it; none where it does not count.
    fn cell(
        &mut self,
        assignment: AssignmentId,
        (pair, report, attempt, handed_in_at, mark): (PairId, ReportId, i64, When, Option<String>),
    ) -> Option<Cell> {
        let other_plate = self.other_plate.get(&report);
        (other_plate != Some(&true)).then(|| Cell {
            assignment,
            pair,
            report,
            attempt,
            handed_in_at,
            graded: i64::from(mark.is_some()),
            mark: mark.filter(|m| !m.is_empty()),
            set: self.set.remove(&report),
            waits: i64::from(self.waits.contains(&report)),
            other_plate: i64::from(other_plate.is_some()),
        })
    }
}

/// The gradebook as it is read: lists as JSON.
struct AsRead {
    cells: String,
    set: String,
    other_plate: String,
    waits: String,
    asked: String,
    students: String,
    members: String,
    adjusted: String,
    excused: String,
    extended: String,
    columns: String,
    drops: i64,
}

async fn read(store: &Store, class: ClassId) -> Result<AsRead, StoreError> {
    Ok(sqlx::query_as!(
        AsRead,
        r#"select
               (select json_group_array(json_array(a.id, (
                    select json_group_array(json_array(r.pair, r.id, r.attempt, r.handed_in_at,
                        case when g.report is not null then coalesce(g.mark, '') end))
                    from report r left join grade g on g.report = r.id and g.superseded_at is null
                    where r.assignment = a.id)))
                from assignment a where a.class = ?1) as "cells!: String",
               (select json_group_array(json_array(o.report, o.mark))
                from assignment a cross join report r on r.assignment = a.id
                cross join mark_override o on o.report = r.id and o.undone_at is null
                where a.class = ?1) as "set!: String",
               (select json_group_array(json_array(o.report, json(iif(o.settled is 'not', 'true', 'false'))))
                from assignment a cross join report r on r.assignment = a.id cross join other_plate o on o.report = r.id
                where a.class = ?1) as "other_plate!: String",
               (select json_group_array(t.report)
                from assignment a cross join report r on r.assignment = a.id cross join attention t on t.report = r.id
                left join reviewed d on d.report = r.id
                where a.class = ?1 and t.found_at > coalesce(d.at, -1)) as "waits!: String",
               (select json_group_array(q.report)
                from assignment a cross join report r on r.assignment = a.id cross join query q on q.report = r.id
                where a.class = ?1 and q.answer is null) as "asked!: String",
               (select json_group_array(json_array(id, name, school_id, joined_at))
                from (select p.id, p.name, p.school_id, m.joined_at from class_person m join person p on p.id = m.person
                      where m.class = ?1 and m.left_at is null and p.role = 'student' order by p.name, p.id)
               ) as "students!: String",
               (select json_group_array(json_array(pp.person, pp.pair, pp.from_at, pp.to_at))
                from pair r join pair_person pp on pp.pair = r.id where r.class = ?1) as "members!: String",
               (select json_group_array(json_array(j.id, j.assignment, j.person, j.points, j.reason))
                from assignment a join adjustment j on j.assignment = a.id
                where a.class = ?1 and j.undone_at is null) as "adjusted!: String",
               (select json_group_array(json_array(x.assignment, x.person))
                from assignment a join excuse x on x.assignment = a.id where a.class = ?1) as "excused!: String",
               (select json_group_array(json_array(x.assignment, x.pair, x.due_at))
                from assignment a join extension x on x.assignment = a.id where a.class = ?1) as "extended!: String",
               (select json_group_array(json_array(c.assignment, c.weight, c.wants_evidence))
                from assignment a join gradebook_column c on c.assignment = a.id
                where a.class = ?1) as "columns!: String",
               coalesce((select drops from gradebook_rule where class = ?1), 0) as "drops!: i64""#,
        class,
    )
    .fetch_one(store.read())
    .await?)
}

impl Beside {
    fn of(row: &AsRead) -> Result<Self, StoreError> {
        let found: Vec<ReportId> = of_json(BOOK, &row.waits)?;
        let asked: Vec<ReportId> = of_json(BOOK, &row.asked)?;
        let set: Vec<(ReportId, String)> = of_json(BOOK, &row.set)?;
        let other_plate: Vec<(ReportId, bool)> = of_json(BOOK, &row.other_plate)?;
        Ok(Self {
            set: set.into_iter().collect(),
            other_plate: other_plate.into_iter().collect(),
            waits: found.into_iter().chain(asked).collect(),
        })
    }
}

/// All of a class; what was settled not to count is as if it were not handed in.
///
/// # Errors
/// When the database does not answer or the row cannot be read.
pub async fn of_class(store: &Store, class: ClassId) -> Result<Book, StoreError> {
    let row = read(store, class).await?;
    let mut beside = Beside::of(&row)?;
    let of_assignments: Vec<OfAssignment> = of_json(BOOK, &row.cells)?;
    let cells = of_assignments
        .into_iter()
        .flat_map(|(a, reports)| reports.into_iter().map(move |r| (a, r)));
    let mut cells: Vec<Cell> = cells.filter_map(|(a, report)| beside.cell(a, report)).collect();
    cells.sort_unstable_by_key(|c| (c.assignment, c.pair, c.attempt));
    Ok(Book {
        cells,
        students: of_json(BOOK, &row.students)?,
        members: of_json(BOOK, &row.members)?,
        adjusted: of_json(BOOK, &row.adjusted)?,
        excused: of_json(BOOK, &row.excused)?,
        extended: of_json(BOOK, &row.extended)?,
        columns: of_json(BOOK, &row.columns)?,
        drops: row.drops,
    })
}

/// What the mark of one student for one assignment is made of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OwnWork {
    /// Reports of the pairs that the student was in when they were handed in, first one first, each with the time until which
    /// that pair had to hand in.
    pub cells: Vec<(Cell, When)>,
    /// Points of this student.
    pub adjusted: Vec<Adjusted>,
    /// Whether the student is excused from it.
    pub excused: bool,
}

/// What the mark of one student for one assignment is made of; what was settled not to count is as if it were not handed in.
///
/// # Errors
/// When the database does not answer or the row cannot be read.
pub async fn of_student(store: &Store, assignment: AssignmentId, student: PersonId) -> Result<OwnWork, StoreError> {
    let row = sqlx::query!(
        r#"select
               (select json_group_array(json_array(json_array(r.assignment, r.pair, r.id, r.attempt, r.handed_in_at, g.mark,
                        (select o.mark from mark_override o where o.report = r.id and o.undone_at is null),
                        g.report is not null, 0, o.report is not null),
                        coalesce((select x.due_at from extension x where x.assignment = r.assignment and x.pair = r.pair), a.due_at)))
                from pair_person pp join report r on r.pair = pp.pair and r.assignment = ?1
                    and pp.from_at <= r.handed_in_at and (pp.to_at is null or pp.to_at > r.handed_in_at)
                join assignment a on a.id = r.assignment
                left join grade g on g.report = r.id and g.superseded_at is null
                left join other_plate o on o.report = r.id
                where pp.person = ?2 and o.settled is not 'not') as "cells!: String",
               (select json_group_array(json_array(j.id, j.assignment, j.person, j.points, j.reason)) from adjustment j
                where j.assignment = ?1 and j.person = ?2 and j.undone_at is null) as "adjusted!: String",
               exists (select 1 from excuse x where x.assignment = ?1 and x.person = ?2) as "excused!: bool""#,
        assignment,
        student,
    )
    .fetch_one(store.read())
    .await?;
    Ok(OwnWork {
        cells: of_json(BOOK, &row.cells)?,
        adjusted: of_json(BOOK, &row.adjusted)?,
        excused: row.excused,
    })
}

/// Whether a person is a student of the class of an assignment, or was one.
///
/// # Errors
/// When the database does not answer.
pub async fn has_student(store: &Store, assignment: AssignmentId, student: PersonId) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select 1 from assignment a join class_person m on m.class = a.class
           join person p on p.id = m.person and p.role = 'student'
           where a.id = ? and p.id = ?) as "is!: bool""#,
        assignment,
        student,
    )
    .fetch_one(store.read())
    .await?)
}

/// When a pair has to hand in; none where it is as for everybody.
///
/// # Errors
/// When the database does not answer.
pub async fn extended_to(store: &Store, assignment: AssignmentId, pair: PairId) -> Result<Option<When>, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select due_at as "due_at: When" from extension where assignment = ? and pair = ?"#,
        assignment,
        pair,
    )
    .fetch_optional(store.read())
    .await?)
}

/// Says how an assignment stands in the gradebook.
///
/// # Errors
/// When the database cannot be written.
pub async fn set_column(
    tx: &mut Tx,
    assignment: AssignmentId,
    weight: rust_decimal::Decimal,
    wants_evidence: bool,
) -> Result<(), StoreError> {
    let weight = weight.to_string();
    sqlx::query!(
        "insert into gradebook_column (assignment, weight, wants_evidence) values (?, ?, ?)
         on conflict (assignment) do update set weight = excluded.weight, wants_evidence = excluded.wants_evidence",
        assignment,
        weight,
        wants_evidence,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Says how many of the lowest marks are dropped.
///
/// # Errors
/// When the database cannot be written.
pub async fn set_drops(tx: &mut Tx, class: ClassId, drops: i64) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into gradebook_rule (class, drops) values (?, ?)
         on conflict (class) do update set drops = excluded.drops",
        class,
        drops,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}
