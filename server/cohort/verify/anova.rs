//! Family of one-way analysis of variance: `certified` from the decimals as typed, `f64` from the doubles that they are
//! stored as.

use serde_json::{Map, Value, json};

use super::input::{rows, said};
use crate::cohort::anova::{OneWay, one_way, one_way_of_doubles};
use crate::metrology::verify::{Difference, Expected, Family, by_rule};

pub(super) const FAMILY: Family = Family::new("anova_strd", compute, compare);

/// How far the doubles are from the decimals. The file works it out from 15 printed digits, so it is shown and not held.
const ATTAINABLE: &str = "certified_attainable_rel";

fn compute(case: &Value) -> Result<Value, String> {
    let groups = rows(case.get("input").unwrap_or(case), "groups")?;
    let typed = one_way(&groups).map_err(said)?;
    let stored = one_way_of_doubles(&groups).map_err(said)?;
    let apart = typed.f.zip(stored.f).filter(|(typed, _)| *typed > 0.0);
    Ok(json!({
        "certified": table(&typed),
        "f64": table(&stored),
        ATTAINABLE: apart.map(|(typed, stored)| (stored - typed).abs() / typed),
    }))
}

fn table(found: &OneWay) -> Value {
    json!({
        "df_between": found.df_between,
        "ss_between": found.ss_between,
        "ms_between": found.ms_between,
        "df_within": found.df_within,
        "ss_within": found.ss_within,
        "ms_within": found.ms_within,
        "F": found.f,
        "r_squared": found.r_squared,
        "residual_sd": found.residual_sd,
    })
}

fn compare(expected: &Expected<'_>, computed: &Value) -> Vec<Difference> {
    let mut values: Map<String, Value> = expected.values.as_object().cloned().unwrap_or_default();
    values.remove(ATTAINABLE);
    let values = Value::Object(values);
    by_rule(
        &Expected {
            values: &values,
            ..*expected
        },
        computed,
    )
}
