//! Whether a person should look at a grade before it counts as settled, and why, in order of need.

use serde::{Deserialize, Serialize};

use super::grade::{DiagnosisState, Grade};
use crate::exercise::model::MarksRules;
use crate::exercise::names::BalloonNo;

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
    } else if grade.diagnosis.faults.iter().any(|f| confirm(&f.fault) && !f.confirmed) {
        Some(Review::ToConfirm)
    } else {
        // What the instructor has decided waits for nobody.
        let open = grade.diagnosis.decided.is_empty();
        match grade.diagnosis.state {
            DiagnosisState::Unexplained if open => Some(Review::Unexplained),
            DiagnosisState::FaultSuspected if open => Some(Review::FaultSuspected),
            _ if !rules.lines.is_empty() && !hand_marked => Some(Review::HandMarks),
            _ => None,
        }
    }
}

/// Lines where the plate lies in doubt and the pair's call is not what the rule makes of the reference, or contradicts
/// the pair's own number: an honest pair may read either side, and a person may grant it.
#[must_use]
pub fn doubtful_calls(grade: &Grade) -> Vec<BalloonNo> {
    let doubtful = |item: &&super::grade::GradedItem| {
        let call = item
            .call
            .filter(|_| item.in_doubt == Some(true) && item.measured.is_some());
        call.is_some_and(|c| item.call_by_reference != Some(c) || item.call_by_own_value != Some(c))
    };
    grade.items.iter().filter(doubtful).map(|i| i.no.clone()).collect()
}

/// The same digits as another pair's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SameDigits {
    /// The other report.
    pub other: i64,
    /// Values that are the same.
    pub same: usize,
    /// Values that both reported.
    pub of: usize,
    /// How many such agreements are expected among all comparisons that were made.
    pub expected: f64,
}

/// A report on another plate than the pair was given.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OtherPlate {
    /// Serial of the plate that the pair says it measured.
    pub measured: String,
    /// Serial of the plate that it was given.
    pub given: String,
}

/// Why a report waits for a person, in order of need.
#[derive(Debug, Clone, PartialEq)]
pub enum Need {
    /// The grade says so.
    OfGrade(Review),
    /// It is on another plate than the pair was given: it counts until a person decides.
    OtherPlate(OtherPlate),
    /// The pair asked, and waits for an answer.
    Query,
    /// The same digits as another pair's: the mark stands until a person decides.
    SameDigits(SameDigits),
    /// Calls in doubt.
    DoubtfulCall(Vec<BalloonNo>),
    /// A photo or PDF of the printed sheet is wanted and not there.
    EvidenceMissing,
    /// Late by so many minutes.
    Late(u64),
}

/// Stored word of [`Need::SameDigits`].
pub const SAME_DIGITS: &str = "same-digits";
/// Stored word of [`Need::OtherPlate`].
pub const OTHER_PLATE: &str = "other-plate";
/// Stored word of [`Need::DoubtfulCall`].
pub const DOUBTFUL_CALL: &str = "doubtful-call";

/// A need without what it speaks of, in the order of the queue: the most pressing first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// [`Review::NoMark`].
    NoMark,
    /// [`Review::ToConfirm`].
    ToConfirm,
    /// [`Review::Unexplained`].
    Unexplained,
    /// [`Review::FaultSuspected`].
    FaultSuspected,
    /// [`Need::OtherPlate`].
    OtherPlate,
    /// [`Need::Query`].
    Query,
    /// [`Need::SameDigits`].
    SameDigits,
    /// [`Need::DoubtfulCall`].
    DoubtfulCall,
    /// [`Review::HandMarks`].
    HandMarks,
    /// [`Need::EvidenceMissing`].
    EvidenceMissing,
    /// [`Need::Late`].
    Late,
}

impl Kind {
    const fn of_grade(review: Review) -> Self {
        match review {
            Review::NoMark => Self::NoMark,
            Review::ToConfirm => Self::ToConfirm,
            Review::Unexplained => Self::Unexplained,
            Review::FaultSuspected => Self::FaultSuspected,
            Review::HandMarks => Self::HandMarks,
        }
    }

