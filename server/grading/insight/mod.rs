//! What a print can tell about mistakes before any class: the smallest amount of each that is detected and that is named
//! with 95 % chance, the mistakes that it cannot tell apart, and what one added characteristic would do.
//!
//! Detected is a mistake that beats "clean" in the diagnosis, named is one that reaches the probability from which the
//! diagnosis states it; both with the same priors, on a plate as printed, with the declared noise of a careful pair, of
//! which the diagnosis does not know that it is as declared.

mod chance;
mod evidence;
mod identify;
mod mended;
mod sets;
mod sight;
pub(super) mod suspects;
#[cfg(test)]
mod tests;
mod tried;
pub mod words;

pub use tried::Effort;

use serde::Serialize;

use super::diagnosis::priors::{NoiseKind, Priors};
use super::extra::{Extended, Extra, of_features};
use crate::exercise::model::{Exercise, Quantity};
use crate::exercise::names::FeatureKey;
use crate::exercise::plate::{Plate, references};
use crate::procedure::fault::Fault;
use crate::procedure::model::ModelError;
use evidence::{Kind, Seen};
use identify::{Trials, Wanted};
use sight::{Ground, Root};
use suspects::Suspect;

/// Chance with which a mistake of the smallest size is detected, or named.
pub const CHANCE: f64 = 0.95;
/// The normal quantile of it.
const QUANTILE: f64 = 1.644_853_626_951_472_2;
/// Standard deviations of the prior beyond which no amount is thought of, as in the diagnosis.
const FARTHEST: f64 = 10.0;
/// Squares of standard deviations below which a sheet does not see a mistake at all.
const BLIND: f64 = 1e-6;

/// What a print can tell.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Insight {
    /// Mistakes that the sheet sees, in the order of the families.
    pub faults: Vec<FaultInsight>,
    /// Sets that it cannot tell apart.
    pub confusable: Vec<Confusable>,
    /// Mistakes that change no number of it.
    pub unseen: Vec<Unseen>,
    /// The one added characteristic that mends the most of these.
    pub first: Option<Proposal>,
}

/// One mistake on one print. Amounts in the exercise's unit, degrees or 1e-6, as the mistake has it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FaultInsight {
    /// The mistake; its amount, where it has one, is one standard deviation of the prior.
    #[serde(flatten)]
    pub fault: Fault,
    /// Smallest amount that is detected; none for a known step, and where no amount that is thought of is.
    pub detectable: Option<f64>,
    /// Smallest amount that is named.
    pub identifiable: Option<f64>,
    /// Chance that it is detected as given.
    pub chance_detected: f64,
    /// Chance that it is named as given.
    pub chance_identified: f64,
    /// What it is most easily taken for.
    pub rival: Option<Fault>,
    /// With how many reports sizes and chances were tried on the diagnosis; 0 where they are estimates.
    pub reports: u32,
}

/// Mistakes that a print cannot tell apart.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Confusable {
    /// Two or more.
    pub faults: Vec<Fault>,
    /// Whether they change every number in the same way, so that the corrections and the mark are the same.
    pub alike: bool,
    /// What would tell them apart.
    pub add: Option<Proposal>,
    /// What else would, next best first.
    #[serde(skip)]
    pub next: Vec<Proposal>,
}

/// A mistake that no number shows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Unseen {
    /// The mistake.
    pub fault: Fault,
    /// What would show it.
    pub add: Option<Proposal>,
    /// What else would, next best first.
    #[serde(skip)]
    pub next: Vec<Proposal>,
}

/// A characteristic that the sheet could ask for.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Proposal {
    /// Of which feature.
    pub feature: FeatureKey,
    /// Which quantity.
    pub of: Quantity,
}

impl Proposal {
    fn of(extra: &Extra) -> Option<Self> {
        match extra {
            Extra::Feature { feature, of } => Some(Self {
                feature: feature.clone(),
                of: *of,
            }),
            Extra::Face { .. } => None,
        }
    }
}

/// What the print of an exercise can tell, on plates that are known exactly.
#[must_use]
pub fn insight(exercise: &Exercise) -> Insight {
    look(exercise, &[], &Priors::default()).unwrap_or_default()
}

/// What it can tell on plates whose references are as well known as those of `plates` are.
#[must_use]
pub fn insight_on(exercise: &Exercise, plates: &[Plate]) -> Insight {
    look(exercise, &typical(exercise, plates), &Priors::default()).unwrap_or_default()
}

/// What it can tell as tried on the diagnosis itself: sizes and chances counted in drawn reports, and proposals only where
/// with the added characteristic the reports were told. Without plates, on one that is as printed.
///
/// # Errors
/// When the forward model cannot work with the exercise; a checked one it can.
pub fn tried(exercise: &Exercise, plates: &[Plate], effort: Effort) -> Result<Insight, ModelError> {
    let printed: Vec<Plate> = tried::as_printed().into_iter().collect();
    let plates = if plates.is_empty() { &printed } else { plates };
    let mut found = insight_on(exercise, plates);
    let mut left = effort.most;
    let bench = tried::Bench::new(exercise, plates, "insight tried")?;
    mended::proposals(&mut found, exercise, plates, &mut left)?;
    tried::sizes(&mut found, &bench, effort, &mut left);
    Ok(found)
}

