//! Reference cases of statistics and uncertainty, one file per family, beside those of the floors above.

mod agreement;
mod anova;
mod circle;
mod duplicates;
mod gauge;
mod input;
mod items;
mod robust;
mod scores;
mod ties;
mod uncertainty;

use serde_json::Value;

use crate::metrology::verify::{Family, FileResult, VerifyError, run_with};

/// All families that there are.
#[must_use]
pub fn families() -> Vec<Family> {
    let mut all = crate::metrology::verify::families();
    all.extend([
        scores::FAMILY,
        robust::FAMILY,
        uncertainty::FAMILY,
        anova::FAMILY,
        gauge::CROSSED,
        gauge::NESTED,
        items::FAMILY,
        agreement::FAMILY,
        duplicates::FAMILY,
    ]);
    all
}

/// Computes every case of a file of any family; the arguments are those of [`run_with`].
///
/// # Errors
/// As [`run_with`].
pub fn run(file: &Value, stem: Option<&str>, chosen: Option<&str>) -> Result<FileResult, VerifyError> {
    run_with(&families(), file, stem, chosen)
}
