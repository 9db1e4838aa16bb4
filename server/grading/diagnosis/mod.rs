//! Diagnosis: which mistakes explain a report, with a probability, and what the report would be without them.
//!
//! Detection, identification, adaptation (Baarda, Netherlands Geodetic Commission 2(5), 1968; Teunissen, J. Geod. 92,
//! 2018). Every set of up to three faults is a hypothesis; its weight is its prior times its marginal likelihood, with
//! the noise of an honest pair and the noise's own scale among the unknowns. `search` enumerates, `answer` normalises
//! over "clean", "unexplained" and all sets and says what is stated, suspected or left open.

mod answer;
mod assess;
mod correct;
mod evidence;
mod family;
mod given;
mod products;
mod scene;
mod screen;
mod search;
mod set_up;
mod snooping;
mod world;

pub mod priors;

#[cfg(test)]
mod tests;

use crate::exercise::model::Exercise;
use crate::exercise::names::Serial;
use crate::exercise::plate::Plate;
use crate::grading::grade::DiagnosisState;
use crate::procedure::fault::Fault;
use crate::procedure::model::{Model, ModelError};
use crate::report::model::Report;
use crate::report::setup_record::SetUp;
use assess::Assessed;
use priors::Priors;
use scene::Scene;

/// Fewest values that anything can be said about.
const FEWEST: usize = 1;

/// An exercise with its plates, ready for many diagnoses.
///
/// It borrows nothing, so that it can be kept for all reports on an exercise in one revision and its plates.
#[derive(Debug, Clone)]
pub struct Diagnoser {
    exercise: Exercise,
    model: Model,
    serials: Vec<Serial>,
    priors: Priors,
}

/// One fault of a set.
#[derive(Debug, Clone, PartialEq)]
pub struct Stated {
    /// The fault with its parameters.
    pub fault: Fault,
    /// Its probability.
    pub probability: f64,
    /// Standard deviation of its amount; 0 where it has none.
    pub sd: f64,
    /// Lines of the sheet whose values it changes.
    pub explains: Vec<usize>,
}

/// What a diagnosis comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Clean, stated, suspected or unexplained.
    pub state: DiagnosisState,
    /// Joint probability of what is said; `None` where nothing was measured.
    pub probability: Option<f64>,
    /// The stated or suspected set.
    pub faults: Vec<Stated>,
    /// Other sets with their probabilities.
    pub others: Vec<(Vec<Fault>, f64)>,
    /// Lines that the set, or the clean report, does not explain.
    pub unexplained: Vec<usize>,
    /// For every subset of the stated faults, given by the bits of its place: the values with that subset taken out.
    pub corrections: Vec<Vec<Option<f64>>>,
    /// Hypotheses that were weighed exactly.
    pub weighed: usize,
    /// Probability of what the search ranked and did not weigh, bounded by the linear ranks; 1 says that nothing is known.
    pub left_out: f64,
}

impl Finding {
    /// Leaves out what is said of lines after the first so many, which are not of the sheet.
    pub fn keep_lines(&mut self, sheet: usize) {
        self.unexplained.retain(|line| *line < sheet);
        for fault in &mut self.faults {
            fault.explains.retain(|line| *line < sheet);
        }
        for correction in &mut self.corrections {
            correction.truncate(sheet);
        }
    }

    /// Where nothing was looked into.
    #[must_use]
    pub const fn nothing() -> Self {
        Self {
            state: DiagnosisState::NotLookedInto,
            probability: None,
            faults: Vec::new(),
            others: Vec::new(),
            unexplained: Vec::new(),
            corrections: Vec::new(),
            weighed: 0,
            left_out: 0.0,
        }
    }
}

impl Diagnoser {
    /// Prepares an exercise with the plates that its reports may be of.
    ///
    /// # Errors
    /// When the forward model cannot work with the exercise; a checked one it can.
    pub fn new(exercise: &Exercise, plates: &[Plate], priors: Priors) -> Result<Self, ModelError> {
        Ok(Self {
            model: Model::new(exercise, plates)?,
            exercise: exercise.clone(),
            serials: plates.iter().map(|p| p.serial.clone()).collect(),
            priors,
        })
    }

    /// The forward model that this works with.
    #[must_use]
    pub const fn model(&self) -> &Model {
        &self.model
    }

    /// Which mistakes explain the report of this plate. A serial that is not among the plates is not looked into.
    #[must_use]
    pub fn diagnose(&self, serial: &Serial, report: &Report) -> Finding {
        self.diagnose_with(serial, report, None)
    }

