//! Conformity with limits: decision rules, guard bands, probabilities and risks.
//!
//! Sources: JCGM 106:2012, clauses 7 to 9; ISO 14253-1. Decisions are made with decimals, because a value on a limit
//! lies on it in decimal and hardly ever in binary; probabilities are f64.

mod acceptance;
mod normal;
mod probability;
pub(crate) mod quadrature;
mod risk;

pub use acceptance::{AcceptanceLimits, acceptance_limits, threshold_for_relative_u, z_for_probability};
pub use probability::{Probabilities, probability_of_conformity};
pub use risk::{GlobalRisk, Process, global_risk};

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::tolerance::Limits;

/// How a value and its uncertainty become a decision.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DecisionRule {
    /// Conforming exactly when the value lies within the limits (JCGM 106, 8.2).
    SimpleAcceptance,
    /// Conforming only within limits drawn in by the guard band; else nonconforming in the meaning "not accepted"
    /// (JCGM 106, 8.3).
    GuardedAcceptance,
    /// Conformity or nonconformity proven with the guard band on either side of each limit, undecided between
    /// (ISO 14253-1).
    ThreeWay,
}

/// What is said of a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Conformity {
    /// Within what the rule asks.
    Conforming,
    /// Not so; under guarded acceptance: not accepted.
    Nonconforming,
    /// Neither proven.
    Undecided,
}

/// A word that is none of a list.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("\"{found}\" is none of {allowed}")]
pub struct WordError {
    /// What was written.
    pub found: String,
    /// What can be written.
    pub allowed: &'static str,
}

/// Why a probability, limit or risk cannot be given.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum ConformityError {
    /// The standard uncertainty is negative or no number.
    #[error("the standard uncertainty is {0}; it must be zero or more")]
    Uncertainty(f64),
    /// The degrees of freedom are not above zero.
    #[error("the degrees of freedom are {0}; they must be above zero")]
    DegreesOfFreedom(f64),
    /// A probability outside 0 to 1.
    #[error("the probability is {0}; it must lie between 0 and 1, ends excluded")]
    Probability(f64),
    /// Mean or standard deviation of a process that make no distribution.
    #[error("mean {mean} and standard deviation {sd} of the process make no distribution")]
    Process {
        /// Mean.
        mean: f64,
        /// Standard deviation.
        sd: f64,
    },
    /// A relative uncertainty so large that no value reaches the probability.
    #[error("with a relative uncertainty of {0} no value is certain enough; it must be smaller")]
    RelativeUncertainty(f64),
    /// A limit that is no finite number.
    #[error("the limit {0} is no finite number")]
    Limit(f64),
}

impl DecisionRule {
    /// The word in files.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::SimpleAcceptance => "simple-acceptance",
            Self::GuardedAcceptance => "guarded-acceptance",
            Self::ThreeWay => "three-way",
        }
    }
}

impl fmt::Display for DecisionRule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl FromStr for DecisionRule {
    type Err = WordError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        [Self::SimpleAcceptance, Self::GuardedAcceptance, Self::ThreeWay]
            .into_iter()
            .find(|rule| rule.as_str() == text)
            .ok_or_else(|| WordError {
                found: text.to_owned(),
                allowed: "simple-acceptance, guarded-acceptance, three-way",
            })
    }
}

impl Conformity {
    /// The word in files and on sheets.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Conforming => "conforming",
            Self::Nonconforming => "nonconforming",
            Self::Undecided => "undecided",
        }
    }
}

impl fmt::Display for Conformity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl FromStr for Conformity {
    type Err = WordError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        [Self::Conforming, Self::Nonconforming, Self::Undecided]
            .into_iter()
            .find(|word| word.as_str() == text)
            .ok_or_else(|| WordError {
                found: text.to_owned(),
                allowed: "conforming, nonconforming, undecided",
            })
    }
}

/// The guard band: a factor times the expanded uncertainty U (k = 2), never below zero.
///
/// Factors read in a published summary of ISO 14253-1:2017 and ILAC-G8: 0.83 keeps false acceptance below 5 %, 1 below
/// 2.5 %, 1.5 below 0.16 %.
#[must_use]
pub fn guard_band(factor: Decimal, expanded_uncertainty: Decimal) -> Decimal {
    factor.saturating_mul(expanded_uncertainty).max(Decimal::ZERO)
}

