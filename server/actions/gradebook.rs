//! The gradebook of a class: pairs or students by assignments. Every mark goes through `grading::settled`.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::Service;
use super::standing;
use crate::grading::grade::Line;
use crate::grading::settled::{self, Part, Settled, Total};
use crate::store::assignments::{self, Assignment};
use crate::store::classes::Class;
use crate::store::gradebook::{self, Book, Member, Student};
use crate::store::ids::{AdjustmentId, AssignmentId, ClassId, PairId, PersonId, ReportId};
use crate::store::versions::{self, Thing};
use crate::store::when::When;
use crate::store::{Store, StoreError, audit, pairs};

/// Work on one assignment.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// All attempts with their marks after the late rule, first attempt first.
    pub attempts: Vec<(ReportId, Option<Decimal>)>,
    /// The mark that counts, with what is particular to the student.
    pub mark: Option<Decimal>,
    /// Whole minutes that the last attempt is late.
    pub minutes_late: u64,
    /// Whether one of the attempts waits for a person.
    pub waits: bool,
    /// Whether an attempt has no grade yet.
    pub being_graded: bool,
    /// Whether a person set the mark of one of the attempts.
    pub is_set: bool,
    /// Whether one of the attempts is on another plate than the pair was given.
    pub other_plate: bool,
    /// Points that this student alone has.
    pub adjusted: Vec<(AdjustmentId, settled::Adjustment)>,
}

impl Standing {
    /// The mark that counts, with what made it of the attempts.
    #[must_use]
    pub fn settled(&self, assignment: &Assignment) -> Settled {
        let marks: Vec<Option<Decimal>> = self.attempts.iter().map(|(_, mark)| *mark).collect();
        standing::settled(assignment, &marks, &points(&self.adjusted))
    }
}

fn points(adjusted: &[(AdjustmentId, settled::Adjustment)]) -> Vec<settled::Adjustment> {
    adjusted.iter().map(|(_, a)| a.clone()).collect()
}

/// One cell of the gradebook.
#[derive(Debug, Clone, PartialEq)]
pub enum Entry {
    /// Handed in.
    Done(Standing),
    /// Not handed in, and the due time has passed.
    Missing,
    /// Not handed in, and there is time yet.
    Open,
    /// It has not opened.
    NotOpen,
    /// The student does not have to do it.
    Excused,
    /// The student or pair was not there then.
    NotThere,
}

impl Entry {
    /// How it enters a total.
    #[must_use]
    pub fn part(&self) -> Part {
        match self {
            Self::Done(done) => done.mark.map_or(Part::LeftOut, Part::Mark),
            Self::Missing => Part::Missing,
            Self::Open | Self::NotOpen | Self::Excused | Self::NotThere => Part::LeftOut,
        }
    }
}

/// A column.
#[derive(Debug, Clone)]
pub struct Column {
    /// The assignment.
    pub assignment: Assignment,
    /// How much it counts.
    pub weight: Decimal,
    /// Whether a photo or PDF of the sheet is wanted.
    pub wants_evidence: bool,
}

/// Whose line it is.
#[derive(Debug, Clone)]
pub enum Whose {
    /// A pair with its people of now.
    Pair(pairs::PairLine),
    /// A student, and the name of the pair that the student is in now.
    Student(Student, String),
}

/// One line of the gradebook.
#[derive(Debug, Clone)]
pub struct Row {
    /// Whose.
    pub whose: Whose,
    /// One for each column.
    pub entries: Vec<Entry>,
    /// Of all of them.
    pub total: Total,
}

/// The whole gradebook.
#[derive(Debug, Clone)]
pub struct Gradebook {
    /// Soonest due first.
    pub columns: Vec<Column>,
    /// One for each pair or student.
    pub rows: Vec<Row>,
    /// How many of the lowest marks are dropped.
    pub drops: usize,
}

impl Gradebook {
    /// What made the total of a line.
    #[must_use]
    pub fn total_lines(&self, row: &Row) -> Vec<Line> {
        settled::total_lines(&parts(&self.columns, &row.entries), self.drops)
    }
}

/// How the entries of a line enter its total.
fn parts<'a>(columns: &'a [Column], entries: &[Entry]) -> Vec<settled::Entry<'a>> {
    let part = |(column, entry): (&'a Column, &Entry)| settled::Entry {
        title: &column.assignment.title,
        weight: column.weight,
        part: entry.part(),
    };
    columns.iter().zip(entries).map(part).collect()
}

