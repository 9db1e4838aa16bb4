//! The invented school as its file tells it.

use rust_decimal::Decimal;
use serde::Deserialize;

use crate::procedure::fault::Procedure;

/// Text of the file.
const TEXT: &str = include_str!("scenario.toml");

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Scenario {
    /// PIN of all students.
    pub(super) pin: String,
    pub(super) staff: Vec<StaffMember>,
    pub(super) class: Vec<Class>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StaffMember {
    pub(super) role: StaffRole,
    pub(super) sign_in: String,
    pub(super) name: String,
    pub(super) passphrase: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum StaffRole {
    Instructor,
    Assistant,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Class {
    pub(super) name: String,
    pub(super) term: String,
    pub(super) time_zone: String,
    /// Days from the filling.
    pub(super) began: f64,
    pub(super) pairs: Vec<Pair>,
    /// Identifier and name of somebody who came late and has no seat yet.
    #[serde(default)]
    pub(super) late: Option<[String; 2]>,
    pub(super) assignment: Vec<Assignment>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Pair {
    pub(super) name: String,
    /// Sign-in and name.
    pub(super) people: Vec<[String; 2]>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Assignment {
    pub(super) exercise: String,
    #[serde(default)]
    pub(super) plates: Plates,
    pub(super) title: String,
    pub(super) opens: f64,
    pub(super) due: f64,
    pub(super) attempts: i64,
    #[serde(default)]
    pub(super) feedback: Mode,
    /// Days from the filling; none is not released.
    pub(super) released: Option<f64>,
    pub(super) reports: Vec<Report>,
    #[serde(default)]
    pub(super) points: Vec<Points>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Plates {
    #[default]
    Physical,
    Virtual,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Mode {
    #[default]
    Words,
    Full,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Report {
    pub(super) pair: String,
    /// Hours before the due time; negative is late.
    pub(super) early_hours: Option<f64>,
    /// Days from the filling, in place of the hours.
    pub(super) handed_in: Option<f64>,
    #[serde(default)]
    pub(super) faults: Procedure,
    /// Share of the points for the lines that are marked by hand, where they are marked.
    pub(super) by_hand: Option<Decimal>,
    /// Numbers without a value.
    #[serde(default)]
    pub(super) missing: Vec<String>,
    /// Numbers whose call is the other one.
    #[serde(default)]
    pub(super) wrong_calls: Vec<String>,
    pub(super) same_digits_as: Option<SameDigits>,
    /// What the pair asks about its mark, and the answer where there is one.
    pub(super) asks: Option<Asks>,
    /// What the instructor says to the pair.
    pub(super) told: Option<String>,
    /// A mark that the instructor sets.
    pub(super) set: Option<SetMark>,
    /// What the pair says beside its numbers.
    pub(super) remarks: Option<String>,
}

/// A query.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Asks {
    pub(super) no: Option<String>,
    pub(super) text: String,
    pub(super) answer: Option<String>,
}

/// A mark in place of the computed one.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SetMark {
    pub(super) mark: Decimal,
    pub(super) reason: String,
}

/// Points of one student of a pair.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Points {
    pub(super) pair: String,
    /// Place of the student in the pair.
    pub(super) person: usize,
    pub(super) points: Decimal,
    pub(super) reason: String,
}

/// The digits of another pair's report of the same assignment, laid over what this pair measured.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SameDigits {
    pub(super) pair: String,
    pub(super) except: Vec<String>,
}

/// Reads the scenario.
pub(super) fn scenario() -> Result<Scenario, toml::de::Error> {
    toml::from_str(TEXT)
}
