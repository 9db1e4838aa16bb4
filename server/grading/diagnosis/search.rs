//! The search through the sets of up to three faults.
//!
//! A report that fits the plate, and in which neither a near fault nor a spoilt value would make a difference, is clean
//! at once. Otherwise the world without any change of meaning comes first: where one near fault or slip explains the
//! report there, only worlds that alone do about as well are looked at beside it. Else worlds are ranked by a robust loss,
//! sets of near and item faults are ranked in the best worlds by their linear marginal likelihood, and the best sets are
//! weighed exactly; sets of several worlds are looked for where no two faults explain the report, and the best sets are
//! extended by one fault if it still does not fit. What was left out at each step is below what was kept.

use std::collections::BTreeSet;

use super::assess::{Assessed, assess};
use super::evidence::log_sum;
use super::family::{Pick, Weights, completed, excludes, is_orientation, is_run, with_amount};
use super::products;
use super::scene::{Scene, count};
use super::screen::{Ranked, Screened, screen};
use super::world::{BASIS, World, basis, world};
use crate::exercise::model::Axis;
use crate::procedure::fault::{Fault, MOST_FAULTS};

/// Worlds that sets are looked for in, and by how much their robust score may be below the best.
const WORLDS: usize = 6;
const WORLD_GAP: f64 = 45.0;
/// Sets that are weighed exactly, in all and at least of each world.
const EXACT: usize = 24;
const EXACT_OF_WORLD: usize = 6;
/// Most that one value counts when a world is looked at, and what it must gain.
const WORST: f64 = 12.0;
const LEAST_GAIN: f64 = 3.0;
/// Faults of a set that explains a report well enough for no more worlds to be looked for.
const ENOUGH: usize = 2;
/// Logarithms of density by which a world alone may do worse than another single fault.
const RIVAL: f64 = 25.0;
/// Best sets that are refined.
const REFINED: usize = 2;
/// Standard deviations of a shift that is hardly one.
const FAR_SHIFT: f64 = 4.0;
/// Linear scores below the best that are not weighed exactly, but for the best few of each world.
const LINEAR_GAP: f64 = 16.0;
/// Sets that are weighed under all kinds of noise.
const MOST_KINDS: usize = 16;
/// Sets that are weighed for one report at most: whatever is written, the time is bounded.
const MOST_WEIGHED: usize = 600;
/// Logarithms of weight below the best that are not looked at any more.
const GAP: f64 = 16.0;

/// What a search found: hypotheses with their weights, best first; and the clean one.
pub(super) struct Found {
    pub(super) sets: Vec<Assessed>,
    pub(super) clean: Assessed,
    /// Exact weighings that were made.
    pub(super) weighed: usize,
    /// Bound of the probability of what was ranked and not weighed, by the linear ranks.
    pub(super) left_out: f64,
}

struct Search<'s, 'a> {
    scene: &'s Scene<'a>,
    weights: &'s Weights,
    near: &'s [Pick],
    sets: Vec<Assessed>,
    /// What was weighed already, whether or not it could be.
    tried: BTreeSet<[Name; MOST_FAULTS]>,
    weighed: usize,
    /// Logarithms of what was ranked and weighed, and of what was not.
    ranked_weighed: f64,
    ranked_left: f64,
    /// Logarithm of the share of ranked sets that were not weighed.
    left_out: f64,
    /// Sum of squares that one near fault or slip leaves, where one explains the report.
    single: Option<f64>,
    /// Whether worlds are looked at that do not seem to matter.
    thorough: bool,
}

