//! Global risks of a process and its inspection (JCGM 106:2012, clause 9.5).

use rust_decimal::Decimal;
use serde::Serialize;

use super::ConformityError;
use super::normal::{Standard, density};
use super::quadrature::GaussLegendre;
use crate::metrology::tolerance::Limits;
use crate::units::{decimal_from_f64, decimal_to_f64};

/// How far, in standard deviations, a normal distribution is followed; its mass beyond is 0 in doubles.
const FAR: i32 = 38;

/// A process: what true values it makes, normal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Process {
    /// Mean of the true values.
    pub mean: f64,
    /// Their standard deviation, zero or more.
    pub sd: f64,
}

/// Shares of all items that a process makes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GlobalRisk {
    /// True value within the tolerance.
    pub conforming: f64,
    /// Measured value within the acceptance limits.
    pub accepted: f64,
    /// Accepted, and does not conform.
    pub consumer: f64,
    /// Rejected, and conforms.
    pub producer: f64,
}

/// An interval, seen from the mean of the process; ends are infinite where there is no limit.
#[derive(Debug, Clone, Copy)]
struct Interval {
    low: f64,
    high: f64,
}

impl Interval {
    /// The differences are taken in decimals, because a spread can be a millionth of the mean and less.
    fn about(mean: f64, limits: &Limits) -> Self {
        let centre = decimal_from_f64(mean);
        let from_mean = |limit: Decimal| match centre {
            Some(centre) => decimal_to_f64(limit.saturating_sub(centre)),
            None => decimal_to_f64(limit) - mean,
        };
        Self {
            low: limits.lower.map_or(f64::NEG_INFINITY, from_mean),
            high: limits.upper.map_or(f64::INFINITY, from_mean),
        }
    }

    fn contains(self, x: f64) -> bool {
        self.low <= x && x <= self.high
    }

    /// Probabilities of a normal variable about `at` to lie inside and outside, to full relative precision; without spread the
    /// ends belong to the inside.
    fn shares(self, at: f64, sd: f64) -> (f64, f64) {
        if self.low > self.high {
            return (0.0, 1.0);
        }
        let room = |distance: f64| match (sd > 0.0, distance >= 0.0) {
            (true, _) => distance / sd,
            (false, true) => f64::INFINITY,
            (false, false) => f64::NEG_INFINITY,
        };
        let found = super::probability::between(Standard::Normal, room(at - self.low), room(self.high - at));
        (found.conforming, found.nonconforming)
    }
}

/// The risks of accepting what lies within `acceptance` when measured, for items that should lie within `tolerance`.
/// Measured value = true value + normal error with standard uncertainty `u`. Integrated over the true values, in panels
/// no wider than the spread of what changes fastest there.
///
/// # Errors
/// A negative `u`; a mean or standard deviation that make no distribution.
pub fn global_risk(
    process: Process,
    u: f64,
    tolerance: &Limits,
    acceptance: &Limits,
) -> Result<GlobalRisk, ConformityError> {
    let Process { mean, sd } = process;
    if !(mean.is_finite() && sd.is_finite() && sd >= 0.0) {
        return Err(ConformityError::Process { mean, sd });
    }
    if !(u.is_finite() && u >= 0.0) {
        return Err(ConformityError::Uncertainty(u));
    }
    let (wanted, taken) = (Interval::about(mean, tolerance), Interval::about(mean, acceptance));
    let (conforming, _) = wanted.shares(0.0, sd);
    let (accepted, _) = taken.shares(0.0, sd.hypot(u));
    let (consumer, producer) = if sd > 0.0 {
        integrate(sd, u, wanted, taken)
    } else {
        let (inside, outside) = taken.shares(0.0, u);
        if wanted.contains(0.0) {
            (0.0, outside)
        } else {
            (inside, 0.0)
        }
    };
    Ok(GlobalRisk {
        conforming,
        accepted,
        consumer,
        producer,
    })
}

