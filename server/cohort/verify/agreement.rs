//! Family of agreement: kappas, Wilson intervals, calls against the truth.

use serde_json::{Value, json};

use super::input::{count, counts, said, unknown};
use crate::cohort::agreement::{CallCounts, Proportion, call_statistics, cohen, fleiss, wilson};
use crate::metrology::verify::{Family, by_rule, number, text};

pub(super) const FAMILY: Family = Family::new("attribute_agreement", compute, by_rule);

fn compute(case: &Value) -> Result<Value, String> {
    let input = case.get("input").unwrap_or(case);
    match text(input, "kind")? {
        "cohen" => of_two(input),
        "fleiss" => of_many(input),
        "wilson" => {
            let (x, n) = (count(input, "x")?, count(input, "n")?);
            let found = wilson(x, n, number(input, "confidence")?).map_err(said)?;
            Ok(json!({ "lower": found.lower, "upper": found.upper }))
        }
        "calls" => calls(input),
        other => Err(unknown(other, "cohen, fleiss, wilson, calls")),
    }
}

fn of_two(input: &Value) -> Result<Value, String> {
    let found = cohen(&counts(input, "table")?).map_err(said)?;
    Ok(json!({
        "n": found.n,
        "po": found.observed,
        "pe": found.expected,
        "kappa": found.kappa,
        "se_null": found.standard_error,
        "kappa_linear": found.linear,
        "kappa_quadratic": found.quadratic,
    }))
}

fn of_many(input: &Value) -> Result<Value, String> {
    let found = fleiss(&counts(input, "counts")?).map_err(said)?;
    Ok(json!({
        "P_bar": found.observed,
        "P_e": found.expected,
        "kappa": found.kappa,
        "category_kappa": found.categories,
    }))
}

fn calls(input: &Value) -> Result<Value, String> {
    let counts = CallCounts {
        rejected_nonconforming: count(input, "rejected_nonconforming")?,
        accepted_nonconforming: count(input, "accepted_nonconforming")?,
        rejected_conforming: count(input, "rejected_conforming")?,
        accepted_conforming: count(input, "accepted_conforming")?,
    };
    let found = call_statistics(&counts).map_err(said)?;
    let share = |p: Option<Proportion>| p.map(|p| json!({ "value": p.value, "wilson": [p.lower, p.upper] }));
    Ok(json!({
        "sensitivity": share(found.sensitivity),
        "specificity": share(found.specificity),
        "miss": share(found.miss),
        "false_alarm": share(found.false_alarm),
        "accuracy": share(found.accuracy),
        "ppv": share(found.positive_value),
        "npv": share(found.negative_value),
        "youden_j": found.youden,
        "cohen_kappa": found.kappa,
    }))
}
