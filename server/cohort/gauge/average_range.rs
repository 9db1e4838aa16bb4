//! Crossed study by averages and ranges (Automotive Industry Action Group, Measurement Systems Analysis, 4th edition).

use super::components::{CATEGORIES, percent, ratio};
use super::crossed::CrossedStudy;
use crate::cohort::count;
use crate::cohort::double2::{Double2, Steps};

/// What the method finds; standard deviations in the unit of the data.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AverageRange {
    /// Mean of the ranges of all cells.
    pub mean_range: f64,
    /// Range of the operators' averages.
    pub operator_range: f64,
    /// Range of the parts' averages.
    pub part_range: f64,
    /// Repeatability (EV).
    pub repeatability: f64,
    /// Reproducibility (AV).
    pub reproducibility: f64,
    /// True where the operators' averages do not differ by more than repeatability makes them.
    pub reproducibility_is_nothing: bool,
    /// Both together (GRR).
    pub gauge: f64,
    /// Parts (PV).
    pub part_spread: f64,
    /// All (TV).
    pub total: f64,
}

impl AverageRange {
    /// The measuring system in per cent of the total; none where nothing varies.
    #[must_use]
    pub fn percent_of_study(&self) -> Option<f64> {
        percent(self.gauge, self.total)
    }

    /// 1.41 times the ratio of the parts' spread to the measuring system's; none where that is nothing.
    #[must_use]
    pub fn categories_raw(&self) -> Option<f64> {
        ratio(CATEGORIES * self.part_spread, self.gauge)
    }
}

/// One over d2*, the mean range of so many normal values in standard deviations, as the manual prints it: K1 for trials
/// (with many cells), K2 for operators and K3 for parts (one range each).
fn of_trials(trials: usize) -> Option<f64> {
    match trials {
        2 => Some(0.8862),
        3 => Some(0.5908),
        _ => None,
    }
}

#[expect(
    clippy::approx_constant,
    reason = "the factor as printed, which is not the root itself"
)]
fn of_operators(operators: usize) -> Option<f64> {
    match operators {
        2 => Some(0.7071),
        3 => Some(0.5231),
        _ => None,
    }
}

fn of_parts(parts: usize) -> Option<f64> {
    #[expect(
        clippy::approx_constant,
        reason = "the factor as printed, which is not the root itself"
    )]
    const K3: [f64; 9] = [0.7071, 0.5231, 0.4467, 0.4030, 0.3742, 0.3534, 0.3375, 0.3249, 0.3146];
    K3.get(parts.checked_sub(2)?).copied()
}

/// The method, for 2 or 3 trials, 2 or 3 operators and 2 to 10 parts; none beyond, where the manual has no factors.
#[must_use]
pub fn average_range(study: &CrossedStudy) -> Option<AverageRange> {
    let (k1, k2, k3) = (
        of_trials(study.trials)?,
        of_operators(study.operators)?,
        of_parts(study.parts)?,
    );
    let steps = Steps::typed(&study.values);
    let range = |values: &[f64]| {
        let (low, high) = values
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
        high - low
    };
    let in_units = |steps_of: f64| steps_of / steps.per_unit;
    let values: Vec<f64> = steps.steps.iter().map(|s| s.value()).collect();
    let cells: Vec<f64> = values.chunks(study.trials).map(range).collect();
    let cell_sums: Vec<Double2> = steps
        .steps
        .chunks(study.trials)
        .map(|cell| Double2::total(cell.iter().copied()))
        .collect();
    let average = |sum: Double2, n: usize| sum.over(Double2::count(n)).value();
    let operators: Vec<f64> = (0..study.operators)
        .map(|at| Double2::total(cell_sums.iter().skip(at).step_by(study.operators).copied()))
        .map(|sum| average(sum, study.parts * study.trials))
        .collect();
    let parts: Vec<f64> = cell_sums
        .chunks(study.operators)
        .map(|part| Double2::total(part.iter().copied()))
        .map(|sum| average(sum, study.operators * study.trials))
        .collect();
    let mean_range = in_units(cells.iter().sum::<f64>() / count(cells.len()));
    let (operator_range, part_range) = (in_units(range(&operators)), in_units(range(&parts)));
    let repeatability = mean_range * k1;
    let variance = (operator_range * k2).powi(2) - repeatability * repeatability / count(study.parts * study.trials);
    let reproducibility = variance.max(0.0).sqrt();
    let gauge = repeatability.hypot(reproducibility);
    let part_spread = part_range * k3;
    Some(AverageRange {
        mean_range,
        operator_range,
        part_range,
        repeatability,
        reproducibility,
        reproducibility_is_nothing: variance <= 0.0,
        gauge,
        part_spread,
        total: gauge.hypot(part_spread),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_factors_are_those_of_normal_ranges() {
        // Source: mean range of two normal values is 2 / sqrt(pi), of three 3 / sqrt(pi); one over it to four figures. The
        // factors of one range are one over the root mean square range: sqrt(2) and sqrt(2 + 3 sqrt(3) / pi).
        let root_pi = std::f64::consts::PI.sqrt();
        assert!((of_trials(2).unwrap() - root_pi / 2.0).abs() < 5e-5);
        assert!((of_trials(3).unwrap() - root_pi / 3.0).abs() < 5e-5);
        assert!((of_operators(2).unwrap() - 0.5_f64.sqrt()).abs() < 5e-5);
        let squared = 2.0 + 3.0 * 3.0_f64.sqrt() / std::f64::consts::PI;
        assert!((of_operators(3).unwrap() - 1.0 / squared.sqrt()).abs() < 5e-5);
        assert_eq!(of_parts(2), of_operators(2));
        assert_eq!((of_parts(1), of_parts(11), of_trials(4)), (None, None, None));
    }
}
