//! Family of measurement uncertainty.

use serde_json::{Value, json};

use super::circle;
use super::input::{list, numbers, rows, said, unknown};
use crate::metrology::uncertainty::{
    Contribution, Product, SumOfProducts, combine, correlated_sum, coverage_factor, factor_for_sigmas,
    half_width_of_rectangulars, propagate, simultaneous,
};
use crate::metrology::verify::{Family, by_rule, number, optional_number, text};

pub(super) const FAMILY: Family = Family::new("measurement_uncertainty", compute, by_rule);

fn compute(case: &Value) -> Result<Value, String> {
    let input = case.get("input").unwrap_or(case);
    match text(input, "kind")? {
        "welch_satterthwaite" => budget(input),
        "t_quantile" => quantiles(input),
        "t_quantile_real" => {
            let k = coverage_factor(number(input, "p")?, optional_number(input, "nu")?).map_err(said)?;
            Ok(json!({ "k": k }))
        }
        "correlated_sum" => {
            let u = correlated_sum(&numbers(input, "c")?, &numbers(input, "u")?, &rows(input, "r")?).map_err(said)?;
            Ok(json!({ "u_c": u }))
        }
        "sum_of_rectangulars" => rectangulars(input),
        "end_gauge" => end_gauge(input),
        "impedance" => impedance(input),
        "circle_fit_uncertainty" => circle::compute(input, wants_trials(case)),
        other => Err(unknown(
            other,
            "welch_satterthwaite, t_quantile, t_quantile_real, correlated_sum, sum_of_rectangulars, end_gauge, impedance, \
             circle_fit_uncertainty",
        )),
    }
}

/// Trials are run where a case expects their figures, and where nothing says what it expects.
fn wants_trials(case: &Value) -> bool {
    let expected = case.get("expected").and_then(Value::as_object);
    expected.is_none_or(|keys| keys.keys().any(|k| k.starts_with("mc_")))
}

fn budget(input: &Value) -> Result<Value, String> {
    let (u, nu) = (numbers(input, "u")?, list(input, "nu")?);
    let c = match input.get("c") {
        Some(_) => numbers(input, "c")?,
        None => vec![1.0; u.len()],
    };
    if c.len() != u.len() || nu.len() != u.len() {
        return Err("`u`, `c` and `nu` must have the same length".to_owned());
    }
    let lines: Vec<Contribution> = (0..u.len())
        .map(|i| Contribution {
            sensitivity: c[i],
            u: u[i],
            degrees: nu[i].as_f64(),
        })
        .collect();
    let (combined, p) = (combine(&lines).map_err(said)?, number(input, "p")?);
    let expanded = combined.expanded(p).map_err(said)?;
    Ok(json!({
        "u_c": combined.u,
        "nu_eff": combined.degrees,
        "nu_trunc": combined.truncated_degrees(),
        "k_trunc": expanded.k,
        "k_real": coverage_factor(p, combined.degrees).map_err(said)?,
        "U_trunc": expanded.expanded,
    }))
}

/// Per cent; 68.27, 95.45 and 99.73 stand for one, two and three standard deviations.
fn quantiles(input: &Value) -> Result<Value, String> {
    let nu = optional_number(input, "nu")?;
    let factor = |percent: &Value| {
        let typed = percent.as_str().map_or_else(|| percent.to_string(), str::to_owned);
        match typed.as_str() {
            "68.27" => factor_for_sigmas(1.0, nu).map_err(said),
            "95.45" => factor_for_sigmas(2.0, nu).map_err(said),
            "99.73" => factor_for_sigmas(3.0, nu).map_err(said),
            other => {
                let percent: f64 = other
                    .parse()
                    .map_err(|_| format!("`p_percent` has {percent}, which is no number"))?;
                coverage_factor(percent / 100.0, nu).map_err(said)
            }
        }
    };
    let k: Vec<f64> = list(input, "p_percent")?
        .iter()
        .map(factor)
        .collect::<Result<_, String>>()?;
    Ok(json!({ "k": k }))
}

