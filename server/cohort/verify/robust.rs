//! Family of robust statistics.

use rust_decimal::Decimal;
use serde_json::{Value, json};

use super::input::{numbers, said};
use super::ties::q_of_50_digits;
use crate::cohort::count;
use crate::cohort::double2::as_typed;
use crate::cohort::robust::{
    EXACT_FACTOR, PRINTED_FACTOR, algorithm_a, algorithm_a_iterates, algorithm_a_third_figure, hampel_mean, made,
    median, niqr, q_method, u_of_consensus,
};
use crate::metrology::verify::{Family, by_rule};
use crate::units::decimal_to_f64;

pub(super) const FAMILY: Family = Family::new("robust_statistics", compute, by_rule);

/// How many iterates are shown.
const ITERATES: usize = 5;

fn compute(case: &Value) -> Result<Value, String> {
    let typed = numbers(case.get("input").unwrap_or(case), "values")?;
    let (values, origin) = from_middle(&typed);
    let printed = algorithm_a(&values, PRINTED_FACTOR).map_err(said)?;
    let exact = algorithm_a(&values, EXACT_FACTOR).map_err(said)?;
    let third = algorithm_a_third_figure(&typed, PRINTED_FACTOR).map_err(said)?;
    let iterates = algorithm_a_iterates(&values, PRINTED_FACTOR, ITERATES).map_err(said)?;
    let iterates: Vec<[f64; 2]> = iterates.iter().map(|i| [origin + i.mean, i.spread]).collect();
    // The file's own figures tell equal differences apart by the rounding of 50 digits; see `ties`.
    let (q, q_exact) = (q_of_50_digits(&typed).map_err(said)?, q_method(&values).map_err(said)?);
    let hampel = |q: f64| hampel_mean(&values, q).map(|mean| origin + mean).map_err(said);
    let (mean, sd) = classical(&values);
    Ok(json!({
        "n": values.len(),
        "mean": origin + mean,
        "sd": sd,
        "median": origin + median(&values),
        "made": made(&values).map_err(said)?,
        "niqr": niqr(&values).map_err(said)?,
        "algA_mean": origin + printed.mean,
        "algA_s": printed.spread,
        "algA_exact_mean": origin + exact.mean,
        "algA_exact_s": exact.spread,
        "u_consensus": u_of_consensus(printed.spread, values.len()),
        "iterates": iterates,
        "third_figure_mean": third.mean,
        "third_figure_s": third.spread,
        "q": q,
        "hampel": hampel(q)?,
        "q_exact": q_exact,
        "hampel_exact": hampel(q_exact)?,
    }))
}

/// The values as typed less one of them, by decimals, and that one: far from zero the differences keep digits that those of
/// doubles lose. Values that decimals cannot hold stay as they are.
fn from_middle(typed: &[f64]) -> (Vec<f64>, f64) {
    let decimals: Option<Vec<Decimal>> = typed.iter().map(|v| as_typed(*v)).collect();
    let mut sorted = decimals.clone().unwrap_or_default();
    sorted.sort_unstable();
    let Some((decimals, middle)) = decimals.zip(sorted.get(sorted.len() / 2)) else {
        return (typed.to_vec(), 0.0);
    };
    let less = |v: &Decimal| v.checked_sub(*middle).map(decimal_to_f64);
    match decimals.iter().map(less).collect() {
        Some(values) => (values, decimal_to_f64(*middle)),
        None => (typed.to_vec(), 0.0),
    }
}

/// Mean and standard deviation, for comparison.
fn classical(values: &[f64]) -> (f64, f64) {
    let (n, middle) = (count(values.len()), median(values));
    let shift = values.iter().map(|v| v - middle).sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - middle - shift).powi(2)).sum();
    (middle + shift, (squares / (n - 1.0)).sqrt())
}
