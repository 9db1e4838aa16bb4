//! Sizes and chances held against the diagnosis itself. The estimates of `identify` know one mistake at a time and none of
//! the slips of writing; here reports with the mistake are drawn, given to the diagnosis, and its answers counted.
//!
//! Each report has its noise for good, whatever the amount (common random numbers), so that a report that is told at one
//! amount counts as told at every larger one while a size is searched by bisection; what is found is then counted out in
//! full. The work is bounded by the number of diagnoses, and equal prints have equal answers.

use super::suspects::{amount, with_amount};
use super::{CHANCE, FARTHEST, FaultInsight, Insight, count};
use crate::exercise::model::Exercise;
use crate::exercise::names::Serial;
use crate::exercise::plate::{Plate, PlateKind};
use crate::grading::decided::kind;
use crate::grading::diagnosis::priors::Priors;
use crate::grading::diagnosis::{Diagnoser, Finding};
use crate::grading::grade::DiagnosisState;
use crate::procedure::fault::{Fault, Procedure};
use crate::procedure::model::ModelError;
use crate::procedure::sampler::Sampler;
use crate::procedure::simulate::Conditions;
use crate::procedure::written::Habits;
use crate::units::decimal_to_f64;

/// How much is tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Effort {
    /// Reports for each size.
    pub reports: u32,
    /// Diagnoses in all; what is not tried then keeps its estimate.
    pub most: u32,
}

impl Default for Effort {
    fn default() -> Self {
        Self {
            reports: 100,
            most: 12_000,
        }
    }
}

/// By what an amount grows or shrinks until it is between two, and how often the interval is halved then: to 1.4 %.
const GROWTH: f64 = 1.25;
const HALVINGS: usize = 4;
/// Steps downwards at most, and by what an amount grows that does not hold when it is counted out.
const DOWN: usize = 8;
const MORE: f64 = 1.05;
const TRIES: usize = 8;

/// What became of one report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Told {
    /// It was not called clean.
    pub(super) detected: bool,
    /// The mistake was stated, by itself, or a set of the same effect with the mistake beside it.
    pub(super) named: bool,
    /// Something else was stated.
    pub(super) wrong: bool,
}

/// Which of the two is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Wanted {
    Detected,
    Named,
}

impl Wanted {
    const fn of(self, told: Told) -> bool {
        match self {
            Self::Detected => told.detected,
            Self::Named => told.named,
        }
    }
}

/// An exercise whose reports are tried.
pub(super) struct Bench<'e> {
    exercise: &'e Exercise,
    diagnoser: Diagnoser,
    serials: Vec<Serial>,
    label: &'static str,
}

/// A plate exactly as printed.
pub(super) fn as_printed() -> Option<Plate> {
    Some(Plate {
        serial: "AS-PRINTED".parse().ok()?,
        kind: PlateKind::Virtual,
        seed: None,
        shop_uncertainty: None,
        planted: std::collections::BTreeMap::new(),
        references: std::collections::BTreeMap::new(),
    })
}

impl<'e> Bench<'e> {
    /// `plates` are those that reports may be of, one at least; reports are drawn in turn of each.
    pub(super) fn new(exercise: &'e Exercise, plates: &[Plate], label: &'static str) -> Result<Self, ModelError> {
        Ok(Self {
            exercise,
            diagnoser: Diagnoser::new(exercise, plates, Priors::default())?,
            serials: plates.iter().map(|p| p.serial.clone()).collect(),
            label,
        })
    }

    /// The answer to one report with a mistake. Its amount is taken with either sign.
    pub(super) fn answer(&self, fault: &Fault, number: u32) -> Option<(Fault, Finding)> {
        let mut sampler = Sampler::new(u64::from(number), self.label);
        let serial = self.serials.get(sampler.below(self.serials.len().max(1)))?;
        let sign = if sampler.chance(0.5) { 1.0 } else { -1.0 };
        let fault = amount(fault).map_or_else(|| fault.clone(), |a| with_amount(fault, sign * a));
        let procedure = Procedure::with(vec![fault.clone()]).ok()?;
        let model = self.diagnoser.model();
        let measured = model
            .simulate(serial, &procedure, Conditions::default(), &mut sampler)
            .ok()?;
        let report = model.write_report(
            self.exercise,
            &self.exercise.marks,
            &measured,
            Habits::default(),
            &mut sampler,
        );
        Some((fault, self.diagnoser.diagnose(serial, &report)))
    }

    pub(super) fn told(&self, fault: &Fault, number: u32) -> Told {
        let Some((fault, finding)) = self.answer(fault, number) else {
            return Told {
                detected: false,
                named: false,
                wrong: false,
            };
        };
        let named = self.named(&fault, &finding);
        Told {
            detected: !matches!(finding.state, DiagnosisState::Clean | DiagnosisState::NotLookedInto),
            named,
            wrong: finding.state == DiagnosisState::FaultStated && !named,
        }
    }

    /// Whether the mistake is stated by itself, or a set of the same effect is and the mistake stands beside it.
    fn named(&self, fault: &Fault, finding: &Finding) -> bool {
        if finding.state != DiagnosisState::FaultStated {
            return false;
        }
        match finding.faults.as_slice() {
            [one] if kind(&one.fault) == kind(fault) => true,
            stated => {
                let beside = finding
                    .others
                    .iter()
                    .any(|(set, _)| matches!(set.as_slice(), [one] if kind(one) == kind(fault)));
                let stated: Vec<Fault> = stated.iter().map(|s| s.fault.clone()).collect();
                beside && self.alike(std::slice::from_ref(fault), &stated)
            }
        }
    }

