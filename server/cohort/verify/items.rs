//! Family of item analysis and of lengthened exercises.

use serde_json::{Map, Value, json};

use super::input::{numbers, rows, said, unknown};
use crate::cohort::items::{ItemAnalysis, MostScores, item_analysis, length_for, lengthened};
use crate::metrology::verify::{Family, by_rule, number};

pub(super) const FAMILY: Family = Family::new("item_analysis", compute, by_rule);

fn compute(case: &Value) -> Result<Value, String> {
    let input = case.get("input").unwrap_or(case);
    match input.get("kind").and_then(Value::as_str) {
        None | Some("item_analysis") => analysed(input),
        Some("spearman_brown") => {
            let new = lengthened(number(input, "r")?, number(input, "factor")?).map_err(said)?;
            Ok(json!({ "r_new": new }))
        }
        Some("spearman_brown_length") => {
            let factor = length_for(number(input, "r")?, number(input, "target")?).map_err(said)?;
            Ok(json!({ "factor": factor }))
        }
        Some(other) => Err(unknown(other, "item_analysis, spearman_brown, spearman_brown_length")),
    }
}

fn analysed(input: &Value) -> Result<Value, String> {
    let scores = rows(input, "scores")?;
    let each = match input.get("max_score") {
        Some(Value::Array(_)) => Some(numbers(input, "max_score")?),
        _ => None,
    };
    let most = match &each {
        Some(each) => MostScores::Each(each),
        None => MostScores::Same(number(input, "max_score")?),
    };
    Ok(shown(&item_analysis(&scores, most).map_err(said)?))
}

fn shown(found: &ItemAnalysis) -> Value {
    let mut values = Map::new();
    let mut add = |key: &str, value: Value| values.insert(key.to_owned(), value);
    add("n", json!(found.persons));
    add("k", json!(found.items));
    add("difficulty", json!(found.difficulty));
    add("r_total", json!(found.with_total));
    add("r_rest", json!(found.with_rest));
    add("mean_total", json!(found.mean_total));
    add("var_total_n1", json!(found.variance_total));
    add("alpha", json!(found.alpha));
    if found.right_or_wrong {
        add("kr21", json!(found.kr21));
    }
    add("discrimination_27", json!(found.discrimination));
    add("group_size", json!(found.group_size));
    add("sem", json!(found.standard_error));
    add("alpha_if_deleted", json!(found.alpha_without));
    Value::Object(values)
}