    /// As [`Diagnoser::diagnose`], with what the pair's set-up record says beside the numbers: it moves the prior odds of
    /// the families that it speaks of by the factors of [`Priors::record`].
    #[must_use]
    pub fn diagnose_with(&self, serial: &Serial, report: &Report, record: Option<&SetUp>) -> Finding {
        self.look(serial, report, record).unwrap_or_else(Finding::nothing)
    }

    fn scene<'s>(&'s self, serial: &'s Serial, report: &Report, record: Option<&'s SetUp>) -> Option<Scene<'s>> {
        let plate = self.model.plate(serial).ok()?;
        let of = (&self.exercise, &self.model, self.serials.as_slice());
        let scene = Scene::new(of, (plate, serial), report, &self.priors)?;
        Some(Scene { record, ..scene })
    }

    /// What plain data snooping makes of the report: the baseline of the benchmark. Faults with the standard deviations
    /// of their amounts.
    #[must_use]
    pub fn snoop(&self, serial: &Serial, report: &Report) -> Vec<(Fault, f64)> {
        let Some(scene) = self.scene(serial, report, None) else {
            return Vec::new();
        };
        let weights = family::Weights::new(&scene);
        snooping::snoop(&scene, &weights, &weights.near(&scene))
    }

    fn look(&self, serial: &Serial, report: &Report, record: Option<&SetUp>) -> Option<Finding> {
        let scene = self.scene(serial, report, record)?;
        if scene.lines().count() < FEWEST {
            return None;
        }
        let weights = family::Weights::new(&scene);
        let near = weights.near(&scene);
        let found = search::search(&scene, &weights, &near)?;
        let answer = answer::answer(&scene, &found);
        let faults = answer
            .set
            .as_ref()
            .map_or_else(Vec::new, |set| stated(&scene, set, &answer.each));
        let residuals = answer.set.as_ref().unwrap_or(&found.clean);
        let corrections = match &answer.set {
            Some(set) if answer.state == DiagnosisState::FaultStated => subsets(&scene, set),
            _ => Vec::new(),
        };
        Some(Finding {
            state: answer.state,
            probability: Some(answer.probability),
            faults,
            others: answer.others,
            unexplained: unexplained(&scene, residuals),
            corrections,
            weighed: found.weighed,
            left_out: found.left_out,
        })
    }
}

/// Standard deviations beyond which a value is not explained.
const BEYOND: f64 = 4.0;

fn unexplained(scene: &Scene<'_>, set: &Assessed) -> Vec<usize> {
    let scale = set.noise.all;
    let gross = |i: &usize| {
        set.picks
            .iter()
            .any(|p| matches!(p.fault, Fault::GrossError { .. }) && p.dropped.contains(i))
    };
    let off = |i: &usize| (set.standardised[*i] * scale).abs() > BEYOND && !gross(i);
    scene.lines().filter(off).collect()
}

fn subsets(scene: &Scene<'_>, set: &Assessed) -> Vec<Vec<Option<f64>>> {
    let n = set.picks.len();
    (0..1_usize << n)
        .map(|taken| {
            let kept: Vec<bool> = (0..n).map(|p| taken >> p & 1 == 0).collect();
            correct::without(scene, set, &kept)
        })
        .collect()
}

fn stated(scene: &Scene<'_>, set: &Assessed, each: &[f64]) -> Vec<Stated> {
    (0..set.picks.len())
        .map(|p| Stated {
            fault: set.faults[p].clone(),
            probability: each.get(p).copied().unwrap_or(0.0),
            sd: set.sd[p],
            explains: explains(scene, set, p),
        })
        .collect()
}

/// Lines whose prediction is another one without the fault, by more than a quarter of U; those that it names.
fn explains(scene: &Scene<'_>, set: &Assessed, place: usize) -> Vec<usize> {
    let pick = &set.picks[place];
    if let Some((line, _)) = pick.undone {
        return vec![line];
    }
    if !pick.dropped.is_empty() {
        return pick.dropped.clone();
    }
    if matches!(pick.fault, Fault::NominalsCopied { .. }) {
        return scene.lines().filter(|i| set.carriers[*i].is_copied()).collect();
    }
    let others = |p: &usize| *p != place && set.picks[*p].is_predicted();
    let rest: Vec<Fault> = (0..set.picks.len())
        .filter(others)
        .map(|p| set.faults[p].clone())
        .collect();
    let Some(without) = scene.predict(&rest) else {
        return Vec::new();
    };
    let changed = |i: &usize| scene.difference(*i, set.predicted[*i], without[*i]).abs() > scene.u[*i] / 4.0;
    scene.lines().filter(changed).collect()
}
