//! What students see of a grade.
//!
//! Two types for the two modes. `Words` has no field from which the truth of a plate could be worked out: no sign, no
//! amount, no mark for the call against the plate. `Full` holds the numbers and is made only where
//! `Release` allows it. Suspicions, alternatives and the faults that only an instructor may see are in neither.

use rust_decimal::Decimal;
use serde::Serialize;

use super::grade::{Check, DiagnosisState, Grade, GradedItem, Line};
use crate::exercise::model::Quantity;
use crate::exercise::names::BalloonNo;
use crate::exercise::plate::PlateKind;
use crate::report::call::Call;

/// Families that are named to the instructor only.
pub(super) const INSTRUCTORS_ONLY: [&str; 2] = ["wrong-plate", "nominals-copied"];

/// Whether a family is named to the instructor only.
#[must_use]
pub fn is_for_instructors(fault: &str) -> bool {
    INSTRUCTORS_ONLY.contains(&fault)
}

/// How one value stands to the plate, in a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Agreement {
    /// Within what a careful pair achieves.
    Agrees,
    /// Not within it.
    DoesNotAgree,
    /// No value was handed in.
    NotMeasured,
    /// The plate is not established here.
    NotGraded,
}

/// One line in the words mode.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct WordsItem {
    /// Balloon number.
    pub no: BalloonNo,
    /// Quantity.
    pub of: Quantity,
    /// How the value stands to the plate.
    pub agreement: Agreement,
    /// The pair's call.
    pub call: Option<Call>,
    /// Whether the call is right for the pair's own number; `None` without value or call.
    pub call_right_for_own_value: Option<bool>,
}

/// A grade in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Words {
    /// In sheet order.
    pub items: Vec<WordsItem>,
    /// A sentence for each stated fault.
    pub faults: Vec<String>,
    /// The one reading that would tell what is open, until the marks are released. It names a face or a feature of the
    /// print and nothing of the plate.
    pub check: Option<Check>,
    /// The mark, once the instructor has released it.
    pub mark: Option<Decimal>,
}

/// A grade in full.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Full {
    /// In sheet order.
    pub items: Vec<GradedItem>,
    /// A sentence for each stated fault.
    pub faults: Vec<String>,
    /// The mark.
    pub mark: Option<Decimal>,
    /// What made it.
    pub lines: Vec<Line>,
}

/// What decides which mode a student may see.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Release {
    /// Physical or virtual.
    pub kind: PlateKind,
    /// Whether the plate is out of service for good.
    pub withdrawn: bool,
    /// Whether the last due time of everybody who holds the copy is past.
    pub all_due_past: bool,
    /// Whether the instructor says that this plate is open anyway.
    pub open_anyway: bool,
    /// Whether the assignment asks for full feedback.
    pub full_wanted: bool,
    /// Whether the instructor has released the marks.
    pub marks_released: bool,
}

impl Release {
    /// Whether numbers of the plate may be shown. The truth of a physical plate stays in while the plate is in use.
    #[must_use]
    pub const fn allows_full(&self) -> bool {
        self.full_wanted
            && match self.kind {
                PlateKind::Virtual => self.all_due_past,
                PlateKind::Physical => self.withdrawn || self.open_anyway,
            }
    }
}

/// What a student sees.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "mode", rename_all = "lowercase")]
pub enum Feedback {
    /// Words only.
    Words(Words),
    /// Everything.
    Full(Box<Full>),
}

/// The feedback that `release` allows. `mark` is the mark that counts for this report, after late rule and overrides.
#[must_use]
pub fn feedback(grade: &Grade, release: &Release, mark: Option<Decimal>) -> Feedback {
    if release.allows_full() {
        Feedback::Full(Box::new(full(grade, mark)))
    } else {
        Feedback::Words(words(grade, release.marks_released, mark))
    }
}

fn words(grade: &Grade, released: bool, mark: Option<Decimal>) -> Words {
    Words {
        items: grade.items.iter().map(words_item).collect(),
        faults: fault_sentences(grade),
        check: grade.diagnosis.check.clone().filter(|_| !released),
        mark: mark.filter(|_| released),
    }
}

fn words_item(item: &GradedItem) -> WordsItem {
    let agreement = match (item.measurement_score, item.measured) {
        (None, _) => Agreement::NotGraded,
        (_, None) => Agreement::NotMeasured,
        (Some(score), _) if score >= 1.0 => Agreement::Agrees,
        _ => Agreement::DoesNotAgree,
    };
    let call_right_for_own_value = item.call.zip(item.call_by_own_value).map(|(call, own)| call == own);
    WordsItem {
        no: item.no.clone(),
        of: item.of,
        agreement,
        call: item.call,
        call_right_for_own_value,
    }
}

fn full(grade: &Grade, mark: Option<Decimal>) -> Full {
    Full {
        items: grade.items.clone(),
        faults: fault_sentences(grade),
        mark,
        lines: grade.marks.lines.clone(),
    }
}

fn fault_sentences(grade: &Grade) -> Vec<String> {
    if grade.diagnosis.state != DiagnosisState::FaultStated {
        return Vec::new();
    }
    let for_students = |f: &&super::grade::FoundFault| !INSTRUCTORS_ONLY.contains(&f.fault.as_str());
    grade
        .diagnosis
        .faults
        .iter()
        .filter(for_students)
        .map(|f| f.text.clone())
        .collect()
}
