//! Times and rules of an assignment: the same when it is made and when it is changed.

use rust_decimal::Decimal;
use thiserror::Error;

use crate::store::assignments::{Counting, Feedback};
use crate::store::when::When;

/// Title, times and rules as wanted.
#[derive(Debug, Clone, Copy)]
pub struct Terms<'a> {
    /// Title.
    pub title: &'a str,
    /// From when pairs see it.
    pub opens_at: When,
    /// Until when a report is in time.
    pub due_at: When,
    /// How many attempts.
    pub attempts: i64,
    /// Which counts.
    pub counting: Counting,
    /// Minutes of grace.
    pub late_grace_minutes: i64,
    /// Per cent lost per day begun.
    pub late_percent_per_day: Decimal,
    /// Per cent that is left at least.
    pub late_floor_percent: Decimal,
    /// What a pair sees.
    pub feedback: Feedback,
}

/// What cannot be.
#[derive(Debug, Error)]
pub enum TermsError {
    /// Title empty or too long.
    #[error("give it a title of 1 to 120 characters")]
    Title,
    /// Due before it opens.
    #[error("the due time must come after the opening")]
    DueBeforeOpening,
    /// Attempts out of range.
    #[error("give 1 to 99 attempts")]
    Attempts,
    /// Grace out of range.
    #[error("give 0 to 10080 minutes of grace (a week)")]
    Grace,
    /// Per cents out of range.
    #[error("give 0 to 100 per cent")]
    Percent,
}

impl Terms<'_> {
    pub(super) fn check(&self) -> Result<(), TermsError> {
        let percent = |p: Decimal| (Decimal::ZERO..=Decimal::ONE_HUNDRED).contains(&p);
        if !(1..=120).contains(&self.title.trim().chars().count()) {
            Err(TermsError::Title)
        } else if self.due_at <= self.opens_at {
            Err(TermsError::DueBeforeOpening)
        } else if !(1..=99).contains(&self.attempts) {
            Err(TermsError::Attempts)
        } else if !(0..=10_080).contains(&self.late_grace_minutes) {
            Err(TermsError::Grace)
        } else if !percent(self.late_percent_per_day) || !percent(self.late_floor_percent) {
            Err(TermsError::Percent)
        } else {
            Ok(())
        }
    }
}
