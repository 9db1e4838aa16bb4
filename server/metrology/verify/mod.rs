//! Reference cases: a JSON file of inputs and outside answers in, our values under the same names out, with how far
//! apart they are. So anyone can hold these fits against figures of their own. One file per group of families; a new
//! group is a file with a `FAMILIES` list and a line in `families`.

mod by_rule;
mod compare;
mod conformity;
mod frame_tip;
mod gaussian;
mod input;
mod limits_of_size;
mod published;
mod typed;
mod zones;

pub use by_rule::by_rule;
pub(crate) use input::number;
pub(crate) use typed::{decimal, optional_decimal, optional_number, text};

use serde_json::Value;
use thiserror::Error;

/// A family of cases: how to compute one, and how to hold it against what is expected.
#[derive(Clone, Copy)]
pub struct Family {
    /// Name, as a file's `family` key gives it.
    pub name: &'static str,
    compute: fn(&Value) -> Result<Value, String>,
    compare: fn(&Expected<'_>, &Value) -> Vec<Difference>,
}

impl Family {
    /// A family: its name; computed values, or why there are none, from a case; differences of expected and computed.
    #[must_use]
    pub const fn new(
        name: &'static str,
        compute: fn(&Value) -> Result<Value, String>,
        compare: fn(&Expected<'_>, &Value) -> Vec<Difference>,
    ) -> Self {
        Self { name, compute, compare }
    }
}

/// What a case expects.
#[derive(Clone, Copy)]
pub struct Expected<'a> {
    /// The values.
    pub values: &'a Value,
    /// How near they have to be.
    pub tolerance: &'a Value,
}

/// How far one computed field is from its expected value.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// Field, with dots where it lies deeper.
    pub field: String,
    /// Largest difference, in the field's unit (angles between directions in radians).
    pub difference: f64,
    /// What the case allows; none where it says nothing, and then the difference is only shown.
    pub tolerance: Option<f64>,
}

impl Difference {
    /// Difference over tolerance. A difference of nothing is nothing, whatever is allowed.
    #[must_use]
    pub fn share(&self) -> Option<f64> {
        let tolerance = self.tolerance?;
        Some(if self.difference <= 0.0 {
            0.0
        } else {
            self.difference / tolerance
        })
    }

    fn passes(&self) -> bool {
        self.tolerance.is_none_or(|tolerance| self.difference <= tolerance)
    }
}

/// One case after computing.
#[derive(Debug, Clone, PartialEq)]
pub struct CaseResult {
    /// The case's own name.
    pub id: String,
    /// Computed values under the names of `expected`; `{"status": "undetermined", "message": ...}` where the input does
    /// not determine them, `undefined` where there is no such thing.
    pub computed: Value,
    /// Differences where the case expects something.
    pub differences: Vec<Difference>,
    /// None where nothing is expected.
    pub pass: Option<bool>,
}

impl CaseResult {
    /// The difference that takes the largest share of its tolerance.
    #[must_use]
    pub fn worst(&self) -> Option<&Difference> {
        let share = |d: &Difference| d.share().unwrap_or(-1.0);
        self.differences
            .iter()
            .filter(|d| d.tolerance.is_some())
            .max_by(|a, b| share(a).total_cmp(&share(b)))
    }
}

/// A file after computing.
#[derive(Debug, Clone, PartialEq)]
pub struct FileResult {
    /// Name of the family.
    pub family: &'static str,
    /// The cases, in the order of the file.
    pub cases: Vec<CaseResult>,
}

/// Why a file cannot be run at all.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum VerifyError {
    /// Nothing says what the cases are.
    #[error(
        "nothing says which family these cases are: give the file a `family` key, or use --family with one of {known}"
    )]
    NoFamily {
        /// All names.
        known: String,
    },
    /// A name that is none of ours.
    #[error("there is no family {name:?}: it must be one of {known}")]
    UnknownFamily {
        /// The name given.
        name: String,
        /// All names.
        known: String,
    },
    /// No list of cases.
    #[error("no cases: the file must be an object with a list under `cases`")]
    NoCases,
}