/// What the lines are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    /// One line for each pair.
    Pairs,
    /// One for each student, with what is particular to the student.
    Students,
}

/// The gradebook of a class.
///
/// # Errors
/// When the database does not answer.
pub async fn of_class(store: &Store, class: &Class, by: By, now: When) -> Result<Gradebook, StoreError> {
    let (all, pairs, book) = tokio::try_join!(
        assignments::all_of_class(store, class.id),
        pairs::of_class(store, class.id),
        gradebook::of_class(store, class.id),
    )?;
    let columns = columns(all, &book)?;
    let making = Making::new(&columns, &book, now)?;
    let rows = match by {
        By::Pairs => pairs.into_iter().filter_map(|pair| making.pair(pair)).collect(),
        By::Students => {
            let names: BTreeMap<PairId, String> = pairs.into_iter().map(|p| (p.id, p.name)).collect();
            book.students.iter().map(|s| making.student(s, &names)).collect()
        }
    };
    Ok(Gradebook {
        drops: making.drops,
        rows,
        columns,
    })
}

/// The mark of one student for one assignment, as in the gradebook; none where nothing was handed in.
///
/// # Errors
/// When the database does not answer.
pub async fn of_student(
    store: &Store,
    assignment: &Assignment,
    student: PersonId,
) -> Result<Option<Entry>, StoreError> {
    let work = gradebook::of_student(store, assignment.id, student).await?;
    if work.excused {
        return Ok(Some(Entry::Excused));
    }
    let attempts: Vec<Attempt> = work
        .cells
        .iter()
        .map(|(cell, due)| attempt(assignment, cell, *due))
        .collect();
    let adjusted = work.adjusted.iter().map(adjustment).collect::<Result<Vec<_>, _>>()?;
    let mut attempts: Vec<&Attempt> = attempts.iter().collect();
    Ok((!attempts.is_empty()).then(|| done(assignment, &mut attempts, &adjusted)))
}

fn adjustment(of: &gradebook::Adjusted) -> Result<(AdjustmentId, settled::Adjustment), StoreError> {
    let points = of
        .points
        .parse()
        .map_err(|_| unreadable("points of a student", &of.points))?;
    let reason = of.reason.clone();
    Ok((of.id, settled::Adjustment { points, reason }))
}

fn unreadable(what: &'static str, text: &str) -> StoreError {
    StoreError::Unreadable {
        what,
        found: text.chars().take(40).collect(),
    }
}

fn columns(all: Vec<Assignment>, book: &Book) -> Result<Vec<Column>, StoreError> {
    let column = |assignment: Assignment| {
        let stands = book.columns.iter().find(|c| c.assignment == assignment.id);
        let weight = match stands {
            Some(c) => c.weight.parse().map_err(|_| unreadable("a weight", &c.weight))?,
            None => Decimal::ONE,
        };
        Ok(Column {
            assignment,
            weight,
            wants_evidence: stands.is_some_and(|c| c.wants_evidence != 0),
        })
    };
    all.into_iter().map(column).collect()
}

/// One attempt, as it counts.
#[derive(Debug, Clone)]
struct Attempt {
    report: ReportId,
    pair: PairId,
    handed_in_at: When,
    mark: Option<Decimal>,
    minutes_late: u64,
    waits: bool,
    graded: bool,
    is_set: bool,
    other_plate: bool,
}

/// The book, ready to be laid out.
struct Making<'a> {
    columns: &'a [Column],
    book: &'a Book,
    drops: usize,
    now: When,
    /// Those of an assignment by pair.
    attempts: BTreeMap<AssignmentId, Vec<Attempt>>,
    due: BTreeMap<(AssignmentId, PairId), When>,
    members: BTreeMap<PersonId, Vec<Member>>,
    adjusted: BTreeMap<(PersonId, AssignmentId), Vec<(AdjustmentId, settled::Adjustment)>>,
}