/// Searches. `None` where not even the clean report can be weighed.
pub(super) fn search(scene: &Scene<'_>, weights: &Weights, near: &[Pick]) -> Option<Found> {
    let clean = assess(scene, &[], &scene.priors.noise)?;
    let mut search = Search {
        scene,
        weights,
        near,
        sets: Vec::new(),
        tried: BTreeSet::new(),
        weighed: 1,
        ranked_weighed: f64::NEG_INFINITY,
        ranked_left: f64::NEG_INFINITY,
        left_out: f64::NEG_INFINITY,
        single: None,
        thorough: false,
    };
    let basis = basis(near);
    let none = world(scene, &basis, Vec::new())?;
    let ranked = screen(scene, weights, near, &none, &[0.0; BASIS], false);
    if fits(scene, &clean, &ranked.found) {
        let all = log_sum(ranked.found.iter().map(|r| r.score));
        let rivals = ranked.found.iter().filter(|r| !r.picks.is_empty()).map(|r| r.score);
        search.left_out = log_sum(rivals.chain([ranked.tail])) - all;
    } else {
        search.worlds(&basis, none.clone(), ranked.clone());
        search.refine();
        if !search.sets.iter().any(good) {
            search.thorough = true;
            search.single = None;
            (search.ranked_weighed, search.ranked_left) = (f64::NEG_INFINITY, f64::NEG_INFINITY);
            search.worlds(&basis, none, ranked);
            search.extend();
            search.refine();
        }
    }
    search.sets.push(clean.clone());
    search.finish();
    Some(Found {
        sets: search.sets,
        clean,
        weighed: search.weighed,
        left_out: search.left_out.exp().min(1.0),
    })
}

/// Whether a report is clean beyond doubt: the sum of squares is usual (Wilson and Hilferty's approximation of
/// chi-squared, Proc. Natl. Acad. Sci. 17, 1931, at three standard deviations) and no set of faults comes near.
fn fits(scene: &Scene<'_>, clean: &Assessed, ranked: &[Ranked]) -> bool {
    let (squares, n) = clean.misfit();
    let n = count(n.max(1));
    let spread = 2.0 / (9.0 * n);
    let usual = (squares / n).cbrt() < 1.0 - spread + 3.0 * spread.sqrt();
    let declared = scene.priors.noise.first().is_some_and(|k| *k == clean.noise);
    let own = ranked.iter().find(|r| r.picks.is_empty()).map(|r| r.score);
    let rival = ranked.iter().find(|r| !r.picks.is_empty()).map(|r| r.score);
    let far = own.zip(rival).is_none_or(|(own, rival)| rival < own - 4.0);
    usual && declared && far
}

/// Whether residuals are those of an honest pair.
fn good(set: &Assessed) -> bool {
    let (squares, n) = set.misfit();
    let n = count(n.max(1));
    squares < n + 4.0 * (2.0 * n).sqrt() && set.noise.all < 2.0
}

impl Search<'_, '_> {
    /// Ranks worlds, screens the best and weighs what comes out. Sets of several worlds are looked for only where one
    /// world with what goes beside it does not explain the report with two faults at most.
    fn worlds(&mut self, basis: &[&Pick], none: World, of_none: Screened) {
        let mut worlds = vec![none];
        let mut parents = vec![0];
        let mut opened: BTreeSet<[Name; MOST_FAULTS]> = BTreeSet::new();
        let mut of_none = Some(of_none);
        if !self.thorough {
            self.screen_worlds(&worlds, &mut of_none, &mut opened);
            self.single = self.explained_by(1);
        }
        for depth in 1..=MOST_FAULTS {
            if parents.is_empty() {
                break;
            }
            let mut next = Vec::new();
            for parent in &parents {
                next.extend(self.children(basis, &worlds[*parent]));
            }
            let before = worlds.len();
            let best = worlds.iter().map(|w| w.score).fold(f64::NEG_INFINITY, f64::max);
            next.sort_by(|a: &World, b| b.score.total_cmp(&a.score));
            let mut seen: Vec<[Name; MOST_FAULTS]> = Vec::new();
            for w in next.into_iter().filter(|w| w.score > best - WORLD_GAP) {
                let name = names(&w.picks);
                if worlds.len() < before + WORLDS && !seen.contains(&name) {
                    seen.push(name);
                    worlds.push(w);
                }
            }
            if depth == 1 && !self.thorough {
                self.screen_worlds(&worlds, &mut of_none, &mut opened);
                if self.explained_by(ENOUGH).is_some() {
                    return;
                }
            }
            if depth == MOST_FAULTS {
                break;
            }
            parents = self.parents(&worlds, before);
        }
        self.screen_worlds(&worlds, &mut of_none, &mut opened);
    }

