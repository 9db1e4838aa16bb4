//! Families of crossed and nested gauge studies.

use serde_json::{Map, Value, json};

use super::input::{layers, list, said};
use crate::cohort::gauge::{
    AverageRange, Components, CrossedAnalysis, CrossedStudy, Effect, Interaction, NestedRow, average_range, nested,
};
use crate::metrology::verify::{Family, by_rule};

pub(super) const CROSSED: Family = Family::new("gauge_rr", crossed, by_rule);
pub(super) const NESTED: Family = Family::new("gauge_study_nested", of_nested, by_rule);

fn crossed(case: &Value) -> Result<Value, String> {
    let data = layers(case.get("input").unwrap_or(case), "data")?;
    let study = CrossedStudy::new(&data).map_err(said)?;
    let found = study.analysis();
    Ok(json!({
        "ss": sums(&found),
        "df": {
            "part": found.degrees.parts,
            "oper": found.degrees.operators,
            "int": found.degrees.interaction,
            "error": found.degrees.error,
            "total": found.degrees.total,
        },
        "ms": {
            "part": found.means.parts,
            "oper": found.means.operators,
            "int": found.means.interaction,
            "error": found.means.error,
        },
        "grand_mean": found.grand_mean,
        "with_interaction": with_interaction(&found.with_interaction),
        "pooled": model(&found.pooled),
        "use_pooled_alpha_0.05": found.use_pooled(0.05),
        "use_pooled_alpha_0.25": found.use_pooled(0.25),
        "average_range": average_range(&study).map(|a| by_ranges(&a)),
    }))
}

fn sums(found: &CrossedAnalysis) -> Value {
    json!({
        "part": found.sums.parts,
        "oper": found.sums.operators,
        "int": found.sums.interaction,
        "error": found.sums.error,
        "total": found.sums.total,
    })
}

fn with_interaction(found: &Interaction) -> Value {
    let mut value = model(found);
    if let Some(object) = value.as_object_mut() {
        object.insert("F_int".to_owned(), json!(found.interaction.map(|e| e.f)));
        object.insert("p_int".to_owned(), json!(found.interaction.map(|e| e.p)));
    }
    value
}

fn model(found: &Interaction) -> Value {
    let c: &Components = &found.components;
    let (f, p) = (|e: Option<Effect>| e.map(|e| e.f), |e: Option<Effect>| e.map(|e| e.p));
    json!({
        "var_repeat": c.repeat,
        "var_int": c.interaction,
        "var_oper": c.operators,
        "var_part": c.parts,
        "var_int_raw": c.interaction_raw,
        "var_oper_raw": c.operators_raw,
        "var_part_raw": c.parts_raw,
        "EV": c.repeatability(),
        "AV": c.reproducibility(),
        "GRR": c.gauge(),
        "PV": c.part_spread(),
        "TV": c.total(),
        "pct_contribution": c.contributions().map(|s| json!({
            "repeat": s.repeat,
            "reproducibility": s.reproducibility,
            "grr": s.gauge,
            "part": s.parts,
        })),
        "pct_study_grr": c.percent_of_study(),
        "ndc_raw": c.categories_raw(),
        "ndc": c.categories(),
        "F_part": f(found.parts),
        "p_part": p(found.parts),
        "F_oper": f(found.operators),
        "p_oper": p(found.operators),
    })
}

fn by_ranges(found: &AverageRange) -> Value {
    json!({
        "R_bar": found.mean_range,
        "X_diff": found.operator_range,
        "R_p": found.part_range,
        "EV": found.repeatability,
        "AV": found.reproducibility,
        "av_clamped": found.reproducibility_is_nothing,
        "GRR": found.gauge,
        "PV": found.part_spread,
        "TV": found.total,
        "pct_grr": found.percent_of_study(),
        "ndc_raw": found.categories_raw(),
    })
}

/// Rows of run, part, average and standard deviation.
fn of_nested(case: &Value) -> Result<Value, String> {
    let rows: Vec<NestedRow> = list(case.get("input").unwrap_or(case), "rows")?
        .iter()
        .map(nested_row)
        .collect::<Result<_, _>>()?;
    let found = nested(&rows).map_err(said)?;
    let mut values = Map::new();
    for (run, within, between) in &found.runs {
        values.insert(format!("level1_run{run}"), json!(within));
        values.insert(format!("level2_run{run}"), json!(between));
    }
    values.insert("level3".to_owned(), json!(found.between_runs));
    values.insert("level1_both".to_owned(), json!(found.within_days));
    Ok(Value::Object(values))
}

fn nested_row(row: &Value) -> Result<NestedRow, String> {
    let wrong = || format!("`rows` has {row}, which is not a run, a wafer, an average and a standard deviation");
    let whole = |at: usize| row.get(at).and_then(Value::as_i64).ok_or_else(wrong);
    let number = |at: usize| row.get(at).and_then(Value::as_f64).ok_or_else(wrong);
    Ok(NestedRow {
        run: whole(0)?,
        part: whole(1)?,
        average: number(2)?,
        sd: number(3)?,
    })
}