impl<'a> Making<'a> {
    fn new(columns: &'a [Column], book: &'a Book, now: When) -> Result<Self, StoreError> {
        let due: BTreeMap<_, _> = book.extended.iter().map(|(a, p, due)| ((*a, *p), *due)).collect();
        let mut attempts: BTreeMap<AssignmentId, Vec<Attempt>> = BTreeMap::new();
        let by_id: BTreeMap<AssignmentId, &Assignment> =
            columns.iter().map(|c| (c.assignment.id, &c.assignment)).collect();
        for cell in &book.cells {
            let Some(assignment) = by_id.get(&cell.assignment) else {
                continue;
            };
            let due_at = due
                .get(&(cell.assignment, cell.pair))
                .copied()
                .unwrap_or(assignment.due_at);
            attempts
                .entry(cell.assignment)
                .or_default()
                .push(attempt(assignment, cell, due_at));
        }
        let mut members: BTreeMap<PersonId, Vec<Member>> = BTreeMap::new();
        for member in &book.members {
            members.entry(member.person).or_default().push(*member);
        }
        let mut adjusted: BTreeMap<_, Vec<_>> = BTreeMap::new();
        for a in &book.adjusted {
            adjusted
                .entry((a.person, a.assignment))
                .or_default()
                .push(adjustment(a)?);
        }
        Ok(Self {
            columns,
            book,
            drops: usize::try_from(book.drops).unwrap_or(0),
            now,
            attempts,
            due,
            members,
            adjusted,
        })
    }

    /// A line of a pair; none for one that has nobody and nothing.
    fn pair(&self, pair: pairs::PairLine) -> Option<Row> {
        let entries: Vec<Entry> = self.columns.iter().map(|c| self.entry_of_pair(&pair, c)).collect();
        let is_empty = pair.people.is_empty() && !entries.iter().any(|e| matches!(e, Entry::Done(_)));
        (!is_empty).then(|| self.row(Whose::Pair(pair), entries))
    }

    fn entry_of_pair(&self, pair: &pairs::PairLine, column: &Column) -> Entry {
        let mut attempts: Vec<&Attempt> = self.of_pair(column, pair.id).iter().collect();
        if !attempts.is_empty() {
            return done(&column.assignment, &mut attempts, &[]);
        }
        let due = self.due(column, pair.id);
        let there = self.book.members.iter().filter(|m| m.pair == pair.id);
        let was_there = there.clone().any(|m| is_member(m, due.min(self.now)));
        let people: Vec<PersonId> = there
            .filter(|m| is_member(m, due.min(self.now)))
            .map(|m| m.person)
            .collect();
        if !people.is_empty() && people.iter().all(|p| self.is_excused(*p, column)) {
            return Entry::Excused;
        }
        self.undone(column, due, was_there)
    }

    fn student(&self, student: &Student, names: &BTreeMap<PairId, String>) -> Row {
        let none = Vec::new();
        let mine = self.members.get(&student.person).unwrap_or(&none);
        let entries = self
            .columns
            .iter()
            .map(|c| self.entry_of_student(student, mine, c))
            .collect();
        let now = mine.iter().rev().find(|m| m.to_at.is_none());
        let pair = now.and_then(|m| names.get(&m.pair)).cloned().unwrap_or_default();
        self.row(Whose::Student(student.clone(), pair), entries)
    }

    fn entry_of_student(&self, student: &Student, mine: &[Member], column: &Column) -> Entry {
        if self.is_excused(student.person, column) {
            return Entry::Excused;
        }
        let is_mine = |a: &&Attempt| mine.iter().any(|m| m.pair == a.pair && is_member(m, a.handed_in_at));
        let mut attempts: Vec<&Attempt> = self.of(column).iter().filter(is_mine).collect();
        let none = Vec::new();
        let adjusted = self
            .adjusted
            .get(&(student.person, column.assignment.id))
            .unwrap_or(&none);
        if !attempts.is_empty() {
            return done(&column.assignment, &mut attempts, adjusted);
        }
        let then = column.assignment.due_at.min(self.now);
        let pair = mine.iter().find(|m| is_member(m, then)).map(|m| m.pair);
        let due = pair.map_or(column.assignment.due_at, |pair| self.due(column, pair));
        self.undone(column, due, student.joined_at <= due)
    }

    fn undone(&self, column: &Column, due: When, was_there: bool) -> Entry {
        if column.assignment.opens_at > self.now {
            Entry::NotOpen
        } else if due >= self.now {
            Entry::Open
        } else if was_there {
            Entry::Missing
        } else {
            Entry::NotThere
        }
    }