    /// The sum of squares of the best set, if it is of so many faults at most and leaves an honest pair's residuals.
    fn explained_by(&self, faults: usize) -> Option<f64> {
        let best = self.sets.iter().max_by(|a, b| a.log_weight.total_cmp(&b.log_weight));
        let best = best.filter(|b| good(b) && b.picks.len() <= faults)?;
        Some(best.misfit().0)
    }

    /// Whether a world alone does about as well as the one fault that explains the report. Beside that one, sets of two
    /// faults have no weight to speak of.
    fn rivals(&self, parent: &World, pick: &Pick, squares: f64) -> bool {
        let scene = self.scene;
        let Some(with) = scene.predict(std::slice::from_ref(&pick.fault)) else {
            return false;
        };
        let cost = |i: usize| {
            let e = scene.difference(i, scene.y[i], with[i]);
            let shared: f64 = scene.frame[i].iter().map(|l| l * l).sum();
            (0.5 * e * e / (parent.variance[i] + shared)).min(WORST)
        };
        scene.lines().map(cost).sum::<f64>() < 0.5 * squares + RIVAL
    }

    /// Worlds that another one is looked for beside. Where everything fits already, what else there is may have been taken
    /// up by near faults: the best world is opened all the same, unless it is the clean one.
    fn parents(&self, worlds: &[World], before: usize) -> Vec<usize> {
        let found: Vec<usize> = (before..worlds.len()).collect();
        let top = (0..worlds.len()).max_by(|a, b| worlds[*a].score.total_cmp(&worlds[*b].score));
        let Some(best) = top.map(|t| &worlds[t]) else {
            return found;
        };
        // One value that does not fit is the affair of a slip.
        let settled = best.misfits == 0 || best.picks.is_empty() && best.misfits == 1;
        if self.thorough || !settled {
            found
        } else {
            found
                .into_iter()
                .filter(|i| worlds[*i].score > best.score - 12.0)
                .take(2)
                .collect()
        }
    }

    fn children(&self, basis: &[&Pick], parent: &World) -> Vec<World> {
        let amounts = basis.iter().zip(parent.amounts).map(|(p, a)| with_amount(&p.fault, a));
        let beside = [amounts.collect(), vec![Fault::TipIgnoredOnSize {}]];
        let candidates = self.weights.worlds(self.scene, &parent.faults, &beside);
        let mut sets: Vec<Vec<Pick>> = Vec::new();
        let now = self.placed(basis, parent);
        for (i, pick) in candidates.iter().enumerate() {
            if let (Some(squares), true) = (self.single, parent.picks.is_empty()) {
                // A copied run says nothing of its values, which would be cheap for no reason.
                if !matches!(pick.fault, Fault::NominalsCopied { .. }) && !self.rivals(parent, pick, squares) {
                    continue;
                }
            }
            if !self.thorough && !self.helps(parent, &now, pick) {
                continue;
            }
            for more in completed(self.scene, self.weights, &parent.faults, pick) {
                sets.push(parent.picks.iter().cloned().chain(more).collect());
            }
            if parent.picks.is_empty() && is_orientation(&pick.fault) && self.single.is_none() {
                let second = candidates[i + 1..]
                    .iter()
                    .filter(|p| is_orientation(&p.fault) && !excludes(&p.fault, &pick.fault));
                sets.extend(second.map(|p| vec![pick.clone(), p.clone()]));
            }
            if parent.picks.iter().any(|p| is_run(&p.fault)) && !is_run(&pick.fault) {
                sets.extend(self.anew(parent, pick));
            }
        }
        let fits = |set: &Vec<Pick>| set.len() <= MOST_FAULTS;
        sets.into_iter()
            .filter(fits)
            .filter_map(|set| world(self.scene, basis, set))
            .collect()
    }