fn integrate(sd: f64, u: f64, wanted: Interval, taken: Interval) -> (f64, f64) {
    let rule = GaussLegendre::new();
    let (mut consumer, mut producer) = (0.0, 0.0);
    for (start, end) in panels(sd, u, wanted, taken) {
        let middle = 0.5 * (start + end);
        let conforms = wanted.contains(middle);
        let part = rule.integrate(start, end, |x| {
            let (inside, outside) = taken.shares(x, u);
            density(x / sd) / sd * if conforms { outside } else { inside }
        });
        *(if conforms { &mut producer } else { &mut consumer }) += part;
    }
    (consumer, producer)
}

/// Panels over the true values: cut at every standard deviation of the process, at every u around the acceptance limits, and at all limits, where the integrand may jump.
fn panels(sd: f64, u: f64, wanted: Interval, taken: Interval) -> Vec<(f64, f64)> {
    let steps = |centre: f64, unit: f64| (-FAR..=FAR).map(move |step| centre + f64::from(step) * unit);
    let last = f64::from(FAR) * sd;
    let mut cuts: Vec<f64> = steps(0.0, sd)
        .chain(steps(taken.low, u))
        .chain(steps(taken.high, u))
        .chain([wanted.low, wanted.high])
        .filter(|cut| cut.is_finite() && cut.abs() <= last)
        .collect();
    cuts.sort_by(f64::total_cmp);
    cuts.iter()
        .copied()
        .zip(cuts.iter().skip(1).copied())
        .filter(|(start, end)| start < end)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limits(low: &str, high: &str) -> Limits {
        Limits::between(low.parse().unwrap(), high.parse().unwrap())
    }

    /// accepted = conforming - producer + consumer, whatever the numbers.
    fn check(process: Process, u: f64, tolerance: &Limits, acceptance: &Limits) -> GlobalRisk {
        let risk = global_risk(process, u, tolerance, acceptance).unwrap();
        let balance = risk.conforming - risk.producer + risk.consumer;
        assert!(
            (balance - risk.accepted).abs() < 1e-13,
            "{process:?} {u}: {risk:?} {balance}"
        );
        risk
    }

    #[test]
    fn the_four_shares_balance() {
        let tolerance = limits("1499.8", "1500.2");
        for sd in [1e-6, 0.001, 0.12, 3.0] {
            for u in [0.0, 1e-7, 0.002, 0.04, 5.0] {
                for mean in [1500.0, 1500.19, 1501.0] {
                    for acceptance in [&tolerance, &limits("1499.88", "1500.12"), &limits("1499.7", "1500.3")] {
                        check(Process { mean, sd }, u, &tolerance, acceptance);
                    }
                }
            }
        }
        check(
            Process { mean: 0.05, sd: 0.03 },
            0.01,
            &Limits::at_most("0.1".parse().unwrap()),
            &Limits::default(),
        );
    }

    #[test]
    fn without_spread_it_is_the_specific_risk() {
        let tolerance = limits("-1", "1");
        let risk = check(Process { mean: 1.0, sd: 0.0 }, 0.1, &tolerance, &tolerance);
        assert!((risk.producer - 0.5).abs() < 1e-15 && risk.consumer.abs() < 1e-300);
        let exact = check(Process { mean: 0.0, sd: 1.0 }, 0.0, &tolerance, &tolerance);
        assert!(exact.producer.abs() < 1e-300 && exact.consumer.abs() < 1e-300);
        let empty = check(Process { mean: 0.0, sd: 1.0 }, 0.1, &tolerance, &limits("0.5", "0.4"));
        assert!((empty.producer - empty.conforming).abs() < 1e-14);
        assert!(
            global_risk(
                Process {
                    mean: f64::NAN,
                    sd: 1.0
                },
                0.1,
                &tolerance,
                &tolerance
            )
            .is_err()
        );
        assert!(global_risk(Process { mean: 0.0, sd: 1.0 }, -0.1, &tolerance, &tolerance).is_err());
    }
}
