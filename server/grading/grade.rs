//! The grade as it is stored, printed and shown to the instructor. Its JSON is a documented interface.
//!
//! Lengths in the exercise's unit, angles in degrees, probabilities as fractions. The type holds the truth of the
//! plate: students are shown `super::feedback` instead, which is made from it and has no field of the truth.

use serde::{Deserialize, Serialize};

use super::decided::Verdict;
use super::extra::Extra;
use crate::exercise::model::Quantity;
use crate::exercise::names::{BalloonNo, ExerciseCode, Serial};
use crate::report::call::Call;
use rust_decimal::Decimal;

/// One graded report.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Grade {
    /// Name of the report: the file's, or the server's for it.
    pub report: String,
    /// Exercise.
    pub exercise: ExerciseCode,
    /// Plate.
    pub serial: Serial,
    /// One for each characteristic, in sheet order.
    #[serde(with = "super::columns")]
    pub items: Vec<GradedItem>,
    /// Which mistakes explain the report.
    pub diagnosis: Diagnosis,
    /// The mark and what made it.
    pub marks: Marks,
}

/// One line of a graded report.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GradedItem {
    /// Balloon number.
    pub no: BalloonNo,
    /// Quantity.
    pub of: Quantity,
    /// Nominal.
    pub nominal: f64,
    /// Lower limit as printed; null where one-sided.
    pub lower: Option<f64>,
    /// Upper limit as printed, without bonus.
    pub upper: Option<f64>,
    /// What the plate is; null where not established.
    pub reference: Option<f64>,
    /// Twice the standard uncertainty of the reference.
    pub reference_expanded_uncertainty: Option<f64>,
    /// What the pair wrote.
    pub measured: Option<f64>,
    /// Measured less nominal.
    pub deviation: Option<f64>,
    /// `E_n`, or z' under a fitness score.
    pub en: Option<f64>,
    /// 0 to 1; null where not established.
    pub measurement_score: Option<f64>,
    /// What the pair called.
    pub call: Option<Call>,
    /// What the decision rule makes of the pair's number.
    pub call_by_own_value: Option<Call>,
    /// What the decision rule makes of the reference.
    pub call_by_reference: Option<Call>,
    /// Whether the reference is so near a limit that an honest pair may read either side.
    pub in_doubt: Option<bool>,
    /// Of the reference, against the limits as printed.
    pub probability_of_conformity: Option<f64>,
    /// 0 or 1; null where not established.
    pub call_for_own_value_score: Option<f64>,
    /// 0 or 1; null where not established.
    pub call_for_plate_score: Option<f64>,
    /// The value after the stated faults are taken out.
    pub corrected: Option<f64>,
    /// What is particular about this line, in words.
    pub note: Option<String>,
}

/// How far the search for mistakes came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DiagnosisState {
    /// The report fits the plate.
    Clean,
    /// A set of equal corrections reaches 0.90.
    FaultStated,
    /// One reaches 0.50 but not 0.90.
    FaultSuspected,
    /// It does not fit, and nothing reaches 0.50.
    Unexplained,
    /// No search was made.
    NotLookedInto,
}

/// Which mistakes explain a report.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Diagnosis {
    /// State of the search.
    pub state: DiagnosisState,
    /// Joint probability of what is stated; null where no search was made.
    pub probability: Option<f64>,
    /// The stated or suspected set.
    pub faults: Vec<FoundFault>,
    /// Other sets with their probabilities.
    pub alternatives: Vec<Alternative>,
    /// Balloon numbers that the set does not explain.
    pub unexplained: Vec<BalloonNo>,
    /// What the instructor has decided; left out where nothing is.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub decided: Vec<DecidedFault>,
    /// The one reading that would tell what is open; left out where nothing is, or nothing would.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub check: Option<Check>,
    /// Probability of the sets that the search ranked and did not weigh, bounded by their ranks in a linear model of the
    /// report (each that did not come back ranks no higher than the last that did). No proof: worlds that were not opened
    /// are not in it. Null where no search was made.
    #[serde(default)]
    pub left_out: Option<f64>,
}

