//! From weights to an answer: probabilities, sets of equal effect, the state.

use super::assess::Assessed;
use super::correct::corrected;
use super::evidence::log_sum;
use super::family::Pick;
use super::scene::Scene;
use super::search::Found;
use crate::grading::grade::DiagnosisState;
use crate::procedure::fault::Fault;

/// What the search comes to.
pub(super) struct Answer {
    pub(super) state: DiagnosisState,
    /// Joint probability of the set and those of equal effect.
    pub(super) probability: f64,
    /// The stated or suspected set, if there is one.
    pub(super) set: Option<Assessed>,
    /// Probability of each fault of the set.
    pub(super) each: Vec<f64>,
    /// Other sets with their probabilities, most probable first.
    pub(super) others: Vec<(Vec<Fault>, f64)>,
}

/// Alternatives below this are not listed.
const WORTH_LISTING: f64 = 0.002;
const MOST_LISTED: usize = 8;

struct Weighed<'f> {
    set: &'f Assessed,
    probability: f64,
    corrected: Vec<Option<f64>>,
    /// Names of all faults, and of those large enough to be told by name.
    names: Vec<u64>,
    named: Vec<u64>,
}

pub(super) fn answer(scene: &Scene<'_>, found: &Found) -> Answer {
    let unexplained = log_unexplained(scene, &found.clean);
    let weights: Vec<f64> = found.sets.iter().map(|s| s.log_weight).collect();
    let total = log_sum(weights.iter().copied().chain([unexplained]));
    let weighed: Vec<Weighed<'_>> = found
        .sets
        .iter()
        .map(|set| Weighed {
            probability: (set.log_weight - total).exp(),
            corrected: corrected(scene, set),
            names: names(set, |_| true),
            named: names(set, |p| !is_small(scene, set, p)),
            set,
        })
        .collect();
    let fits = found.clean.log_weight > unexplained && fits(&found.clean);
    let leader = lead(scene, &weighed);
    let stated = scene.priors.stated;
    match leader {
        Some((i, mass)) if !weighed[i].set.picks.is_empty() && mass >= scene.priors.suspected => {
            if mass >= stated && explains_all(scene, weighed[i].set) {
                with_set(&weighed, i, mass, DiagnosisState::FaultStated)
            } else {
                let named = together(scene, &weighed, weighed[i].set).max(mass);
                with_set(&weighed, i, named, DiagnosisState::FaultSuspected)
            }
        }
        Some((i, mass)) if weighed[i].set.picks.is_empty() && mass >= scene.priors.suspected && fits => {
            none(&weighed, mass, DiagnosisState::Clean)
        }
        _ => ambiguous(scene, &weighed).unwrap_or_else(|| {
            let clean = clean_mass(&weighed);
            if fits && clean > (unexplained - total).exp() {
                none(&weighed, clean, DiagnosisState::Clean)
            } else {
                none(&weighed, (unexplained - total).exp(), DiagnosisState::Unexplained)
            }
        }),
    }
}

/// Whether no value is left far from what the set predicts, as declared noise goes. A set beside which something else is
/// wrong is not stated.
fn explains_all(scene: &Scene<'_>, set: &Assessed) -> bool {
    scene
        .lines()
        .all(|i| (set.standardised[i] * set.noise.all).abs() < FAR_OFF)
}

/// Standard deviations.
const FAR_OFF: f64 = 6.0;

/// Whether a report is near enough to the plate to be called clean: as from a pair with about twice the declared noise,
/// and without a value that is far off.
fn fits(clean: &Assessed) -> bool {
    let scale = clean.noise.all;
    let (squares, n) = clean.misfit();
    let far = clean.standardised.iter().any(|s| (s * scale).abs() > FARTHEST_OF_CLEAN);
    !far && squares * scale * scale < MOST_SQUARES * super::scene::count(n.max(1))
}

/// Declared standard deviations, and mean of squares in them.
const FARTHEST_OF_CLEAN: f64 = 9.0;
const MOST_SQUARES: f64 = 7.0;