fn rectangulars(input: &Value) -> Result<Value, String> {
    let (u, p) = (numbers(input, "u")?, number(input, "p")?);
    let half = half_width_of_rectangulars(&u, p).map_err(said)?;
    let lines: Vec<Contribution> = u.iter().map(|u| Contribution::known(1.0, *u)).collect();
    let combined = combine(&lines).map_err(said)?;
    Ok(json!({
        "u_c": combined.u,
        "half_width_exact": half,
        "half_width_normal": combined.expanded(p).map_err(said)?.expanded,
    }))
}

/// GUM H.1: l = l_S + d - l_S (delta_alpha theta + alpha_S delta_theta); the quantities in this order.
const END_GAUGE: [&str; 6] = ["l_S", "d", "alpha_S", "theta", "d_alpha", "d_theta"];

fn end_gauge(input: &Value) -> Result<Value, String> {
    let spread = input.get("u").ok_or("`u` must hold the standard uncertainties")?;
    let u: Vec<f64> = END_GAUGE
        .iter()
        .map(|key| number(spread, key))
        .collect::<Result<_, _>>()?;
    let [length, d, alpha, theta] = ["l_S", "d_mean", "alpha_S", "theta_mean"].map(|key| number(input, key));
    // The differences of expansion and temperature are expected to be nothing.
    let given = |key: &str| optional_number(input, key).map(|v| v.unwrap_or(0.0));
    let x = [length?, d?, alpha?, theta?, given("d_alpha")?, given("d_theta")?];
    let product = |factor: f64, of: &[usize]| Product {
        factor,
        of: of.to_vec(),
    };
    let model = SumOfProducts(vec![
        product(1.0, &[0]),
        product(1.0, &[1]),
        product(-1.0, &[0, 4, 3]),
        product(-1.0, &[0, 2, 5]),
    ]);
    let found = model.second_order(&x, &u).map_err(said)?;
    let pair = |a: usize, b: usize| {
        let of = found.pairs.iter().find(|(places, _)| *places == (a, b));
        of.map_or(0.0, |(_, variance)| variance.max(0.0).sqrt())
    };
    Ok(json!({
        "l": found.value,
        "u_first_order": found.first_order,
        "second_order_1": pair(3, 4),
        "second_order_2": pair(2, 5),
        "u_with_second_order": found.u,
    }))
}

/// GUM H.2: R = V/I cos phi, X = V/I sin phi, Z = V/I from readings taken together; I in mA.
fn impedance(input: &Value) -> Result<Value, String> {
    let current: Vec<f64> = numbers(input, "I_mA")?.iter().map(|i| i / 1000.0).collect();
    let found = simultaneous(&[numbers(input, "V")?, current, numbers(input, "phi")?]).map_err(said)?;
    let [v, i, phi] = [found.means[0], found.means[1], found.means[2]];
    let z = v / i;
    if !z.is_finite() {
        return Err(format!("the mean current is {i} A, so that there is no impedance"));
    }
    let (sin, cos) = phi.sin_cos();
    let jacobian = [
        vec![cos / i, -z * cos / i, -z * sin],
        vec![sin / i, -z * sin / i, z * cos],
        vec![1.0 / i, -z / i, 0.0],
    ];
    let with = propagate(&jacobian, &found.covariance).map_err(said)?;
    let mut alone = found.covariance.clone();
    for (at, row) in alone.iter_mut().enumerate() {
        for (other, value) in row.iter_mut().enumerate() {
            *value = if at == other { *value } else { 0.0 };
        }
    }
    let without = propagate(&jacobian, &alone).map_err(said)?;
    let u = |matrix: &[Vec<f64>], at: usize| matrix[at][at].max(0.0).sqrt();
    let r = |a: usize, b: usize| {
        let root = u(&with, a) * u(&with, b);
        (root > 0.0).then(|| with[a][b] / root)
    };
    Ok(json!({
        "R": z * cos,
        "X": z * sin,
        "Z": z,
        "u_R": u(&with, 0),
        "u_R_no_correlation": u(&without, 0),
        "u_X": u(&with, 1),
        "u_X_no_correlation": u(&without, 1),
        "u_Z": u(&with, 2),
        "u_Z_no_correlation": u(&without, 2),
        "r_RX": r(0, 1),
        "r_RZ": r(0, 2),
        "r_XZ": r(1, 2),
    }))
}
