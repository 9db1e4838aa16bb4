//! Where a report stands by the rules of its assignment: how late it is, what that costs, and which attempt counts.

use rust_decimal::Decimal;

use crate::grading::attempts::{self, counting_mark};
use crate::grading::grade::Marks;
use crate::grading::late::LateRule;
use crate::store::assignments::{Assignment, Counting};
use crate::store::when::When;

/// Whole minutes after the due time, begun ones included; 0 in time. Minutes of grace count too: they only cost
/// nothing.
#[must_use]
pub fn minutes_late(assignment: &Assignment, handed_in_at: When) -> u64 {
    let late = handed_in_at
        .millisecond()
        .saturating_sub(assignment.due_at.millisecond());
    u64::try_from(late).map_or(0, |ms| ms.div_ceil(60_000))
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

/// A mark after the late rule.
#[must_use]
pub fn after_late(assignment: &Assignment, handed_in_at: When, mark: Option<Decimal>) -> Option<Decimal> {
    let mut marks = Marks {
        as_reported: None,
        with_follow_through: None,
        r#final: mark,
        lines: Vec::new(),
    };
    late_rule(assignment).apply(&mut marks, minutes_late(assignment, handed_in_at));
    marks.r#final
}

/// The mark that counts of all attempts in order, each after the late rule.
#[must_use]
pub fn counts(assignment: &Assignment, marks: &[Option<Decimal>]) -> Option<Decimal> {
    let rule = match assignment.counting {
        Counting::Best => attempts::Counting::Best,
        Counting::Last => attempts::Counting::Last,
        Counting::Mean => attempts::Counting::Mean,
    };
    counting_mark(rule, usize::try_from(assignment.attempts).unwrap_or(1), marks)
}
