//! Family of E_n, z, z' and zeta: each score that the input has the numbers for.

use rust_decimal::Decimal;
use serde_json::{Map, Value, json};

use super::input::said;
use crate::cohort::scores::{Stated, en, is_negligible, z, z_prime, zeta};
use crate::metrology::verify::{Family, by_rule, decimal, optional_decimal};

pub(super) const FAMILY: Family = Family::new("proficiency_scores", compute, by_rule);

fn compute(case: &Value) -> Result<Value, String> {
    let input = case.get("input").unwrap_or(case);
    let (x, reference) = (decimal(input, "x")?, decimal(input, "X")?);
    let get = |key: &str| optional_decimal(input, key);
    let mut found = Map::new();
    if let (Some(of_value), Some(of_reference)) = (get("U_x")?, get("U_X")?) {
        let score = en(x, reference, of_value, of_reference).map_err(said)?;
        found.insert("en".to_owned(), json!(score.value));
        found.insert("en_verdict".to_owned(), json!(score.verdict));
    }
    let of_value = standard(input, "u_x", "U_x", "k_x")?;
    let of_reference = standard(input, "u_X", "U_X", "k_X")?;
    let mut add = |name: &str, score: crate::cohort::scores::Score<_>| {
        found.insert(name.to_owned(), json!(score.value));
        found.insert(format!("{name}_verdict"), json!(score.verdict));
    };
    if let Some(sigma) = get("sigma_pt")? {
        add("z", z(x, reference, sigma).map_err(said)?);
        if let Some(of_reference) = of_reference {
            add("zprime", z_prime(x, reference, sigma, of_reference).map_err(said)?);
        }
    }
    if let (Some(of_value), Some(of_reference)) = (of_value, of_reference) {
        add("zeta", zeta(x, reference, of_value, of_reference).map_err(said)?);
    }
    if let (Some(sigma), Some(of_reference)) = (get("sigma_pt")?, of_reference) {
        let negligible = is_negligible(of_reference, sigma);
        found.insert("uncertainty_negligible".to_owned(), json!(negligible));
    }
    if found.is_empty() {
        return Err("neither `sigma_pt`, `U_x` and `U_X`, nor `u_x` and `u_X` given: nothing to score by".to_owned());
    }
    Ok(Value::Object(found))
}

/// A standard uncertainty, or an expanded one with its k.
fn standard(input: &Value, u: &str, expanded: &str, k: &str) -> Result<Option<Stated>, String> {
    if let Some(u) = optional_decimal(input, u)? {
        return Ok(Some(Stated::standard(u)));
    }
    let both: (Option<Decimal>, Option<Decimal>) = (optional_decimal(input, expanded)?, optional_decimal(input, k)?);
    Ok(both.0.zip(both.1).map(|(expanded, k)| Stated { expanded, k }))
}