    /// What a parent predicts at its near amounts.
    fn placed(&self, basis: &[&Pick], parent: &World) -> Option<Vec<f64>> {
        let near = basis.iter().zip(parent.amounts).map(|(p, a)| with_amount(&p.fault, a));
        let faults: Vec<Fault> = parent.faults.iter().cloned().chain(near).collect();
        self.scene.predict(&faults)
    }

    /// Whether a world that changes some values only makes enough of them better. Worlds that change the frame as a whole
    /// are always looked at.
    fn helps(&self, parent: &World, now: &Option<Vec<f64>>, pick: &Pick) -> bool {
        let whole = is_orientation(&pick.fault)
            || matches!(
                pick.fault,
                Fault::WrongUnit { .. }
                    | Fault::WrongPlate { .. }
                    | Fault::NominalsCopied { .. }
                    | Fault::TipIgnoredOnSize {}
            );
        let (Some(now), false) = (now, whole) else { return true };
        let faults: Vec<Fault> = parent.faults.iter().chain([&pick.fault]).cloned().collect();
        let Some(with) = self.scene.predict(&faults) else {
            return false;
        };
        let scene = self.scene;
        let gain = |from: &[f64]| {
            let of = |i: usize| {
                let change = with[i] - parent.predicted[i];
                let off = scene.difference(i, scene.y[i], from[i]);
                let rest = scene.difference(i, off, change);
                let cost = |e: f64| (0.5 * e * e / parent.variance[i]).min(WORST);
                cost(off) - cost(rest)
            };
            scene.lines().filter(|i| parent.active[*i]).map(of).sum::<f64>()
        };
        // With the parent's near amounts, and without them: they may have taken up what the world explains.
        gain(now) > LEAST_GAIN || gain(&parent.predicted) > LEAST_GAIN
    }

    /// A parent's run of values looked for again beside another fault.
    fn anew(&self, parent: &World, pick: &Pick) -> Vec<Vec<Pick>> {
        let rest: Vec<Pick> = parent
            .picks
            .iter()
            .filter(|p| !is_run(&p.fault))
            .cloned()
            .chain([pick.clone()])
            .collect();
        let faults: Vec<Fault> = rest
            .iter()
            .filter(|p| p.is_predicted())
            .map(|p| p.fault.clone())
            .collect();
        let of_parent = |p: &Pick| parent.picks.iter().any(|q| q.fault.family() == p.fault.family());
        let found = self.weights.worlds(self.scene, &faults, &[]);
        let mut runs: Vec<Pick> = found.into_iter().filter(|p| is_run(&p.fault) && of_parent(p)).collect();
        runs.sort_by(|a, b| b.log_weight.total_cmp(&a.log_weight));
        runs.truncate(3);
        runs.into_iter()
            .map(|run| rest.iter().cloned().chain([run]).collect())
            .collect()
    }

