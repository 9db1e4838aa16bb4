//! Calls against the plate: how often what is nonconforming was accepted and what conforms was rejected.

use super::{Proportion, cohen, wilson};
use crate::cohort::CohortError;

/// How often each call met each truth. What finds a nonconforming characteristic counts as positive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CallCounts {
    /// Nonconforming, and so called.
    pub rejected_nonconforming: u64,
    /// Nonconforming, called conforming: false accepts.
    pub accepted_nonconforming: u64,
    /// Conforming, called nonconforming: false rejects.
    pub rejected_conforming: u64,
    /// Conforming, and so called.
    pub accepted_conforming: u64,
}

/// Shares with 95 % Wilson intervals (for the names: D. G. Altman and J. M. Bland, BMJ 308, 1994, 1552 and 309, 102).
/// None where there was nothing that could be called so.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CallStatistics {
    /// Rejected among the nonconforming.
    pub sensitivity: Option<Proportion>,
    /// Accepted among the conforming.
    pub specificity: Option<Proportion>,
    /// Accepted among the nonconforming: false accepts.
    pub miss: Option<Proportion>,
    /// Rejected among the conforming: false rejects.
    pub false_alarm: Option<Proportion>,
    /// Right calls among all.
    pub accuracy: Option<Proportion>,
    /// Nonconforming among the rejected.
    pub positive_value: Option<Proportion>,
    /// Conforming among the accepted.
    pub negative_value: Option<Proportion>,
    /// Sensitivity + specificity - 1 (W. J. Youden, Cancer 3, 1950, 32-35).
    pub youden: Option<f64>,
    /// Agreement with the plate beyond chance.
    pub kappa: Option<f64>,
}

const CONFIDENCE: f64 = 0.95;

/// All shares of a class's calls.
///
/// # Errors
/// No call at all, or more than can be counted.
pub fn call_statistics(counts: &CallCounts) -> Result<CallStatistics, CohortError> {
    let CallCounts {
        rejected_nonconforming: found,
        accepted_nonconforming: missed,
        rejected_conforming: alarmed,
        accepted_conforming: passed,
    } = *counts;
    let kappa = cohen(&[vec![found, missed], vec![alarmed, passed]])?.kappa;
    // The sums fit: the table's did.
    let share = |part: u64, other: u64| wilson(part, part + other, CONFIDENCE).ok();
    let (sensitivity, specificity) = (share(found, missed), share(passed, alarmed));
    Ok(CallStatistics {
        sensitivity,
        specificity,
        miss: share(missed, found),
        false_alarm: share(alarmed, passed),
        accuracy: share(found + passed, missed + alarmed),
        positive_value: share(found, alarmed),
        negative_value: share(passed, missed),
        youden: sensitivity.zip(specificity).map(|(a, b)| a.value + b.value - 1.0),
        kappa,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_to_find_leaves_sensitivity_open() {
        let counts = CallCounts {
            rejected_nonconforming: 0,
            accepted_nonconforming: 0,
            rejected_conforming: 2,
            accepted_conforming: 18,
        };
        let found = call_statistics(&counts).unwrap();
        assert_eq!((found.sensitivity, found.miss, found.youden), (None, None, None));
        assert!((found.false_alarm.unwrap().value - 0.1).abs() < 1e-15);
        let none = CallCounts {
            rejected_conforming: 0,
            accepted_conforming: 0,
            ..counts
        };
        assert!(call_statistics(&none).is_err());
    }
}