/// The instructor's word on a fault, as the grade was computed with it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DecidedFault {
    /// Code of the family.
    pub fault: String,
    /// Parameters as the family names them.
    pub parameters: serde_json::Map<String, serde_json::Value>,
    /// Confirmed or rejected.
    pub verdict: Verdict,
    /// Whether the report could follow it: faults may contradict each other or speak of values that are not there.
    pub applied: bool,
}

/// A reading that the pair can take while the plate is still clamped. It says nothing of what the plate is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Check {
    /// What is read.
    pub reading: Extra,
    /// What to do, in words.
    pub request: String,
    /// What the field for the answer is called.
    pub label: String,
}

impl Diagnosis {
    /// The answer where no search was made.
    #[must_use]
    pub const fn not_looked_into() -> Self {
        Self {
            state: DiagnosisState::NotLookedInto,
            probability: None,
            faults: Vec::new(),
            alternatives: Vec::new(),
            unexplained: Vec::new(),
            decided: Vec::new(),
            check: None,
            left_out: None,
        }
    }
}

/// One fault with what it explains.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FoundFault {
    /// Code of the family.
    pub fault: String,
    /// Probability of this fault.
    pub probability: f64,
    /// Parameters as the family names them.
    pub parameters: serde_json::Map<String, serde_json::Value>,
    /// Balloon numbers whose values it explains.
    pub explains: Vec<BalloonNo>,
    /// What happened, in words.
    pub text: String,
    /// Whether the instructor has confirmed it; left out where not.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub confirmed: bool,
}

/// Another set of faults.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alternative {
    /// Its faults.
    pub faults: Vec<NamedFault>,
    /// Its probability.
    pub probability: f64,
}

/// A fault by name and parameters only.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NamedFault {
    /// Code of the family.
    pub fault: String,
    /// Parameters as the family names them.
    pub parameters: serde_json::Map<String, serde_json::Value>,
}

/// The mark, out of 100, with one decimal; null where no line of the plate is established.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Marks {
    /// Without follow-through.
    #[serde(with = "number")]
    pub as_reported: Option<Decimal>,
    /// With it.
    #[serde(with = "number")]
    pub with_follow_through: Option<Decimal>,
    /// After everything.
    #[serde(with = "number")]
    pub r#final: Option<Decimal>,
    /// They add up to `final` exactly.
    pub lines: Vec<Line>,
}

/// One reason of a mark.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// The reason.
    pub text: String,
    /// What it adds or takes.
    #[serde(with = "points")]
    pub points: Decimal,
}

/// Exact decimals as JSON numbers: at most six places, so that the shortest form of the double is the decimal.
mod points {
    use rust_decimal::Decimal;
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    use crate::units::{decimal_from_f64, decimal_to_f64};

    pub(super) fn serialize<S: Serializer>(value: &Decimal, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_f64(decimal_to_f64(*value))
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Decimal, D::Error> {
        decimal_from_f64(f64::deserialize(from)?).ok_or_else(|| D::Error::custom("points out of range"))
    }
}

mod number {
    use rust_decimal::Decimal;
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    use crate::units::{decimal_from_f64, decimal_to_f64};

    #[expect(clippy::ref_option, reason = "the signature is serde's")]
    pub(super) fn serialize<S: Serializer>(value: &Option<Decimal>, to: S) -> Result<S::Ok, S::Error> {
        match value {
            Some(value) => to.serialize_f64(decimal_to_f64(*value)),
            None => to.serialize_none(),
        }
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Decimal>, D::Error> {
        let number = Option::<f64>::deserialize(from)?;
        number
            .map(|n| decimal_from_f64(n).ok_or_else(|| D::Error::custom("mark out of range")))
            .transpose()
    }
}