    /// Screens the best worlds that were not `opened` yet, the clean one first.
    fn screen_worlds(
        &mut self,
        worlds: &[World],
        of_none: &mut Option<Screened>,
        opened: &mut BTreeSet<[Name; MOST_FAULTS]>,
    ) {
        let mut order: Vec<usize> = (1..worlds.len()).collect();
        order.sort_by(|a, b| worlds[*b].score.total_cmp(&worlds[*a].score));
        order.truncate(WORLDS);
        order.insert(0, 0);
        let mut all: Vec<Ranked> = Vec::new();
        let mut first: Vec<Ranked> = Vec::new();
        let mut tails: Vec<f64> = Vec::new();
        let top = worlds.iter().map(|w| w.score).fold(f64::NEG_INFINITY, f64::max);
        for w in order {
            let world = &worlds[w];
            // What is far below the best world is not opened, the clean one apart.
            if w > 0 && !self.thorough && world.score < top - 30.0 || !opened.insert(names(&world.picks)) {
                continue;
            }
            let mut screened = vec![match of_none.take() {
                Some(of_none) if w == 0 => of_none,
                _ => screen(self.scene, self.weights, self.near, world, &[0.0; BASIS], false),
            }];
            if (w == 0 || world.score > top - 10.0) && self.turns_far(world) {
                screened.push(screen(self.scene, self.weights, self.near, world, &[0.0; BASIS], true));
            }
            let moved = world.amounts.iter().any(|a| a.abs() > 0.0);
            if moved && (w == 0 || world.score > top - 20.0) {
                screened.push(screen(
                    self.scene,
                    self.weights,
                    self.near,
                    world,
                    &world.amounts,
                    false,
                ));
            }
            // The same sets are ranked again where the slopes are others: the least of the tails counts.
            tails.push(screened.iter().map(|s| s.tail).fold(f64::INFINITY, f64::min));
            let mut ranked: Vec<Ranked> = screened.into_iter().flat_map(|s| s.found).collect();
            ranked.extend(self.beside_steps(&ranked, world));
            ranked.sort_by(|a, b| b.score.total_cmp(&a.score));
            let rest = ranked.split_off(ranked.len().min(EXACT_OF_WORLD));
            first.extend(ranked);
            all.extend(rest);
        }
        all.sort_by(|a, b| b.score.total_cmp(&a.score));
        let best = first.iter().map(|r| r.score).fold(f64::NEG_INFINITY, f64::max);
        let kept = all.iter().take(EXACT).filter(|r| r.score > best - LINEAR_GAP).count();
        let left = all.split_off(kept);
        first.extend(all);
        let before = std::mem::replace(&mut self.ranked_weighed, f64::NEG_INFINITY);
        self.ranked_weighed = log_sum(first.iter().map(|r| r.score).chain([before]));
        let left = left.iter().map(|r| r.score).chain(tails);
        self.ranked_left = log_sum(left.chain([self.ranked_left]));
        self.left_out = self.ranked_left - self.ranked_weighed;
        first.sort_by(|a, b| b.score.total_cmp(&a.score));
        for ranked in first {
            self.weigh(&ranked.picks);
        }
    }

    /// Sets beside known steps that do not add up with other tip faults: the tip ignored on sizes, where it is in one of
    /// the best sets, and a far corner, where a shift is too large for anything else.
    fn beside_steps(&self, ranked: &[Ranked], of: &World) -> Vec<Ranked> {
        if of.picks.len() + 2 > MOST_FAULTS {
            return Vec::new();
        }
        let best = ranked.iter().map(|r| r.score).fold(f64::NEG_INFINITY, f64::max);
        let close: Vec<&Pick> = ranked
            .iter()
            .filter(|r| r.score > best - LINEAR_GAP)
            .flat_map(|r| &r.picks)
            .collect();
        let basis = basis(self.near);
        let shifted = |axis: Axis| {
            let of_axis = |p: &&Pick| matches!(p.fault, Fault::OriginShift { axis: a, .. } if a == axis);
            let place = basis.iter().position(of_axis);
            place.is_some_and(|k| of.amounts[k].abs() > FAR_SHIFT * basis[k].sd.unwrap_or(1.0))
        };
        let matters = |p: &&Pick| match &p.fault {
            Fault::TipIgnoredOnSize {} => close.iter().any(|q| q.fault == p.fault),
            Fault::OppositeCorner { axis } => shifted(axis.axis()),
            _ => false,
        };
        let mut found = Vec::new();
        for step in self.near.iter().filter(matters) {
            if of.picks.iter().any(|p| p.fault == step.fault) {
                continue;
            }
            let picks = of.picks.iter().chain([step]).cloned().collect();
            if let Some(w) = world(self.scene, &basis, picks) {
                found.extend(screen(self.scene, self.weights, self.near, &w, &[0.0; BASIS], false).found);
                found.extend(screen(self.scene, self.weights, self.near, &w, &w.amounts, false).found);
            }
        }
        found
    }

    /// Whether an orientation or a position is far off, whose slope at 0 may point the wrong way.
    fn turns_far(&self, world: &World) -> bool {
        self.scene.lines().any(|i| products::far(self.scene, world, i))
    }