/// What the print leaves open, with the proposals of which a few reports each show that they mend it.
///
/// # Errors
/// As [`tried()`].
pub fn proposed(exercise: &Exercise) -> Result<Insight, ModelError> {
    let mut found = insight(exercise);
    let printed: Vec<Plate> = tried::as_printed().into_iter().collect();
    let mut left = Effort::default().most;
    mended::proposals(&mut found, exercise, &printed, &mut left)?;
    Ok(found)
}

/// Root mean square of the plates' standard uncertainties by line, as far as they are established.
fn typical(exercise: &Exercise, plates: &[Plate]) -> Vec<f64> {
    let known: Vec<_> = plates.iter().map(|p| references(exercise, p)).collect();
    let line = |i: usize| {
        let all: Vec<f64> = known
            .iter()
            .filter_map(|k| k.get(i)?.as_ref().map(crate::exercise::plate::Reference::standard))
            .collect();
        let squares: f64 = all.iter().map(|s| s * s).sum();
        (squares / count(all.len().max(1))).sqrt()
    };
    (0..exercise.characteristics.len()).map(line).collect()
}

/// A number of things as a double.
fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::from(u32::MAX), f64::from)
}

/// The hypotheses of a sheet with their effects.
struct Scope<'e> {
    exercise: &'e Exercise,
    extended: Extended,
    ground: Ground,
    suspects: Vec<Suspect>,
    kinds: Vec<Kind>,
    /// By suspect: effect on every line, of unit amount where it is free.
    effects: Vec<Vec<f64>>,
    log_clean: f64,
    stated: f64,
}

impl<'e> Scope<'e> {
    fn new(exercise: &'e Exercise, reference: &[f64], priors: &Priors) -> Option<Self> {
        let on_sheet = |e: &Extra| e.on_sheet(exercise).is_some();
        let extras: Vec<Extra> = of_features(exercise).into_iter().filter(|e| !on_sheet(e)).collect();
        let extended = Extended::new(exercise, &extras);
        let mut reference = reference.to_vec();
        let worst = reference.iter().copied().fold(0.0, f64::max);
        reference.resize(exercise.characteristics.len(), 0.0);
        reference.resize(extended.exercise.characteristics.len(), worst);
        let ground = Ground::new(&extended.exercise, &reference)?;
        let mut scope = Self {
            exercise,
            suspects: Vec::new(),
            kinds: Vec::new(),
            effects: Vec::new(),
            log_clean: priors.count[0].ln(),
            stated: priors.stated,
            extended,
            ground,
        };
        for suspect in suspects::all(exercise, priors) {
            if let Some(effect) = scope.ground.effect(&suspect) {
                scope.kinds.push(suspect.sd.map_or(Kind::Step, Kind::Free));
                scope.effects.push(effect);
                scope.suspects.push(suspect);
            }
        }
        scope.add_gross(priors);
        Some(scope)
    }

    /// One value wrong for no known reason, line by line.
    fn add_gross(&mut self, priors: &Priors) {
        let mm = 1.0 / self.exercise.units.mm_per_unit_f64();
        let lines = self.exercise.characteristics.len();
        let total: f64 = priors.weights.iter().sum();
        let family = crate::procedure::fault::Family::GrossError;
        for (i, c) in self.exercise.characteristics.iter().enumerate() {
            let u = self.ground.u.get(i).copied().unwrap_or(0.0);
            let mut effect = vec![0.0; self.ground.len()];
            if let Some(e) = effect.get_mut(i) {
                *e = 1.0;
            }
            self.effects.push(effect);
            self.kinds.push(Kind::Gross {
                from: priors.gross_from * u,
                to: (priors.gross_to.0 * mm).max(priors.gross_to.1 * u),
            });
            self.suspects.push(Suspect {
                fault: Fault::GrossError {
                    item: c.no.clone(),
                    amount: None,
                },
                log_prior: (priors.count[1] * priors.weight(family) / total / count(lines.max(1))).ln(),
                sd: None,
            });
        }
    }

    /// All hypotheses through some lines.
    fn through(&self, lines: &[usize]) -> Option<Vec<Seen>> {
        let root = self.ground.root(lines, &NoiseKind::AS_DECLARED)?;
        Some(self.seen_by(&root))
    }

    /// All hypotheses in standard deviations of some noise.
    fn seen_by(&self, root: &Root) -> Vec<Seen> {
        let all = self.suspects.iter().zip(&self.kinds).zip(&self.effects);
        all.map(|((s, kind), effect)| Seen::new(*kind, s.log_prior, root.whiten(effect)))
            .collect()
    }

