//! The gradebook of a class: pairs by assignments.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::standing;
use crate::store::assignments::Assignment;
use crate::store::gradebook::Cell;
use crate::store::ids::{AssignmentId, PairId, ReportId};
use crate::store::when::When;
use crate::store::{Store, StoreError, assignments, classes::Class, gradebook, pairs};

/// One pair's work on one assignment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    /// The report to look at: the last attempt.
    pub report: ReportId,
    /// Attempts handed in.
    pub attempts: usize,
    /// The mark that counts, after the late rule.
    pub mark: Option<Decimal>,
    /// Whole minutes that the last attempt is late.
    pub minutes_late: u64,
    /// Whether a person should look at one of the attempts.
    pub in_review: bool,
    /// Whether an attempt has no grade yet.
    pub being_graded: bool,
}

/// One cell of the gradebook.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Entry {
    /// Handed in.
    Done(Standing),
    /// Not handed in, and the due time has passed.
    Missing,
    /// Not handed in, and there is time yet.
    Open,
    /// It has not opened.
    NotOpen,
}

/// One line of the gradebook.
#[derive(Debug, Clone)]
pub struct Row {
    /// The pair.
    pub pair: pairs::PairLine,
    /// One for each assignment.
    pub entries: Vec<Entry>,
}

/// The whole gradebook.
#[derive(Debug, Clone)]
pub struct Gradebook {
    /// Columns, soonest due first.
    pub assignments: Vec<Assignment>,
    /// One for each pair.
    pub rows: Vec<Row>,
}

/// The gradebook of a class.
///
/// # Errors
/// When the database does not answer.
pub async fn of_class(store: &Store, class: &Class, now: When) -> Result<Gradebook, StoreError> {
    let columns = assignments::all_of_class(store, class.id).await?;
    let pairs = pairs::of_class(store, class.id, now).await?;
    let mut cells: BTreeMap<(PairId, AssignmentId), Vec<Cell>> = BTreeMap::new();
    for cell in gradebook::of_class(store, class.id).await? {
        cells.entry((cell.pair, cell.assignment)).or_default().push(cell);
    }
    let rows = pairs.into_iter().map(|pair| {
        let none = Vec::new();
        let entry = |a: &Assignment| entry(a, cells.get(&(pair.id, a.id)).unwrap_or(&none), now);
        let entries = columns.iter().map(entry).collect();
        Row { pair, entries }
    });
    Ok(Gradebook {
        rows: rows.collect(),
        assignments: columns,
    })
}

fn entry(assignment: &Assignment, attempts: &[Cell], now: When) -> Entry {
    let Some(last) = attempts.last() else {
        return if assignment.opens_at > now {
            Entry::NotOpen
        } else if assignment.due_at < now {
            Entry::Missing
        } else {
            Entry::Open
        };
    };
    let mark = |cell: &Cell| {
        let mark = cell.mark.as_deref().and_then(|text| text.parse().ok());
        standing::after_late(assignment, cell.handed_in_at, mark)
    };
    let marks: Vec<Option<Decimal>> = attempts.iter().map(mark).collect();
    Entry::Done(Standing {
        report: last.report,
        attempts: attempts.len(),
        mark: standing::counts(assignment, &marks),
        minutes_late: standing::minutes_late(assignment, last.handed_in_at),
        in_review: attempts.iter().any(|c| c.review.is_some()),
        being_graded: attempts.iter().any(|c| c.graded == 0),
    })
}
