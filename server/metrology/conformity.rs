//! Conformity of a value with its limits (JCGM 106, ISO 14253-1).

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::tolerance::Limits;

/// What a value means for a characteristic, and from where on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DecisionRule {
    /// Conforming exactly within the limits, limits included.
    SimpleAcceptance,
    /// Conforming only within limits drawn in by the guard band, otherwise nonconforming ("not accepted").
    GuardedAcceptance,
    /// Conformity and nonconformity both to be proven; undecided between.
    ThreeWay,
}

/// The outcome of a rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Conformity {
    /// Conforming.
    Conforming,
    /// Nonconforming.
    Nonconforming,
    /// Neither proven.
    Undecided,
}

/// Applies a rule; `guard` is the width of the guard band in the unit of the value.
#[must_use]
pub fn decide(value: Decimal, limits: &Limits, rule: DecisionRule, guard: Decimal) -> Conformity {
    let within = match rule {
        DecisionRule::SimpleAcceptance => limits.contains(value),
        DecisionRule::GuardedAcceptance | DecisionRule::ThreeWay => limits.drawn_in(guard).contains(value),
    };
    if within {
        Conformity::Conforming
    } else if rule == DecisionRule::ThreeWay && limits.widened(guard).contains(value) {
        Conformity::Undecided
    } else {
        Conformity::Nonconforming
    }
}
