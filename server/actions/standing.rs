//! Where a report stands by the rules of its assignment: how late it is, what that costs, and which attempt counts.

use rust_decimal::Decimal;

use crate::grading::attempts;
use crate::grading::late::LateRule;
use crate::grading::settled::{Adjustment, Settled, adjust, of_attempts, settled_mark};
use crate::store::assignments::{Assignment, Counting};
use crate::store::ids::PairId;
use crate::store::when::When;
use crate::store::{Store, StoreError, gradebook, other_plates};

/// Whole minutes after the due time, begun ones included; 0 in time. Minutes of grace count too: they only cost
/// nothing.
#[must_use]
pub fn minutes_late(assignment: &Assignment, handed_in_at: When) -> u64 {
    minutes_after(assignment.due_at, handed_in_at)
}

/// Whole minutes after a due time, begun ones included; 0 in time.
#[must_use]
pub fn minutes_after(due_at: When, handed_in_at: When) -> u64 {
    let late = handed_in_at.millisecond().saturating_sub(due_at.millisecond());
    u64::try_from(late).map_or(0, |ms| ms.div_ceil(60_000))
}

/// An assignment as it is for one pair: with the due time that the pair was given, if it was given one, and one attempt more
/// for each report that does not count.
///
/// # Errors
/// When the database does not answer.
pub async fn of_pair(store: &Store, assignment: Assignment, pair: PairId) -> Result<Assignment, StoreError> {
    let longer = gradebook::extended_to(store, assignment.id, pair).await?;
    let given_back = other_plates::given_back(store, assignment.id, pair).await?;
    Ok(assignment.of_pair(longer, given_back))
}

/// The late rule of an assignment.
#[must_use]
pub fn late_rule(assignment: &Assignment) -> LateRule {
    LateRule {
        grace_minutes: u32::try_from(assignment.late_grace_minutes).unwrap_or(0),
        percent_per_day: assignment.late_percent_per_day,
        floor_percent: assignment.late_floor_percent,
    }
}

/// The mark that counts of all attempts in order, each after the late rule, with what is particular to a student, and its reasons.
#[must_use]
pub fn settled(assignment: &Assignment, marks: &[Option<Decimal>], particular: &[Adjustment]) -> Settled {
    let (rule, allowed) = counting(assignment);
    let mut settled = of_attempts(rule, allowed, marks);
    adjust(&mut settled, particular);
    settled
}

/// The same without its reasons.
#[must_use]
pub fn mark(assignment: &Assignment, marks: &[Option<Decimal>], particular: &[Adjustment]) -> Option<Decimal> {
    let (rule, allowed) = counting(assignment);
    settled_mark(rule, allowed, marks, particular)
}

/// Which attempt counts, and how many are allowed.
fn counting(assignment: &Assignment) -> (attempts::Counting, usize) {
    let rule = match assignment.counting {
        Counting::Best => attempts::Counting::Best,
        Counting::Last => attempts::Counting::Last,
        Counting::Mean => attempts::Counting::Mean,
    };
    (rule, usize::try_from(assignment.attempts).unwrap_or(1))
}