fn clean_mass(weighed: &[Weighed<'_>]) -> f64 {
    weighed
        .iter()
        .filter(|w| w.named.is_empty())
        .map(|w| w.probability)
        .sum()
}

/// The set whose corrections have the largest joint probability. Sets without small faults go first: what a small fault
/// adds to them counts for them.
fn lead(scene: &Scene<'_>, weighed: &[Weighed<'_>]) -> Option<(usize, f64)> {
    let mut best: Option<(usize, f64)> = None;
    for (i, w) in weighed.iter().enumerate().take(25) {
        let group: Vec<usize> = members(scene, weighed, i).collect();
        // Faults that undo each other leave a clean report, and are not said of it.
        if !w.names.is_empty() && group.iter().any(|m| weighed[*m].names.is_empty()) {
            continue;
        }
        let exact: f64 = group.iter().map(|m| weighed[*m].probability).sum();
        let mass = if exact >= scene.priors.stated {
            exact
        } else if w.names.is_empty() {
            // What is too small to be named makes no report clean.
            exact
        } else if w.names.len() == w.named.len() {
            extended(weighed, &group)
        } else {
            exact.min(scene.priors.stated - 0.001)
        };
        // The most probable set in itself whose group is large enough; else the largest group.
        if mass >= scene.priors.stated {
            return Some((i, mass));
        }
        if best.is_none_or(|(_, b)| mass > b + 1e-6) {
            best = Some((i, mass));
        }
    }
    best
}

/// Sets of the same effect as set `i`: their corrections are the same, or they say the same of every value and none of
/// them puts a value aside. (Of a turned part and of exchanged and reversed columns only the residual noise is corrected
/// on different lines.)
fn members<'w>(scene: &'w Scene<'_>, weighed: &'w [Weighed<'_>], i: usize) -> impl Iterator<Item = usize> + 'w {
    let alike = move |j: &usize| {
        let (a, b) = (&weighed[i], &weighed[*j]);
        i == *j || equal_corrections(scene, a, b) || same_effect(scene, a.set, b.set)
    };
    (0..weighed.len()).filter(alike)
}

/// With those that only add faults too small to be named.
fn extended(weighed: &[Weighed<'_>], group: &[usize]) -> f64 {
    let counts = |j: usize| {
        group.contains(&j)
            || group
                .iter()
                .any(|m| weighed[*m].named == weighed[j].named && weighed[*m].named.len() == weighed[*m].names.len())
    };
    (0..weighed.len())
        .filter(|j| counts(*j))
        .map(|j| weighed[j].probability)
        .sum()
}

fn equal_corrections(scene: &Scene<'_>, a: &Weighed<'_>, b: &Weighed<'_>) -> bool {
    let copied = |w: &Weighed<'_>| {
        let mut picks = w.set.picks.iter();
        picks.any(|p| matches!(p.fault, Fault::NominalsCopied { .. }))
    };
    // Where both sets copy, a copied value stays as it is written: so it may have been measured as well.
    let both_copy = copied(a) && copied(b);
    let kept = |w: &Weighed<'_>, i: usize| {
        let struck = |p: &Pick| p.dropped.contains(&i) || p.undone.is_some_and(|u| u.0 == i);
        both_copy && scene.seen[i] && !w.set.picks.iter().any(struck)
    };
    let value = |w: &Weighed<'_>, i: usize| w.corrected[i].or_else(|| kept(w, i).then(|| scene.y[i]));
    (0..scene.len()).all(|i| match (value(a, i), value(b, i)) {
        (Some(a), Some(b)) => scene.difference(i, a, b).abs() <= scene.u[i] / 4.0,
        (None, None) => true,
        _ => false,
    })
}

/// Whether two sets without a gross error say the same of every value, and the same of every slip.
fn same_effect(scene: &Scene<'_>, a: &Assessed, b: &Assessed) -> bool {
    !a.picks.is_empty()
        && !b.picks.is_empty()
        && a.dropped == b.dropped
        && a.picks.iter().chain(&b.picks).all(|p| p.dropped.is_empty())
        && scene.lines().all(|i| {
            let same_reading = (a.values[i] - b.values[i]).abs() <= scene.step / 2.0;
            same_reading && scene.difference(i, a.predicted[i], b.predicted[i]).abs() <= scene.u[i] / 4.0
        })
}

fn names(set: &Assessed, which: impl Fn(usize) -> bool) -> Vec<u64> {
    let chosen = (0..set.picks.len()).filter(|p| which(*p));
    let mut names: Vec<u64> = chosen.map(|p| set.picks[p].key).collect();
    names.sort();
    names
}