/// The families of this floor, in the order of the files.
#[must_use]
pub fn families() -> Vec<Family> {
    [
        gaussian::FAMILIES,
        zones::FAMILIES,
        frame_tip::FAMILIES,
        published::FAMILIES,
        limits_of_size::FAMILIES,
        conformity::FAMILIES,
    ]
    .concat()
}

/// Computes every case of a file of one of this floor's families, as [`run_with`].
///
/// # Errors
/// As [`run_with`].
pub fn run(file: &Value, stem: Option<&str>, chosen: Option<&str>) -> Result<FileResult, VerifyError> {
    run_with(&families(), file, stem, chosen)
}

/// Computes every case of a file. `stem` is the file's name, used where the file does not name its family; `chosen`
/// overrides both.
///
/// # Errors
/// A file whose family cannot be told, or without a list of cases. A case that cannot be computed is not an error.
pub fn run_with(
    all: &[Family],
    file: &Value,
    stem: Option<&str>,
    chosen: Option<&str>,
) -> Result<FileResult, VerifyError> {
    let family = find_family(all, file, stem, chosen)?;
    let cases = file
        .get("cases")
        .and_then(Value::as_array)
        .ok_or(VerifyError::NoCases)?;
    let cases = cases
        .iter()
        .enumerate()
        .map(|(index, case)| run_case(family, index, case))
        .collect();
    Ok(FileResult {
        family: family.name,
        cases,
    })
}

fn find_family(all: &[Family], file: &Value, stem: Option<&str>, chosen: Option<&str>) -> Result<Family, VerifyError> {
    let known = || all.iter().map(|f| f.name).collect::<Vec<_>>().join(", ");
    let named = chosen.or_else(|| file.get("family").and_then(Value::as_str));
    if let Some(name) = named {
        let found = all.iter().find(|f| f.name == name).copied();
        return found.ok_or_else(|| VerifyError::UnknownFamily {
            name: name.to_owned(),
            known: known(),
        });
    }
    // The longest name that the file's own holds: "mine_gaussian_line3d_2" is gaussian_line3d.
    let matching = all.iter().filter(|f| stem.is_some_and(|stem| stem.contains(f.name)));
    matching
        .max_by_key(|f| f.name.len())
        .copied()
        .ok_or_else(|| VerifyError::NoFamily { known: known() })
}

fn run_case(family: Family, index: usize, case: &Value) -> CaseResult {
    let id = match case.get("id") {
        Some(Value::String(id)) => id.clone(),
        Some(Value::Number(id)) => id.to_string(),
        _ => format!("case {}", index + 1),
    };
    let outcome = (family.compute)(case);
    let expected = case.get("expected").filter(|expected| !expected.is_null());
    let Some(values) = expected else {
        return CaseResult {
            id,
            computed: outcome.unwrap_or_else(|message| refused(family, &message)),
            differences: Vec::new(),
            pass: None,
        };
    };
    let refusal = values.get("status").and_then(Value::as_str).is_some();
    match outcome {
        Err(message) => CaseResult {
            id,
            computed: refused(family, &message),
            differences: Vec::new(),
            pass: Some(refusal),
        },
        Ok(computed) => {
            let expected = Expected {
                values,
                tolerance: case.get("tolerance").unwrap_or(&Value::Null),
            };
            let differences = (family.compare)(&expected, &computed);
            let pass = !refusal && !differences.is_empty() && differences.iter().all(Difference::passes);
            CaseResult {
                id,
                computed,
                differences,
                pass: Some(pass),
            }
        }
    }
}

/// Numbers that do not determine what was asked, or for which it is not defined.
fn refused(family: Family, message: &str) -> Value {
    let defined = ["gaussian_", "chebyshev_", "drf_", "tip_", "published_", "robust_"];
    let status = if defined.iter().any(|start| family.name.starts_with(start)) {
        "undetermined"
    } else {
        "undefined"
    };
    serde_json::json!({ "status": status, "message": message })
}
