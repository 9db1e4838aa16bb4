//! Family of duplicate reports: the chance that honest values agree, one by one and k of n.

use serde_json::{Value, json};

use super::input::{list, said, size, unknown};
use crate::cohort::duplicates::{AtLeast, Chance, Likeness, TwoValues, tally, tally_of_equals};
use crate::metrology::verify::{Family, by_rule, number, optional_number, text};

pub(super) const FAMILY: Family = Family::new("duplicate_reports", compute, by_rule);

fn compute(case: &Value) -> Result<Value, String> {
    let input = case.get("input").unwrap_or(case);
    match text(input, "kind")? {
        "agree_one" => one(input),
        "agree_k_of_n" => {
            let chance = two_values(input)?.chance(likeness(input)?).map_err(said)?;
            let found = tally_of_equals(chance, size(input, "n")?, size(input, "k")?).map_err(said)?;
            Ok(shown(&json!(chance.agree), &found))
        }
        "agree_k_of_mixed" => {
            let chances = list(input, "items")?
                .iter()
                .map(|item| two_values(item)?.chance(likeness(item)?).map_err(said))
                .collect::<Result<Vec<Chance>, String>>()?;
            let found = tally(&chances, size(input, "k")?).map_err(said)?;
            let agree: Vec<f64> = chances.iter().map(|c| c.agree).collect();
            Ok(shown(&json!(agree), &found))
        }
        other => Err(unknown(other, "agree_one, agree_k_of_n, agree_k_of_mixed")),
    }
}

fn one(input: &Value) -> Result<Value, String> {
    let values = two_values(input)?;
    let offset = optional_number(input, "offset")?.unwrap_or(0.0);
    let random = |likeness| values.chance(likeness).map(|c| c.agree).map_err(said);
    let fixed = |likeness| values.agree_at(offset, likeness).map_err(said);
    Ok(json!({
        "p_same_random": random(Likeness::Same)?,
        "p_last_digit_random": random(Likeness::LastDigit)?,
        "p_same_fixed": fixed(Likeness::Same)?,
        "p_last_digit_fixed": fixed(Likeness::LastDigit)?,
    }))
}

/// `sigma1` and `sigma2`, or one `sigma` for both; `bias` of the first against the second, or `bias1` and `bias2`.
fn two_values(input: &Value) -> Result<TwoValues, String> {
    let sigma = |key: &str| match optional_number(input, key)? {
        Some(sigma) => Ok(sigma),
        None => number(input, "sigma"),
    };
    let bias = match optional_number(input, "bias")? {
        Some(bias) => bias,
        None => optional_number(input, "bias1")?.unwrap_or(0.0) - optional_number(input, "bias2")?.unwrap_or(0.0),
    };
    Ok(TwoValues {
        sigma_1: sigma("sigma1")?,
        sigma_2: sigma("sigma2")?,
        step: number(input, "d")?,
        bias,
    })
}

fn likeness(input: &Value) -> Result<Likeness, String> {
    match text(input, "mode")? {
        "same" => Ok(Likeness::Same),
        "last" => Ok(Likeness::LastDigit),
        other => Err(format!("`mode` is {other}; it must be same or last")),
    }
}

fn shown(p: &Value, found: &AtLeast) -> Value {
    json!({
        "p": p,
        "p_exactly_k": found.exactly,
        "p_at_least_k": found.at_least,
        "log10_at_least_k": found.log10_at_least,
        "expected_matches": found.expected,
    })
}
