//! The rows of the benchmark: reports drawn, diagnosed and judged.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use super::draw::Bench;
use super::judge::{IDENTIFIABLE, Outcome, Truth, judge, same_set, slipped_item, tells, told};
use crate::exercise::model::Exercise;
use crate::exercise::names::{BalloonNo, Serial};
use crate::grading::diagnosis::{Diagnoser, Finding};
use crate::grading::grade::DiagnosisState;
use crate::procedure::fault::{Family, Fault, Procedure};
use crate::procedure::sampler::Sampler;
use crate::procedure::simulate::Conditions;
use crate::procedure::written::Habits;
use crate::report::model::{Report, ReportItem};
use crate::units::decimal_to_f64;

/// One report with what is true of it.
pub(super) struct Case {
    pub(super) serial: Serial,
    pub(super) truth: Vec<Fault>,
    /// What the same pair would have written without the faults, not rounded.
    pub(super) honest: Vec<f64>,
    /// For each fault whether it changed this report by enough to be told by name.
    pub(super) told: Vec<bool>,
    pub(super) report: Report,
}

/// What became of the reports of one row.
#[derive(Debug, Clone, Default)]
pub(super) struct Row {
    pub(super) outcomes: BTreeMap<Outcome, u64>,
    pub(super) times: Vec<Duration>,
    /// Plain data snooping on the same reports: right, another set named, all.
    pub(super) snooped: [u64; 3],
    /// Draws that were passed over because they are below what can be identified.
    pub(super) below: u64,
    /// Bounds of the probability that the search left out, report by report.
    pub(super) left_out: Vec<f64>,
    /// Most hypotheses that were weighed exactly for one report.
    pub(super) weighed: usize,
}

impl Row {
    pub(super) fn all(&self) -> u64 {
        self.outcomes.values().sum()
    }

    pub(super) fn of(&self, outcomes: &[Outcome]) -> u64 {
        outcomes.iter().filter_map(|o| self.outcomes.get(o)).sum()
    }

    pub(super) fn add(&mut self, other: &Self) {
        for (outcome, n) in &other.outcomes {
            *self.outcomes.entry(*outcome).or_default() += n;
        }
        self.times.extend(&other.times);
        self.below += other.below;
        self.left_out.extend(&other.left_out);
        self.weighed = self.weighed.max(other.weighed);
        for (mine, n) in self.snooped.iter_mut().zip(other.snooped) {
            *mine += n;
        }
    }
}

/// Reports drawn from the priors, by whether their faults can be told.
#[derive(Debug, Clone, Default)]
pub(super) struct Mix {
    /// Without a fault.
    pub(super) clean: Row,
    /// Every fault above the identifiable size.
    pub(super) above: Row,
    /// One at least below it.
    pub(super) below: Row,
    /// Of those that were stated: the probability, and whether it was right.
    pub(super) stated: Vec<(f64, bool)>,
}

impl Mix {
    pub(super) fn add(&mut self, other: &Self) {
        self.clean.add(&other.clean);
        self.above.add(&other.above);
        self.below.add(&other.below);
        self.stated.extend(&other.stated);
    }

    /// All of them.
    pub(super) fn all(&self) -> Row {
        let mut all = self.clean.clone();
        all.add(&self.above);
        all.add(&self.below);
        all
    }
}

/// An exercise under study.
pub(super) struct Study<'a> {
    pub(super) exercise: &'a Exercise,
    pub(super) bench: Bench<'a>,
    pub(super) diagnoser: &'a Diagnoser,
    /// Every so many reports the baseline looks at one too; 0 is never.
    pub(super) snoop_every: u64,
    /// What was true and what was said of reports that were not judged right.
    pub(super) misses: std::cell::RefCell<Vec<String>>,
}

/// Draws that are tried before a family counts as having no room in the exercise.
const TRIES: usize = 300;