    /// Whether two sets change every value alike, within half of U.
    fn alike(&self, a: &[Fault], b: &[Fault]) -> bool {
        let model = self.diagnoser.model();
        let plate = self.serials.first().and_then(|s| model.plate(s).ok());
        let predict = |faults: &[Fault]| plate.and_then(|p| model.predict(p, faults).ok());
        predict(a).zip(predict(b)).is_some_and(|(a, b)| {
            let lines = a.iter().zip(&b).zip(&self.exercise.characteristics);
            lines
                .filter_map(|((a, b), c)| Some(((*a)? - (*b)?, decimal_to_f64(c.u_lab))))
                .all(|(off, u)| off.abs() <= u / 2.0)
        })
    }
}

/// Reports of one mistake, with what is known of each so far.
struct Search<'b, 'e> {
    bench: &'b Bench<'e>,
    fault: Fault,
    known: Vec<Vec<(f64, Told)>>,
    left: &'b mut u32,
}

/// No diagnoses are left.
struct Spent;

impl Search<'_, '_> {
    fn look(&mut self, report: usize, amount: f64) -> Result<Told, Spent> {
        if let Some((_, told)) = self.known[report].iter().find(|(a, _)| a.total_cmp(&amount).is_eq()) {
            return Ok(*told);
        }
        *self.left = self.left.checked_sub(1).ok_or(Spent)?;
        let fault = with_amount(&self.fault, amount);
        let told = self.bench.told(&fault, u32::try_from(report).unwrap_or(u32::MAX));
        self.known[report].push((amount, told));
        Ok(told)
    }

    /// Whether enough reports have what is wanted at an amount. Where `outright`, none is taken from another amount.
    fn reached(&mut self, amount: f64, wanted: Wanted, outright: bool) -> Result<bool, Spent> {
        let reports = self.known.len();
        let mut failed = 0.0;
        for report in 0..reports {
            let known = &self.known[report];
            let right = known.iter().any(|(a, t)| *a <= amount && wanted.of(*t));
            let wrong = known.iter().any(|(a, t)| *a >= amount && !wanted.of(*t));
            let right = if outright || right == wrong {
                wanted.of(self.look(report, amount)?)
            } else {
                right
            };
            failed += if right { 0.0 } else { 1.0 };
            if failed > (1.0 - CHANCE) * count(reports) + 1e-9 {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// The smallest amount with the chance, from a guess; none where not even `to` has it.
    fn size(&mut self, wanted: Wanted, guess: f64, to: f64) -> Result<Option<f64>, Spent> {
        let (mut low, mut high) = (guess, guess);
        if self.reached(guess, wanted, false)? {
            for _ in 0..DOWN {
                low = high / GROWTH;
                if !self.reached(low, wanted, false)? {
                    break;
                }
                high = low;
            }
        } else {
            while !self.reached(high, wanted, false)? {
                if high >= to {
                    return Ok(None);
                }
                low = high;
                high = (high * GROWTH).min(to);
            }
        }
        for _ in 0..HALVINGS {
            let middle = (low * high).sqrt();
            if self.reached(middle, wanted, false)? {
                high = middle;
            } else {
                low = middle;
            }
        }
        for _ in 0..TRIES {
            if self.reached(high, wanted, true)? {
                return Ok(Some(high));
            }
            high *= MORE;
        }
        Ok(None)
    }

    /// Shares of reports that are detected and named at an amount.
    fn chances(&mut self, amount: f64) -> Result<(f64, f64), Spent> {
        let (mut detected, mut named) = (0.0, 0.0);
        let reports = self.known.len();
        for report in 0..reports {
            let told = self.look(report, amount)?;
            detected += if told.detected { 1.0 } else { 0.0 };
            named += if told.named { 1.0 } else { 0.0 };
        }
        Ok((detected / count(reports), named / count(reports)))
    }
}

/// Puts what is found by trial in place of the estimates of a mistake.
fn one(bench: &Bench<'_>, fault: &FaultInsight, effort: Effort, left: &mut u32) -> Result<FaultInsight, Spent> {
    let reports = usize::try_from(effort.reports).unwrap_or(usize::MAX);
    let mut search = Search {
        bench,
        fault: fault.fault.clone(),
        known: vec![Vec::new(); reports],
        left,
    };
    let mut found = fault.clone();
    found.reports = effort.reports;
    let sd = amount(&fault.fault);
    if let Some(sd) = sd {
        let to = FARTHEST * sd;
        let guess = fault.identifiable.or(fault.detectable).unwrap_or(to);
        found.identifiable = search.size(Wanted::Named, guess, to)?;
        let guess = fault.detectable.or(found.identifiable).unwrap_or(to);
        found.detectable = search.size(Wanted::Detected, guess, to)?;
    }
    (found.chance_detected, found.chance_identified) = search.chances(sd.unwrap_or(1.0))?;
    Ok(found)
}

/// Puts what is found by trial in place of the estimates, as far as the effort goes.
pub(super) fn sizes(insight: &mut Insight, bench: &Bench<'_>, effort: Effort, left: &mut u32) {
    if effort.reports == 0 {
        return;
    }
    for fault in &mut insight.faults {
        if let Ok(found) = one(bench, fault, effort, left) {
            *fault = found;
        }
    }
}
