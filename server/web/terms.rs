//! The fields of an assignment's times and rules, on the page that makes one and on the page that changes it.

use jiff::tz::TimeZone;
use rust_decimal::Decimal;
use serde::Deserialize;

use super::times;
use super::wrongs::{Wrongs, whole};
use crate::actions::terms::{Terms, TermsError};
use crate::store::assignments::{Assignment, Counting, Feedback};
use crate::store::when::When;

pub(in crate::web) const COUNTING: [(&str, &str); 3] =
    [("best", "the best"), ("last", "the last"), ("mean", "the mean of all")];
pub(in crate::web) const FEEDBACK: [(&str, &str); 2] = [
    ("words", "words: what agrees and what happened"),
    ("full", "everything, once their plate is open"),
];
/// Which hour is meant where the clocks go back.
pub(in crate::web) const WHICH: [(&str, &str); 3] = [
    ("", "say which"),
    ("first", "the first, before the clocks go back"),
    ("second", "the second, after the clocks went back"),
];

/// The fields as typed.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct TypedTerms {
    pub(in crate::web) title: String,
    pub(in crate::web) opens: String,
    pub(in crate::web) opens_which: String,
    pub(in crate::web) due: String,
    pub(in crate::web) due_which: String,
    pub(in crate::web) attempts: String,
    pub(in crate::web) counting: String,
    pub(in crate::web) grace: String,
    pub(in crate::web) per_day: String,
    pub(in crate::web) floor: String,
    pub(in crate::web) feedback: String,
}

impl TypedTerms {
    /// As an assignment has them.
    pub(in crate::web) fn of(assignment: &Assignment) -> Self {
        let zone = times::zone(&assignment.time_zone);
        let which = |when: When| times::which(when, &zone).to_owned();
        Self {
            title: assignment.title.clone(),
            opens: times::for_field(assignment.opens_at, &zone),
            opens_which: which(assignment.opens_at),
            due: times::for_field(assignment.due_at, &zone),
            due_which: which(assignment.due_at),
            attempts: assignment.attempts.to_string(),
            counting: match assignment.counting {
                Counting::Best => "best",
                Counting::Last => "last",
                Counting::Mean => "mean",
            }
            .to_owned(),
            grace: assignment.late_grace_minutes.to_string(),
            per_day: assignment.late_percent_per_day.normalize().to_string(),
            floor: assignment.late_floor_percent.normalize().to_string(),
            feedback: match assignment.feedback {
                Feedback::Words => "words",
                Feedback::Full => "full",
            }
            .to_owned(),
        }
    }

    /// The fields by name.
    pub(in crate::web) fn fields(&self) -> [(&'static str, &str); 9] {
        [
            ("title", &self.title),
            ("opens", &self.opens),
            ("due", &self.due),
            ("attempts", &self.attempts),
            ("counting", &self.counting),
            ("grace", &self.grace),
            ("per_day", &self.per_day),
            ("floor", &self.floor),
            ("feedback", &self.feedback),
        ]
    }

    /// What they say, under this title; none where a field could not be read, which `wrongs` then says.
    pub(in crate::web) fn read<'a>(&self, title: &'a str, zone: &TimeZone, wrongs: &mut Wrongs) -> Option<Terms<'a>> {
        let opens = wrongs.keep("opens", times::from_field_which(&self.opens, &self.opens_which, zone));
        let due = wrongs.keep("due", times::from_field_which(&self.due, &self.due_which, zone));
        let attempts = wrongs.keep("attempts", whole(&self.attempts));
        let grace = wrongs.keep("grace", whole(&self.grace));
        let per_day = wrongs.keep("per_day", percent(&self.per_day));
        let floor = wrongs.keep("floor", percent(&self.floor));
        Some(Terms {
            title,
            opens_at: opens?,
            due_at: due?,
            attempts: attempts?,
            counting: match self.counting.as_str() {
                "last" => Counting::Last,
                "mean" => Counting::Mean,
                _ => Counting::Best,
            },
            late_grace_minutes: grace?,
            late_percent_per_day: per_day?,
            late_floor_percent: floor?,
            feedback: if self.feedback == "full" {
                Feedback::Full
            } else {
                Feedback::Words
            },
        })
    }
}

fn percent(text: &str) -> Result<Decimal, String> {
    let read = text.trim().replace(',', ".").parse();
    read.map_err(|_| "Write a number of per cent, as in 10.".to_owned())
}

/// The field that a refusal is about.
pub(in crate::web) const fn field_of(error: &TermsError) -> &'static str {
    match error {
        TermsError::Title => "title",
        TermsError::DueBeforeOpening => "due",
        TermsError::Attempts => "attempts",
        TermsError::Grace => "grace",
        TermsError::Percent => "per_day",
    }
}
