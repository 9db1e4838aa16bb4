//! Whether a person should look at a grade before it counts as settled, and why, in order of need.

use super::grade::{DiagnosisState, Grade};
use crate::exercise::model::MarksRules;

/// The reason that a graded report waits for the instructor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Review {
    /// No line of the plate is established, so there is no mark.
    NoMark,
    /// A fault was found that only the instructor may confirm: another plate, or the nominals written down.
    ToConfirm,
    /// The report does not fit the plate and no mistake explains it.
    Unexplained,
    /// A mistake is likely but not sure.
    FaultSuspected,
    /// Lines that are marked by hand have no points yet.
    HandMarks,
}

impl Review {
    /// All reasons, in order of need, with their words.
    const WORDS: [(Self, &'static str, &'static str); 5] = [
        (Self::NoMark, "no-mark", "no mark: the plate is not established"),
        (Self::ToConfirm, "to-confirm", "a fault to confirm"),
        (Self::Unexplained, "unexplained", "does not fit, not explained"),
        (Self::FaultSuspected, "fault-suspected", "a fault is suspected"),
        (Self::HandMarks, "hand-marks", "lines to mark by hand"),
    ];

    /// The word that is stored.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::WORDS
            .iter()
            .find(|(r, _, _)| *r == self)
            .map_or("", |(_, word, _)| word)
    }

    /// The reason for people.
    #[must_use]
    pub fn text(self) -> &'static str {
        Self::WORDS
            .iter()
            .find(|(r, _, _)| *r == self)
            .map_or("", |(_, _, text)| text)
    }

    /// The reason of a stored word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::WORDS.iter().find(|(_, w, _)| *w == word).map(|(r, _, _)| *r)
    }
}

/// The most pressing reason to look at a grade; none where nothing is open.
#[must_use]
pub fn review(grade: &Grade, rules: &MarksRules, hand_marked: bool) -> Option<Review> {
    let confirm = |fault: &str| super::feedback::INSTRUCTORS_ONLY.contains(&fault);
    if grade.marks.r#final.is_none() {
        Some(Review::NoMark)
    } else if grade.diagnosis.faults.iter().any(|f| confirm(&f.fault)) {
        Some(Review::ToConfirm)
    } else {
        match grade.diagnosis.state {
            DiagnosisState::Unexplained => Some(Review::Unexplained),
            DiagnosisState::FaultSuspected => Some(Review::FaultSuspected),
            _ if !rules.lines.is_empty() && !hand_marked => Some(Review::HandMarks),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_reason_has_a_word_of_its_own() {
        for (reason, word, _) in Review::WORDS {
            assert_eq!(Review::from_word(word), Some(reason));
            assert_eq!(reason.word(), word);
        }
        assert_eq!(Review::from_word("else"), None);
    }
}