/// Whether a free amount, or what another fault changes, is below what this print can tell by name.
fn is_small(scene: &Scene<'_>, set: &Assessed, place: usize) -> bool {
    let limit = scene.priors.identifiable;
    if let Some(amount) = super::family::amount(&set.faults[place]) {
        return amount.abs() < limit * set.sd[place];
    }
    let pick = &set.picks[place];
    let sd = |line: usize| (scene.own[line] + scene.reference[line] + scene.rounding()).sqrt();
    if let Some((line, value)) = pick.undone {
        return (value - scene.y[line]).abs() < limit * sd(line);
    }
    // A copied nominal is told by its digits, not by how far off it is.
    if !pick.dropped.is_empty() || matches!(pick.fault, Fault::NominalsCopied { .. }) {
        return false;
    }
    let others = |p: &usize| *p != place && set.picks[*p].is_predicted();
    let rest: Vec<Fault> = (0..set.picks.len())
        .filter(others)
        .map(|p| set.faults[p].clone())
        .collect();
    let changed = |without: Vec<f64>| {
        let of = |i: usize| scene.difference(i, set.predicted[i], without[i]) / sd(i);
        scene.lines().map(|i| of(i) * of(i)).sum::<f64>().sqrt()
    };
    scene.predict(&rest).map_or(0.0, changed) < limit
}

fn with_set(weighed: &[Weighed<'_>], i: usize, mass: f64, state: DiagnosisState) -> Answer {
    let chosen = &weighed[i];
    let each = chosen
        .set
        .picks
        .iter()
        .map(|p| {
            let mine = p.key;
            let with = weighed.iter().filter(|w| w.names.contains(&mine));
            with.map(|w| w.probability).sum::<f64>().max(mass.min(1.0)).min(1.0)
        })
        .collect();
    Answer {
        state,
        probability: mass.min(1.0),
        set: Some(chosen.set.clone()),
        each,
        others: others(weighed, Some(i)),
    }
}

fn none(weighed: &[Weighed<'_>], probability: f64, state: DiagnosisState) -> Answer {
    Answer {
        state,
        probability: probability.clamp(0.0, 1.0),
        set: None,
        each: Vec::new(),
        others: others(weighed, None),
    }
}

fn others(weighed: &[Weighed<'_>], chosen: Option<usize>) -> Vec<(Vec<Fault>, f64)> {
    let listed = weighed.iter().enumerate().filter(|(i, w)| {
        let named = w.names.len() == w.named.len() && !w.names.is_empty();
        Some(*i) != chosen && named && w.probability >= WORTH_LISTING
    });
    listed
        .map(|(_, w)| (w.set.faults.clone(), w.probability))
        .take(MOST_LISTED)
        .collect()
}

/// Sets that predict the same values although they would be corrected differently: together they are suspected.
fn ambiguous(scene: &Scene<'_>, weighed: &[Weighed<'_>]) -> Option<Answer> {
    for (i, w) in weighed.iter().enumerate().filter(|(_, w)| !w.named.is_empty()).take(5) {
        let mass = together(scene, weighed, w.set);
        if mass >= scene.priors.suspected {
            return Some(with_set(weighed, i, mass, DiagnosisState::FaultSuspected));
        }
    }
    None
}

/// Joint probability of all sets that predict the same values as `set`.
fn together(scene: &Scene<'_>, weighed: &[Weighed<'_>], set: &Assessed) -> f64 {
    let alike = |o: &&Weighed<'_>| !o.set.picks.is_empty() && same_prediction(scene, set, o.set);
    weighed.iter().filter(alike).map(|o| o.probability).sum()
}

fn same_prediction(scene: &Scene<'_>, a: &Assessed, b: &Assessed) -> bool {
    scene.lines().all(|i| {
        let open = a.dropped[i] || b.dropped[i];
        let (pa, pb) = (a.predicted[i] - a.values[i], b.predicted[i] - b.values[i]);
        open || scene.difference(i, pa, pb).abs() <= scene.u[i] / 2.0
    })
}

/// A report that follows no hypothesis: each value is either an honest one with wide tails or anything at all, the share
/// of the latter being unknown.
fn log_unexplained(scene: &Scene<'_>, clean: &Assessed) -> f64 {
    const SHARES: [f64; 4] = [0.04, 0.15, 0.4, 0.8];
    let of_share = |share: f64| {
        let line = |i: usize| {
            let variance = 2.0 * (scene.own[i] + scene.frame[i].iter().map(|l| l * l).sum::<f64>())
                + scene.reference[i]
                + scene.rounding();
            let e = scene.difference(i, scene.y[i], clean.predicted[i]);
            let honest = 0.375 * (1.0 + e * e / (2.0 * variance)).powf(-2.5) / (variance / 2.0).sqrt();
            let wide = 10.0 * scene.u[i].max(scene.step);
            let anything = 1.0 / (std::f64::consts::PI * wide * (1.0 + (e / wide) * (e / wide)));
            ((1.0 - share) * honest + share * anything).ln()
        };
        scene.lines().map(line).sum::<f64>()
    };
    let even = 1.0 / super::scene::count(SHARES.len());
    scene.priors.unexplained.ln() + even.ln() + log_sum(SHARES.map(of_share).into_iter())
}
