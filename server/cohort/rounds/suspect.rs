//! Which round disagrees with the others: number by number (Grubbs), and as a whole (a mistake that explains it).

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::Round;
use super::budget::{Means, budget};
use super::grubbs::{Furthest, furthest};
use crate::cohort::count;
use crate::exercise::model::Exercise;
use crate::exercise::names::{BalloonNo, Serial};
use crate::exercise::plate::{Calibrated, Plate, PlateKind};
use crate::grading::diagnosis::Diagnoser;
use crate::grading::diagnosis::priors::Priors;
use crate::grading::grade::DiagnosisState;
use crate::grading::words;
use crate::report::model::{Report, ReportItem};
use crate::units::{Reading, decimal_from_f64};

/// A value that lies away from those of the other rounds.
#[derive(Debug, Clone, PartialEq)]
pub struct Away {
    /// Balloon number.
    pub no: BalloonNo,
    /// Place of the round.
    pub round: usize,
    /// What the test says.
    pub test: Furthest,
}

/// The values that lie away, of all characteristics with three rounds and more. The test knows nothing of the machine:
/// among three values, two of which are equal in their last place, it finds an outlier however near the third is. So a value
/// counts only where it is further from the others' mean than twice what machine, tip, temperature and last place explain.
#[must_use]
pub fn away(exercise: &Exercise, rounds: &[Round], means: &Means) -> Vec<Away> {
    let mut found = Vec::new();
    for (index, c) in exercise.characteristics.iter().enumerate() {
        let Some(budget) = budget(exercise, index, rounds, means) else {
            continue;
        };
        let values: Vec<f64> = budget.means.iter().map(|(_, m)| *m).collect();
        let explained = 2.0 * budget.parts.iter().skip(1).map(|p| p.u.powi(2)).sum::<f64>().sqrt();
        let among = count(values.len());
        if let Ok(Some(test)) = furthest(&values)
            && (test.is_outlier() || test.is_straggler())
            && let Some((round, value)) = budget.means.get(test.at)
            && (value - budget.value).abs() * among / (among - 1.0) > explained
        {
            found.push(Away {
                no: c.no.clone(),
                round: *round,
                test,
            });
        }
    }
    found
}

/// What explains a round, held against the mean of the others.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspicion {
    /// How far the search came.
    pub state: DiagnosisState,
    /// Joint probability of what is stated.
    pub probability: Option<f64>,
    /// What seems to have happened, a sentence for each mistake.
    pub sentences: Vec<String>,
    /// Numbers that nothing explains.
    pub unexplained: Vec<BalloonNo>,
}

/// Looks for the mistakes of a round as for those of a pair, with the other rounds' mean as reference. `None` with one round, or
/// where the others share no number with it.
#[must_use]
pub fn suspicion(exercise: &Exercise, rounds: &[Round], at: usize, means: &Means) -> Option<Suspicion> {
    let round = rounds.get(at)?;
    let others: Vec<Round> = rounds
        .iter()
        .enumerate()
        .filter(|(i, _)| *i != at)
        .map(|(_, r)| r.clone())
        .collect();
    let serial: Serial = "others".parse().ok()?;
    let mut references = BTreeMap::new();
    let mut items = Vec::new();
    for (index, c) in exercise.characteristics.iter().enumerate() {
        let known = budget(exercise, index, &others, means);
        if let Some((value, expanded)) = known.as_ref().and_then(|b| b.rounded(exercise.decimals)) {
            let k = Decimal::TWO;
            references.insert(c.no.clone(), Calibrated { value, expanded, k });
        }
        // As the report carries it: the mean of several readings is rounded to its places.
        let read = budget(exercise, index, std::slice::from_ref(round), means);
        let value = read.filter(|_| known.is_some()).and_then(|b| decimal_from_f64(b.value));
        items.push(ReportItem {
            no: c.no.clone(),
            measured: value.map(|v| Reading::from_decimal(v.round_dp(exercise.decimals + 1))),
            call: None,
        });
    }
    if references.is_empty() {
        return None;
    }
    let plate = Plate {
        serial: serial.clone(),
        kind: PlateKind::Physical,
        seed: None,
        shop_uncertainty: None,
        planted: BTreeMap::new(),
        references,
    };
    let finding = Diagnoser::new(exercise, &[plate], Priors::default())
        .ok()?
        .diagnose(&serial, &Report { items });
    let no = |i: &usize| exercise.characteristics.get(*i).map(|c| c.no.clone());
    Some(Suspicion {
        state: finding.state,
        probability: finding.probability,
        sentences: finding
            .faults
            .iter()
            .map(|f| words::words(exercise, &f.fault).text())
            .collect(),
        unexplained: finding.unexplained.iter().filter_map(no).collect(),
    })
}