    /// Weighs a set under the declared noise, unless it was weighed before.
    fn weigh(&mut self, picks: &[Pick]) {
        if picks.is_empty() || self.weighed >= MOST_WEIGHED || !self.tried.insert(names(picks)) {
            return;
        }
        self.weighed += 1;
        let set = assess(self.scene, picks, &self.scene.priors.noise[..1]);
        if let Some(set) = set {
            self.sets.push(set);
        }
    }

    /// Tries the best sets without each of their faults, and with a world in place of what spoilt a single value.
    fn refine(&mut self) {
        self.sets.sort_by(|a, b| b.log_weight.total_cmp(&a.log_weight));
        let best: Vec<Assessed> = self.sets.iter().take(REFINED).cloned().collect();
        for set in best {
            for left_out in 0..set.picks.len() {
                let settled = |p: (usize, &Pick)| Pick {
                    fault: set.faults[p.0].clone(),
                    ..p.1.clone()
                };
                let kept = set.picks.iter().enumerate().filter(|(p, _)| *p != left_out);
                let rest: Vec<Pick> = kept.map(settled).collect();
                self.weigh(&rest);
                let out = &set.picks[left_out];
                for run in self.weights.shorter(self.scene, &out.fault) {
                    let picks: Vec<Pick> = rest.iter().chain([&run]).cloned().collect();
                    self.weigh(&picks);
                }
                if matches!(out.fault, Fault::OriginShift { .. }) {
                    self.step_for_shift(&rest, left_out);
                }
                if let (false, Some(line)) = (
                    out.is_predicted(),
                    out.undone.map(|u| u.0).or(out.dropped.first().copied()),
                ) {
                    self.replace(&rest, line);
                    self.other_slips(&rest, (line, set.predicted[line]));
                }
            }
        }
    }

    /// Weighs whatever else may have happened to a line, where it leads to about what the rest predicts.
    fn other_slips(&mut self, rest: &[Pick], (line, predicted): (usize, f64)) {
        let (scene, weights) = (self.scene, self.weights);
        let room = (6.0 * scene.u[line]).max(0.02 * (scene.y[line] - predicted).abs());
        for pick in weights.item(scene, line) {
            let fits = |value| scene.difference(line, value, predicted).abs() < room;
            if pick.undone.is_none_or(|u| fits(u.1)) {
                let picks: Vec<Pick> = rest.iter().chain([pick]).cloned().collect();
                self.weigh(&picks);
            }
        }
    }

    /// Weighs every known step in the place of a shift: beside other faults a step is another one than alone.
    fn step_for_shift(&mut self, rest: &[Pick], place: usize) {
        let near = self.near;
        for step in near
            .iter()
            .filter(|p| p.sd.is_none() && !rest.iter().any(|r| r.fault == p.fault))
        {
            let mut picks = rest.to_vec();
            picks.insert(place.min(picks.len()), step.clone());
            self.weigh(&picks);
        }
    }

    /// Weighs worlds beside `rest` that bring a line nearer to what is written; with and without those of the rest whose
    /// lines they bring nearer too.
    fn replace(&mut self, rest: &[Pick], line: usize) {
        let scene = self.scene;
        let asked = rest.iter().filter(|p| p.is_predicted());
        let faults: Vec<Fault> = asked.map(|p| p.fault.clone()).collect();
        let Some(now) = scene.predict(&faults) else { return };
        let off = |predicted: &[f64], line: usize| scene.difference(line, scene.y[line], predicted[line]).abs();
        for world in self.weights.worlds(scene, &faults, &[]) {
            let with: Vec<Fault> = faults.iter().chain([&world.fault]).cloned().collect();
            let Some(with) = scene.predict(&with) else { continue };
            let nearer = |line: usize| off(&with, line) + scene.u[line] < off(&now, line);
            if !nearer(line) {
                continue;
            }
            let covered = |p: &Pick| {
                let struck = p.undone.map(|u| u.0).or(p.dropped.first().copied());
                !p.is_predicted() && struck.is_some_and(nearer)
            };
            let left: Vec<Pick> = rest.iter().filter(|p| !covered(p)).cloned().collect();
            for beside in [rest, left.as_slice()] {
                let picks: Vec<Pick> = beside.iter().chain([&world]).cloned().collect();
                self.weigh(&picks);
            }
        }
    }