    /// That of a stored reason. None for what this version does not know.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        match word {
            SAME_DIGITS => Some(Self::SameDigits),
            OTHER_PLATE => Some(Self::OtherPlate),
            DOUBTFUL_CALL => Some(Self::DoubtfulCall),
            other => Review::from_word(other).map(Self::of_grade),
        }
    }

    /// Whether it is one only by the truth of the plate.
    #[must_use]
    pub const fn tells_truth(self) -> bool {
        matches!(self, Self::DoubtfulCall)
    }
}

impl Need {
    /// What kind of need it is.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        match self {
            Self::OfGrade(review) => Kind::of_grade(*review),
            Self::OtherPlate(_) => Kind::OtherPlate,
            Self::Query => Kind::Query,
            Self::SameDigits(_) => Kind::SameDigits,
            Self::DoubtfulCall(_) => Kind::DoubtfulCall,
            Self::EvidenceMissing => Kind::EvidenceMissing,
            Self::Late(_) => Kind::Late,
        }
    }

    /// The reason for people.
    #[must_use]
    pub fn text(&self) -> String {
        match self {
            Self::OfGrade(review) => review.text().to_owned(),
            Self::OtherPlate(o) => format!("measured plate {}, was given {}", o.measured, o.given),
            Self::Query => "the pair asks about its mark".to_owned(),
            Self::SameDigits(s) => format!("the same digits as another pair at {} of {} values", s.same, s.of),
            Self::DoubtfulCall(nos) => {
                let nos: Vec<&str> = nos.iter().map(BalloonNo::as_str).collect();
                format!("a call in doubt at {}", nos.join(", "))
            }
            Self::EvidenceMissing => "no photo or PDF of the sheet".to_owned(),
            Self::Late(1) => "late by 1 minute".to_owned(),
            Self::Late(minutes) => format!("late by {minutes} minutes"),
        }
    }

    /// A stored reason: its word, and what it speaks of. None for what this version does not know.
    #[must_use]
    pub fn from_stored(word: &str, detail: &str) -> Option<Self> {
        match word {
            SAME_DIGITS => serde_json::from_str(detail).ok().map(Self::SameDigits),
            OTHER_PLATE => serde_json::from_str(detail).ok().map(Self::OtherPlate),
            DOUBTFUL_CALL => serde_json::from_str(detail).ok().map(Self::DoubtfulCall),
            other => Review::from_word(other).map(Self::OfGrade),
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

    #[test]
    fn needs_come_back_from_what_is_stored_and_stand_in_order() {
        let digits = SameDigits {
            other: 7,
            same: 14,
            of: 18,
            expected: 2e-9,
        };
        let stored = serde_json::to_string(&digits).unwrap();
        assert_eq!(Need::from_stored(SAME_DIGITS, &stored), Some(Need::SameDigits(digits)));
        let calls = Need::from_stored(DOUBTFUL_CALL, r#"["4","9"]"#).unwrap();
        assert_eq!(calls.text(), "a call in doubt at 4, 9");
        let plates = Need::from_stored(OTHER_PLATE, r#"{"measured":"SB-11-03","given":"SB-11-01"}"#).unwrap();
        assert_eq!(plates.text(), "measured plate SB-11-03, was given SB-11-01");
        assert_eq!(Need::from_stored("else", "{}"), None);
        let late = Need::Late(7);
        assert_eq!(late.text(), "late by 7 minutes");
        assert!(Need::OfGrade(Review::FaultSuspected).kind() < Need::Query.kind());
        assert!(calls.kind() < late.kind());
        let stored = [
            (SAME_DIGITS, Kind::SameDigits),
            (OTHER_PLATE, Kind::OtherPlate),
            (DOUBTFUL_CALL, Kind::DoubtfulCall),
        ];
        for (word, kind) in stored
            .into_iter()
            .chain(Review::WORDS.map(|(of, word, _)| (word, Need::OfGrade(of).kind())))
        {
            assert_eq!(Kind::from_word(word), Some(kind));
        }
        assert_eq!(Kind::from_word("else"), None);
    }
}