    /// By pair.
    fn of(&self, column: &Column) -> &[Attempt] {
        self.attempts.get(&column.assignment.id).map_or(&[], Vec::as_slice)
    }

    fn of_pair(&self, column: &Column, pair: PairId) -> &[Attempt] {
        let all = self.of(column);
        let from = all.partition_point(|a| a.pair < pair);
        let (_, all) = all.split_at(from);
        all.split_at(all.partition_point(|a| a.pair == pair)).0
    }

    fn due(&self, column: &Column, pair: PairId) -> When {
        let own = self.due.get(&(column.assignment.id, pair));
        own.copied().unwrap_or(column.assignment.due_at)
    }

    fn is_excused(&self, person: PersonId, column: &Column) -> bool {
        self.book.excused.contains(&(column.assignment.id, person))
    }

    fn row(&self, whose: Whose, entries: Vec<Entry>) -> Row {
        Row {
            total: settled::total(&parts(self.columns, &entries), self.drops),
            whose,
            entries,
        }
    }
}

fn is_member(member: &Member, at: When) -> bool {
    member.from_at <= at && member.to_at.is_none_or(|to| to > at)
}

fn attempt(assignment: &Assignment, cell: &gradebook::Cell, due_at: When) -> Attempt {
    let minutes_late = standing::minutes_after(due_at, cell.handed_in_at);
    let number = |text: &Option<String>| text.as_deref().and_then(|t| t.parse().ok());
    let late = standing::late_rule(assignment);
    Attempt {
        report: cell.report,
        pair: cell.pair,
        handed_in_at: cell.handed_in_at,
        mark: settled::attempt_mark(number(&cell.mark), number(&cell.set), &late, minutes_late),
        minutes_late,
        waits: cell.waits != 0,
        graded: cell.graded != 0,
        is_set: cell.set.is_some(),
        other_plate: cell.other_plate != 0,
    }
}

fn done(assignment: &Assignment, attempts: &mut [&Attempt], adjusted: &[(AdjustmentId, settled::Adjustment)]) -> Entry {
    attempts.sort_by_key(|a| (a.handed_in_at, a.report));
    let marks: Vec<Option<Decimal>> = attempts.iter().map(|a| a.mark).collect();
    Entry::Done(Standing {
        attempts: attempts.iter().map(|a| (a.report, a.mark)).collect(),
        mark: standing::mark(assignment, &marks, &points(adjusted)),
        minutes_late: attempts.last().map_or(0, |a| a.minutes_late),
        waits: attempts.iter().any(|a| a.waits),
        being_graded: attempts.iter().any(|a| !a.graded),
        is_set: attempts.iter().any(|a| a.is_set),
        other_plate: attempts.iter().any(|a| a.other_plate),
        adjusted: adjusted.to_vec(),
    })
}

/// How the columns of a class are to stand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rules {
    /// Weight, and whether a photo or PDF of the sheet is wanted, by assignment.
    pub columns: Vec<(AssignmentId, Decimal, bool)>,
    /// How many of the lowest marks are dropped.
    pub drops: i64,
}

/// Sets weights and drops of a class. Gives `false`, and changes nothing, where somebody changed them since the person saw
/// them (`seen`, as [`versions`] has it).
///
/// # Errors
/// When the database cannot be written.
pub async fn set_rules(
    service: &Service,
    class: ClassId,
    rules: &Rules,
    seen: &str,
    by: PersonId,
) -> Result<bool, StoreError> {
    let mut tx = service.store.change().await?;
    if !versions::still(&mut tx, Thing::Gradebook(class), seen).await? {
        return Ok(false);
    }
    for (assignment, weight, evidence) in &rules.columns {
        gradebook::set_column(&mut tx, *assignment, *weight, *evidence).await?;
    }
    gradebook::set_drops(&mut tx, class, rules.drops).await?;
    let weights: Vec<(i64, String)> = rules.columns.iter().map(|(a, w, _)| (a.0, w.to_string())).collect();
    let entry = audit::Entry {
        at: service.clock.now(),
        person: Some(by),
        what: "gradebook-rules",
        about: ("class", class.0),
        detail: serde_json::json!({ "weights": weights, "drops": rules.drops }),
    };
    audit::write(&mut tx, &entry).await?;
    tx.commit().await?;
    Ok(true)
}