    /// Adds one fault to the best sets while they do not fit: what is not linear enough is found this way.
    fn extend(&mut self) {
        for _ in 0..2 {
            self.sets.sort_by(|a, b| b.log_weight.total_cmp(&a.log_weight));
            let best: Vec<Assessed> = self
                .sets
                .iter()
                .filter(|s| s.picks.len() < MOST_FAULTS)
                .take(3)
                .cloned()
                .collect();
            if self.sets.first().is_some_and(good) || best.is_empty() {
                return;
            }
            for parent in best {
                for picks in self.extensions(&parent) {
                    self.weigh(&picks);
                }
            }
        }
    }

    fn extensions(&self, parent: &Assessed) -> Vec<Vec<Pick>> {
        let settled = |p: (usize, &Pick)| Pick {
            fault: parent.faults[p.0].clone(),
            ..p.1.clone()
        };
        let base: Vec<Pick> = parent.picks.iter().enumerate().map(settled).collect();
        let mut more: Vec<Pick> = self
            .near
            .iter()
            .filter(|p| !base.iter().any(|b| b.key == p.key))
            .cloned()
            .collect();
        more.extend(self.weights.worlds(self.scene, &parent.faults, &[]));
        let mut lines: Vec<usize> = self.scene.lines().collect();
        lines.sort_by(|a, b| parent.standardised[*b].abs().total_cmp(&parent.standardised[*a].abs()));
        for line in lines.into_iter().take(3) {
            let close = |p: &Pick| {
                p.undone.is_none_or(|(_, value)| {
                    let left = self.scene.difference(line, value, parent.predicted[line]).abs();
                    left < (5.0 * self.scene.u[line]).max(0.1 * (self.scene.y[line] - parent.predicted[line]).abs())
                })
            };
            more.extend(self.weights.item(self.scene, line).iter().filter(|p| close(p)).cloned());
        }
        more.into_iter()
            .map(|p| base.iter().cloned().chain([p]).collect())
            .collect()
    }

    /// Weighs the best under all kinds of noise and sorts.
    fn finish(&mut self) {
        let sets = std::mem::take(&mut self.sets);
        // The clean report has been weighed under all kinds already and says nothing of what is near here.
        let faulty = sets.iter().filter(|s| !s.picks.is_empty());
        let best = faulty.map(|s| s.log_weight).fold(f64::NEG_INFINITY, f64::max);
        let (mut near, _): (Vec<Assessed>, Vec<Assessed>) = sets
            .into_iter()
            .partition(|s| s.picks.is_empty() || s.log_weight > best - GAP);
        near.sort_by(|a, b| b.log_weight.total_cmp(&a.log_weight));
        near.truncate(MOST_KINDS);
        for set in near {
            if set.picks.is_empty() {
                self.sets.push(set);
                continue;
            }
            let settled = |p: (usize, &Pick)| Pick {
                fault: set.faults[p.0].clone(),
                ..p.1.clone()
            };
            let picks: Vec<Pick> = set.picks.iter().enumerate().map(settled).collect();
            self.sets.extend(assess(self.scene, &picks, &self.scene.priors.noise));
        }
        self.sets.sort_by(|a, b| b.log_weight.total_cmp(&a.log_weight));
        let best = self.sets.first().map_or(0.0, |s| s.log_weight);
        self.sets.retain(|s| s.log_weight > best - GAP);
    }
}

/// The kind of a pick, and what it says that stood there before.
type Name = (u64, u64);

fn names(picks: &[Pick]) -> [Name; MOST_FAULTS] {
    let mut names = [(0, 0); MOST_FAULTS];
    for (name, p) in names.iter_mut().zip(picks) {
        *name = (p.key, p.undone.map_or(0, |u| u.1.to_bits()));
    }
    names.sort_unstable();
    names
}