/// What a rule makes of a value. Limits are included: a value on a limit, on a drawn-in limit, conforms; one exactly on
/// a widened limit is undecided under three-way. A guard band below zero counts as zero. Where the drawn-in limits have
/// crossed, nothing conforms.
#[must_use]
pub fn decide(value: Decimal, limits: &Limits, rule: DecisionRule, guard: Decimal) -> Conformity {
    let guard = guard.max(Decimal::ZERO);
    let accepted = match rule {
        DecisionRule::SimpleAcceptance => limits.contains(value),
        DecisionRule::GuardedAcceptance | DecisionRule::ThreeWay => limits.drawn_in(guard).contains(value),
    };
    if accepted {
        Conformity::Conforming
    } else if rule == DecisionRule::ThreeWay && limits.widened(guard).contains(value) {
        Conformity::Undecided
    } else {
        Conformity::Nonconforming
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn dec(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    const RULES: [DecisionRule; 3] = [
        DecisionRule::SimpleAcceptance,
        DecisionRule::GuardedAcceptance,
        DecisionRule::ThreeWay,
    ];

    /// 11.95 to 12.05 with a guard band of 0.012.
    fn check(value: &str, expected: [Conformity; 3]) {
        let limits = Limits::between(dec("11.95"), dec("12.05"));
        let found = RULES.map(|rule| decide(dec(value), &limits, rule, dec("0.012")));
        assert_eq!(found, expected, "{value}");
    }

    #[test]
    fn limits_belong_to_the_better_side() {
        use Conformity::{Conforming as Yes, Nonconforming as No, Undecided as Open};
        // Source: JCGM 106 and ISO 14253-1 as the grading rules state them; tolerance none.
        check("12.038", [Yes, Yes, Yes]);
        check("12.0380001", [Yes, No, Open]);
        check("12.05", [Yes, No, Open]);
        check("12.0500", [Yes, No, Open]);
        check("12.051", [No, No, Open]);
        check("12.062", [No, No, Open]);
        check("12.0620001", [No, No, No]);
        check("11.962", [Yes, Yes, Yes]);
        check("11.95", [Yes, No, Open]);
        check("11.938", [No, No, Open]);
        check("11.937", [No, No, No]);
    }

    #[test]
    fn crossed_limits_accept_nothing() {
        let limits = Limits::between(dec("0"), dec("0.02"));
        for rule in [DecisionRule::GuardedAcceptance, DecisionRule::ThreeWay] {
            assert_ne!(
                decide(dec("0.01"), &limits, rule, dec("0.0101")),
                Conformity::Conforming
            );
            assert_eq!(decide(dec("0.01"), &limits, rule, dec("0.01")), Conformity::Conforming);
        }
        let position = Limits::at_most(dec("0.2"));
        assert_eq!(
            decide(dec("0"), &position, DecisionRule::GuardedAcceptance, dec("0.25")),
            Conformity::Nonconforming
        );
        assert_eq!(
            decide(dec("0.2"), &position, DecisionRule::SimpleAcceptance, dec("0.1")),
            Conformity::Conforming
        );
    }

    #[test]
    fn words_are_read_and_written() {
        for rule in RULES {
            assert_eq!(rule.to_string().parse(), Ok(rule));
            assert_eq!(serde_json::to_string(&rule).unwrap(), format!("\"{rule}\""));
        }
        assert_eq!("undecided".parse(), Ok(Conformity::Undecided));
        assert_eq!(
            serde_json::to_string(&Conformity::Nonconforming).unwrap(),
            "\"nonconforming\""
        );
        assert!("Conforming".parse::<Conformity>().is_err());
        assert_eq!(guard_band(dec("0.83"), dec("0.012")), dec("0.00996"));
    }

    fn rank(conformity: Conformity) -> u8 {
        match conformity {
            Conformity::Conforming => 2,
            Conformity::Undecided => 1,
            Conformity::Nonconforming => 0,
        }
    }

    proptest! {
        #[test]
        fn going_away_from_the_middle_never_helps(
            lower in -9999_i64..9999, width in 1_i64..999, guard in 0_i64..600, near in 0_i64..2000, further in 0_i64..2000,
        ) {
            let at = |thousandths: i64| Decimal::new(thousandths, 3);
            // Twice the width, so that the middle is a whole number.
            let limits = Limits::between(at(lower), at(lower + 2 * width));
            let middle = lower + width;
            for rule in RULES {
                for side in [-1, 1] {
                    let closer = decide(at(middle + side * near), &limits, rule, at(guard));
                    let farther = decide(at(middle + side * (near + further)), &limits, rule, at(guard));
                    prop_assert!(rank(farther) <= rank(closer));
                }
            }
        }

        #[test]
        fn a_wider_guard_band_never_helps_acceptance(value in -999_i64..999, guard in 0_i64..300, more in 0_i64..300) {
            let at = |thousandths: i64| Decimal::new(thousandths, 3);
            let limits = Limits::between(at(-500), at(500));
            for rule in RULES {
                let small = decide(at(value), &limits, rule, at(guard));
                let large = decide(at(value), &limits, rule, at(guard + more));
                prop_assert!(large != Conformity::Conforming || small == Conformity::Conforming);
                prop_assert!(rule != DecisionRule::ThreeWay || large != Conformity::Nonconforming || small == large);
            }
        }
    }
}
