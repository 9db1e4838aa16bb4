//! Row numbers, one type per table, so that a pair is never taken for an assignment.

use std::fmt;

use serde::{Deserialize, Serialize};

macro_rules! id {
    ($($(#[$doc:meta])* $name:ident),+ $(,)?) => {$(
        $(#[$doc])*
        #[derive(
            Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, sqlx::Type,
        )]
        #[serde(transparent)]
        #[sqlx(transparent)]
        pub struct $name(pub i64);

        impl From<i64> for $name {
            fn from(number: i64) -> Self {
                Self(number)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)
            }
        }
    )+};
}

id!(
    /// A person.
    PersonId,
    /// An exercise.
    ExerciseId,
    /// One revision of an exercise.
    ExerciseRevisionId,
    /// An exercise that is being authored.
    ExerciseDraftId,
    /// A plate.
    PlateId,
    /// One revision of what a plate is.
    PlateRevisionId,
    /// A class.
    ClassId,
    /// A pair.
    PairId,
    /// An assignment.
    AssignmentId,
    /// A report.
    ReportId,
    /// A grade.
    GradeId,
    /// A round of careful measurement.
    RoundId,
    /// A regrading.
    RegradeId,
    /// A mark that a person set.
    OverrideId,
    /// Words to a pair.
    RemarkId,
    /// What a pair asks about its mark.
    QueryId,
    /// Points of one student.
    AdjustmentId,
    /// A photo or PDF beside a report.
    EvidenceId,
);