    fn sheet(&self) -> Vec<usize> {
        (0..self.extended.sheet).collect()
    }

    /// Whether `j`, fitted to mistake `i` of this amount, changes every line of the sheet as `i` does, within a quarter of
    /// U. A value wrong for no reason is never corrected and so like nothing else.
    fn alike(&self, seen: &[Seen], i: usize, amount: f64, j: usize) -> bool {
        if matches!(self.kinds[i], Kind::Gross { .. }) || matches!(self.kinds[j], Kind::Gross { .. }) {
            return false;
        }
        let other = match self.kinds[j] {
            Kind::Step => 1.0,
            _ => seen[j].fitted(amount * sight::dot(&seen[i].white, &seen[j].white)),
        };
        (0..self.extended.sheet).all(|line| {
            let off = amount * self.effects[i][line] - other * self.effects[j][line];
            off.abs() <= self.ground.u[line] / 4.0
        })
    }

    /// Smallest amount that beats "clean" with the chance where the noise is known to be as declared: the minimal
    /// detectable bias of the one-dimensional test; of a known step 1 where it does.
    fn detectable(&self, seen: &Seen) -> Option<f64> {
        if seen.information < BLIND {
            return None;
        }
        let odds = self.log_clean - seen.log_prior;
        match seen.kind {
            Kind::Free(sd) => {
                let si = sd * sd * seen.information;
                let critical = (2.0 * odds + (1.0 + si).ln()).max(0.0) * (1.0 + si) / si;
                let amount = chance::least_root(critical.sqrt(), CHANCE) / seen.information.sqrt();
                (amount <= FARTHEST * sd).then_some(amount)
            }
            _ => (seen.information.sqrt() >= chance::winning_distance(odds, QUANTILE)).then_some(1.0),
        }
    }

    fn chance_detected(&self, seen: &Seen) -> f64 {
        let odds = self.log_clean - seen.log_prior;
        match seen.kind {
            Kind::Free(sd) if seen.information >= BLIND => {
                let si = sd * sd * seen.information;
                let critical = (2.0 * odds + (1.0 + si).ln()).max(0.0) * (1.0 + si) / si;
                chance::power(si.sqrt(), critical.sqrt())
            }
            _ => chance::wins(seen.information.sqrt(), odds),
        }
    }
}

/// Whether a line of the answer is made of a mistake; the others are only rivals.
const fn is_listed(fault: &Fault) -> bool {
    !matches!(
        fault,
        Fault::SignDropped { .. } | Fault::GrossError { .. } | Fault::FeaturesExchanged { .. }
    )
}

fn look(exercise: &Exercise, reference: &[f64], priors: &Priors) -> Option<Insight> {
    if exercise.characteristics.is_empty() {
        return None;
    }
    let scope = Scope::new(exercise, reference, priors)?;
    let lines = scope.sheet();
    let trials = Trials::new(&scope, &lines, priors)?;
    let seen = trials.seen();
    let listed: Vec<usize> = (0..seen.len())
        .filter(|i| is_listed(&scope.suspects[*i].fault))
        .collect();
    let (shown, blind): (Vec<usize>, Vec<usize>) = listed.into_iter().partition(|i| seen[*i].information >= BLIND);
    let mut problems = sets::find(&scope, seen, &shown);
    problems.extend(blind.into_iter().map(sets::Problem::unseen));
    let answered = sets::propose(&scope, &problems);
    Some(Insight {
        faults: shown.iter().map(|i| one(&scope, &trials, *i)).collect(),
        confusable: answered.confusable,
        unseen: answered.unseen,
        first: answered.first,
    })
}

fn one(scope: &Scope<'_>, trials: &Trials, i: usize) -> FaultInsight {
    let seen = trials.seen();
    let suspect = &scope.suspects[i];
    let amount = suspect.sd.unwrap_or(1.0);
    let alike = |j: usize, amount: f64| scope.alike(seen, i, amount, j);
    let bound = scope.detectable(&seen[i]).filter(|_| suspect.sd.is_some());
    let to = FARTHEST * amount;
    // Where the noise's scale is an open question, more is needed than the bound for declared noise.
    let least = |from: Option<f64>, wanted| from.and_then(|f| trials.least(i, (f, to), (wanted, CHANCE), &alike));
    let detectable = least(bound, Wanted::Detected);
    let identifiable = least(detectable, Wanted::Named);
    let (chance_detected, chance_identified) = trials.chances(i, amount, &alike);
    let near = identifiable.map_or(amount, |a| 0.9 * a);
    FaultInsight {
        fault: suspect.fault.clone(),
        detectable,
        identifiable,
        chance_detected,
        chance_identified,
        rival: sets::nearest(scope, seen, i, near).map(|j| scope.suspects[j].fault.clone()),
        reports: 0,
    }
}