impl Study<'_> {
    /// A report with these faults of a pair under these conditions.
    pub(super) fn case(
        &self,
        truth: Vec<Fault>,
        serial: Serial,
        conditions: Conditions,
        sampler: &mut Sampler,
    ) -> Option<Case> {
        let model = self.diagnoser.model();
        let procedure = Procedure::with(truth.clone()).ok()?;
        let mut same_noise = sampler.clone();
        let measured = model.simulate(&serial, &procedure, conditions, sampler).ok()?;
        let perfect = Procedure::perfect();
        let honest = model.simulate(&serial, &perfect, conditions, &mut same_noise).ok()?;
        let rules = &self.exercise.marks;
        let report = model.write_report(self.exercise, rules, &measured, Habits::default(), sampler);
        let of_fault = |place: usize| match truth.get(place).and_then(slipped_item) {
            Some(item) => self.slipped(item, &measured.values, &report),
            None => told(&self.bench, &serial, &truth, place),
        };
        Some(Case {
            told: (0..truth.len()).map(of_fault).collect(),
            serial,
            truth,
            honest: honest.values,
            report,
        })
    }

    /// Whether a slip changed what was written by enough to be told, from what would stand there without it, not rounded:
    /// with the digits that the noise left, an exchange may change little or nothing.
    fn slipped(&self, item: &BalloonNo, before: &[f64], report: &Report) -> bool {
        let found = self.exercise.characteristic(item).and_then(|(line, c)| {
            let written = report.item(item)?.measured.as_ref()?.approx();
            Some(((written - before.get(line)?).abs(), decimal_to_f64(c.u_lab)))
        });
        found.is_some_and(|(change, u)| 2.0 * change > IDENTIFIABLE * u)
    }

    pub(super) fn serial(&self, sampler: &mut Sampler) -> Option<Serial> {
        self.bench.serials.get(sampler.below(self.bench.serials.len())).cloned()
    }

    /// Faults of these families, all of them large enough to be identified; `below` counts those that were not.
    pub(super) fn faults(
        &self,
        families: &[Family],
        serial: &Serial,
        sampler: &mut Sampler,
        below: &mut u64,
    ) -> Option<Vec<Fault>> {
        let mut truth: Vec<Fault> = Vec::new();
        for _ in 0..TRIES {
            let family = *families.get(truth.len())?;
            let Some(fault) = self.bench.fault(family, serial, sampler) else {
                continue;
            };
            truth.push(fault);
            if !tells(&self.bench, serial, &truth) {
                truth.pop();
                *below += 1;
            } else if truth.len() == families.len() {
                return Some(truth);
            }
        }
        None
    }

    /// Diagnoses and judges one report.
    pub(super) fn run(&self, case: &Case, number: u64, row: &mut Row) -> (Finding, Outcome) {
        let (start, before) = (Instant::now(), processor());
        let finding = self.diagnoser.diagnose(&case.serial, &case.report);
        let spent = before.zip(processor()).map(|(a, b)| b.saturating_sub(a));
        row.times.push(spent.unwrap_or_else(|| start.elapsed()));
        row.left_out.push(finding.left_out);
        row.weighed = row.weighed.max(finding.weighed);
        let truth = Truth {
            serial: &case.serial,
            faults: &case.truth,
            honest: &case.honest,
            told: &case.told,
        };
        let outcome = judge(&self.bench, &truth, &finding);
        *row.outcomes.entry(outcome).or_default() += 1;
        let right = match outcome {
            Outcome::Right | Outcome::EqualEffect | Outcome::NamedTogether => true,
            Outcome::Clean => case.truth.is_empty(),
            _ => false,
        };
        if !right {
            self.misses.borrow_mut().push(self.miss(case, &finding));
        }
        if self.snoop_every > 0 && number.is_multiple_of(self.snoop_every) {
            let found = self.diagnoser.snoop(&case.serial, &case.report);
            let stated: Vec<(&Fault, f64)> = found.iter().map(|(f, sd)| (f, *sd)).collect();
            let right = same_set(&self.bench, &truth, &stated);
            row.snooped[0] += u64::from(right);
            row.snooped[1] += u64::from(!right && !stated.is_empty());
            row.snooped[2] += 1;
        }
        (finding, outcome)
    }

    /// What was true and what was said, on one line.
    fn miss(&self, case: &Case, finding: &Finding) -> String {
        let said = |faults: Vec<&Fault>| serde_json::to_string(&faults).unwrap_or_default();
        let others: Vec<String> = finding
            .others
            .iter()
            .map(|(set, p)| format!("{p:.4} {}", said(set.iter().collect())))
            .collect();
        let written = |i: &ReportItem| i.measured.as_ref().map_or_else(String::new, ToString::to_string);
        let values: Vec<String> = case.report.items.iter().map(written).collect();
        format!(
            "MISS {} true {} said {:?} {:.4} {} others {} beyond {:?} of {}",
            case.serial.as_str(),
            said(case.truth.iter().collect()),
            finding.state,
            finding.probability.unwrap_or(0.0),
            said(finding.faults.iter().map(|s| &s.fault).collect()),
            others.join(" | "),
            finding.unexplained,
            values.join(" "),
        )
    }

    /// Reports without a fault.
    pub(super) fn clean(&self, count: u64, conditions: Conditions, sampler: &mut Sampler) -> Row {
        let mut row = Row::default();
        for number in 0..count {
            let case = self
                .serial(sampler)
                .and_then(|s| self.case(Vec::new(), s, conditions, sampler));
            if let Some(case) = case {
                self.run(&case, number, &mut row);
            }
        }
        row
    }

    /// Reports with one fault of a family each; `confused` counts what was named instead.
    pub(super) fn single(
        &self,
        family: Family,
        count: u64,
        sampler: &mut Sampler,
        confused: &mut BTreeMap<(Family, String), u64>,
    ) -> Row {
        let mut row = Row::default();
        let (mut number, mut tries) = (0, 0);
        while number < count && tries < 20 * count {
            tries += 1;
            let Some(serial) = self.serial(sampler) else { break };
            let Some(truth) = self.faults(&[family], &serial, sampler, &mut row.below) else {
                break;
            };
            let Some(case) = self.case(truth, serial, Conditions::default(), sampler) else {
                continue;
            };
            if !case.told.iter().all(|t| *t) {
                row.below += 1;
                continue;
            }
            number += 1;
            let (finding, outcome) = self.run(&case, number, &mut row);
            let named = match outcome {
                Outcome::Right => family.code().to_owned(),
                Outcome::EqualEffect => "equal effect".to_owned(),
                Outcome::NamedTogether => "named together".to_owned(),
                Outcome::Wrong => codes(&finding),
                Outcome::Suspected => "suspected".to_owned(),
                Outcome::Unexplained => "unexplained".to_owned(),
                Outcome::Clean => "clean".to_owned(),
            };
            *confused.entry((family, named)).or_default() += 1;
        }
        row
    }

    /// Reports with so many faults of different families.
    pub(super) fn several(&self, faults: usize, count: u64, sampler: &mut Sampler) -> Row {
        let mut row = Row::default();
        let mut number = 0;
        let mut tries = 0;
        while number < count && tries < 20 * count {
            tries += 1;
            let Some(serial) = self.serial(sampler) else { break };
            let mut families: Vec<Family> = Vec::new();
            while families.len() < faults {
                let family = Family::ALL[sampler.below(Family::ALL.len())].1;
                if !families.contains(&family) {
                    families.push(family);
                }
            }
            let Some(truth) = self.faults(&families, &serial, sampler, &mut row.below) else {
                continue;
            };
            let Some(case) = self.case(truth, serial, Conditions::default(), sampler) else {
                continue;
            };
            if !case.told.iter().all(|t| *t) {
                row.below += 1;
                continue;
            }
            self.run(&case, number, &mut row);
            number += 1;
        }
        row
    }

    /// Faults as the priors have them: how many, of which families, of what size.
    fn drawn(&self, serial: &Serial, sampler: &mut Sampler) -> Vec<Fault> {
        let weights: f64 = Family::ALL.iter().map(|(_, f)| self.bench.priors.weight(*f)).sum();
        let mut left = sampler.uniform();
        let mut faults = 0;
        for (n, p) in self.bench.priors.count.iter().enumerate() {
            if left < *p {
                faults = n;
                break;
            }
            left -= p;
        }
        let mut truth: Vec<Fault> = Vec::new();
        while truth.len() < faults {
            let mut at = sampler.uniform() * weights;
            let family = Family::ALL.iter().map(|(_, f)| *f).find(|f| {
                at -= self.bench.priors.weight(*f);
                at < 0.0
            });
            let fault = family.filter(|f| !truth.iter().any(|t| t.family() == *f));
            truth.extend(fault.and_then(|f| self.bench.fault(f, serial, sampler)));
        }
        truth
    }

    /// A separate draw from the priors, small effects included.
    pub(super) fn mix(&self, count: u64, sampler: &mut Sampler) -> Mix {
        let mut mix = Mix::default();
        for number in 0..count {
            let Some(serial) = self.serial(sampler) else { break };
            let truth = self.drawn(&serial, sampler);
            let Some(case) = self.case(truth, serial, Conditions::default(), sampler) else {
                continue;
            };
            let row = if case.truth.is_empty() {
                &mut mix.clean
            } else if tells(&self.bench, &case.serial, &case.truth) && case.told.iter().all(|t| *t) {
                &mut mix.above
            } else {
                &mut mix.below
            };
            let (finding, outcome) = self.run(&case, number, row);
            if finding.state == DiagnosisState::FaultStated {
                let right = matches!(outcome, Outcome::Right | Outcome::EqualEffect);
                mix.stated.push((finding.probability.unwrap_or(0.0), right));
            }
        }
        mix
    }
}

/// Time that this thread has had on a processor, where the system tells (Linux: the first number of `schedstat`). On a
/// machine that others use as well, the time by the clock would be that of the others.
fn processor() -> Option<Duration> {
    // The count is brought up to date when the thread is put aside.
    std::thread::yield_now();
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    let nanoseconds = told.split_ascii_whitespace().next()?.parse().ok()?;
    Some(Duration::from_nanos(nanoseconds))
}

fn codes(finding: &Finding) -> String {
    let mut codes: Vec<&str> = finding.faults.iter().map(|f| f.fault.family().code()).collect();
    codes.sort_unstable();
    codes.join(" + ")
}
