//! The family of conformity: probabilities, guard bands, acceptance limits, risks.

use rust_decimal::Decimal;
use serde_json::{Value, json};

use super::Family;
use super::by_rule::by_rule;
use super::input::number;
use super::limits_of_size::unknown;
use super::typed::{decimal, optional_decimal, optional_number, text};
use crate::metrology::conformity::{
    Conformity, ConformityError, DecisionRule, Process, acceptance_limits, decide, global_risk, guard_band,
    probability_of_conformity, threshold_for_relative_u, z_for_probability,
};
use crate::metrology::tolerance::Limits;
use crate::units::decimal_to_f64;

/// The families of this file.
pub(super) const FAMILIES: &[Family] = &[Family {
    name: "conformity",
    compute,
    compare: by_rule,
}];

fn compute(case: &Value) -> Result<Value, String> {
    let input = case.get("input").unwrap_or(case);
    match text(input, "kind")? {
        "conformance_probability" => probability(input),
        "z_for_probability" => Ok(json!({ "z": typed_quantile(input)? })),
        "guard_band" => guarded(input),
        "acceptance_for_probability" => acceptance(input),
        "threshold_relative_u" => {
            let (limit, u) = (number(input, "limit")?, number(input, "u_rel")?);
            let threshold = threshold_for_relative_u(limit, u, number(input, "p")?).map_err(said)?;
            Ok(json!({ "threshold": threshold }))
        }
        "global_risk" => risk(input),
        other => Err(unknown(
            other,
            "conformance_probability, z_for_probability, guard_band, acceptance_for_probability, threshold_relative_u, global_risk",
        )),
    }
}

/// z of a probability as typed: near 1 the decimal's distance from 1 has digits that its double has lost.
fn typed_quantile(input: &Value) -> Result<f64, String> {
    let rest = optional_decimal(input, "p").ok().flatten().map(|p| Decimal::ONE - p);
    match rest.filter(|rest| rest.is_sign_positive() && *rest < Decimal::new(5, 1)) {
        Some(rest) => z_for_probability(decimal_to_f64(rest)).map(|z| -z).map_err(said),
        None => z_for_probability(number(input, "p")?).map_err(said),
    }
}

fn limits(input: &Value, lower: &str, upper: &str) -> Result<Limits, String> {
    Ok(Limits {
        lower: optional_decimal(input, lower)?,
        upper: optional_decimal(input, upper)?,
    })
}

fn probability(input: &Value) -> Result<Value, String> {
    let (value, u) = (decimal(input, "y")?, number(input, "u")?);
    let nu = optional_number(input, "nu")?;
    let found = probability_of_conformity(value, u, nu, &limits(input, "TL", "TU")?).map_err(said)?;
    Ok(json!({
        "p_conform": found.conforming,
        "p_nonconform": found.nonconforming,
        "p_below": found.below,
        "p_above": found.above,
    }))
}

fn guarded(input: &Value) -> Result<Value, String> {
    let (value, u) = (decimal(input, "y")?, decimal(input, "u")?);
    let (k, factor) = (decimal(input, "k")?, decimal(input, "r")?);
    if u.is_sign_negative() || k.is_sign_negative() || factor.is_sign_negative() {
        return Err("`u`, `k` and `r` must not be below zero".to_owned());
    }
    let limits = limits(input, "TL", "TU")?;
    let expanded = k.saturating_mul(u);
    let guard = guard_band(factor, expanded);
    let acceptance = limits.drawn_in(guard);
    let accepted = |rule, guard| decide(value, &limits, rule, guard) == Conformity::Conforming;
    let three_way = match decide(value, &limits, DecisionRule::ThreeWay, expanded) {
        Conformity::Conforming => "conforms",
        Conformity::Nonconforming => "nonconforms",
        Conformity::Undecided => "inconclusive",
    };
    // With one limit, the guard band's edge: a value there is out with the probability of z above r k.
    let edge = Limits::at_most(factor.saturating_mul(k));
    let at_the_edge = probability_of_conformity(Decimal::ZERO, 1.0, None, &edge).map_err(said)?;
    Ok(json!({
        "U": decimal_to_f64(expanded),
        "AL": acceptance.lower.map(decimal_to_f64),
        "AU": acceptance.upper.map(decimal_to_f64),
        "acceptance_empty": acceptance.is_empty(),
        "accept": accepted(DecisionRule::GuardedAcceptance, guard),
        "simple_accept": accepted(DecisionRule::SimpleAcceptance, guard),
        "decision_14253": three_way,
        "pfa_max_one_limit": at_the_edge.above,
    }))
}

fn acceptance(input: &Value) -> Result<Value, String> {
    let limits = limits(input, "TL", "TU")?;
    let found = acceptance_limits(number(input, "u")?, &limits, number(input, "p")?).map_err(said)?;
    Ok(json!({
        "acceptance_empty": found.empty,
        "AL": found.lower,
        "AU": found.upper,
        "one_limit_AU": found.one_limit_upper,
        "one_limit_AL": found.one_limit_lower,
    }))
}

fn risk(input: &Value) -> Result<Value, String> {
    let process = Process {
        mean: number(input, "process_mean")?,
        sd: number(input, "process_sd")?,
    };
    let (tolerance, acceptance) = (limits(input, "TL", "TU")?, limits(input, "AL", "AU")?);
    let found = global_risk(process, number(input, "u_m")?, &tolerance, &acceptance).map_err(said)?;
    Ok(json!({
        "p_conforming": found.conforming,
        "p_accepted": found.accepted,
        "consumer_risk": found.consumer,
        "producer_risk": found.producer,
    }))
}

fn said(error: ConformityError) -> String {
    error.to_string()
}
