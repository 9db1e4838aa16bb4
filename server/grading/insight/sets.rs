//! Mistakes that cannot be told apart, and the one reading that would tell them.

use std::collections::BTreeSet;

use super::evidence::{Kind, Seen, lead};
use super::suspects::with_amount;
use super::{BLIND, CHANCE, Confusable, Proposal, Scope, Unseen, chance, is_listed};
use crate::exercise::model::Quantity;
use crate::procedure::fault::Fault;

/// Mistakes that a sheet leaves open, by place among the suspects. One alone is not seen.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Problem {
    members: Vec<usize>,
    alike: bool,
}

impl Problem {
    pub(super) fn unseen(i: usize) -> Self {
        Self {
            members: vec![i],
            alike: false,
        }
    }
}

/// Problems with what would mend them.
pub(super) struct Answered {
    pub(super) confusable: Vec<Confusable>,
    pub(super) unseen: Vec<Unseen>,
    pub(super) first: Option<Proposal>,
}

/// The amount at which a mistake is held against others: one standard deviation of its prior, or what is detected where
/// that is more; none where it is hardly ever detected.
fn usual(scope: &Scope<'_>, seen: &Seen) -> Option<f64> {
    let detected = scope.detectable(seen)?;
    match seen.kind {
        Kind::Free(sd) => Some(detected.max(sd)).filter(|a| *a <= 3.0 * sd),
        _ => Some(1.0),
    }
}

/// Chance that `i` of about this amount is told from `j` alone. An amount that happens to be a known step of `j` says
/// nothing of the print: three amounts are tried, and the best counts.
fn told_apart(scope: &Scope<'_>, seen: &[Seen], (i, amount): (usize, f64), j: usize) -> (f64, bool) {
    let amounts: &[f64] = match seen[i].kind {
        Kind::Free(_) => &[1.0, 1.3, -1.0],
        _ => &[1.0],
    };
    let mut chance = 0.0_f64;
    let mut alike = true;
    for factor in amounts {
        chance = chance.max(told(scope, seen, (i, factor * amount), j));
        alike &= scope.alike(seen, i, factor * amount, j);
    }
    (chance, alike)
}

/// Chance that `i` of this amount is told from `j` alone.
fn told(scope: &Scope<'_>, seen: &[Seen], (i, amount): (usize, f64), j: usize) -> f64 {
    let report: Vec<f64> = seen[i].white.iter().map(|w| amount * w).collect();
    let (by, sd) = lead(&seen[i], &seen[j], &report);
    let needed = (scope.stated / (1.0 - scope.stated)).ln();
    if sd <= 1e-9 {
        return if by >= needed { 1.0 } else { 0.0 };
    }
    chance::phi((by - needed) / sd)
}

/// The mistake that one of this amount is most easily taken for.
pub(super) fn nearest(scope: &Scope<'_>, seen: &[Seen], i: usize, amount: f64) -> Option<usize> {
    let mut worst: Option<(usize, f64)> = None;
    for j in (0..seen.len()).filter(|j| *j != i && !scope.alike(seen, i, amount, *j)) {
        let chance = told(scope, seen, (i, amount), j);
        if chance < 0.999 && worst.is_none_or(|(_, c)| chance < c) {
            worst = Some((j, chance));
        }
    }
    worst.map(|w| w.0)
}

/// All sets of mistakes that the sheet cannot tell apart.
pub(super) fn find(scope: &Scope<'_>, seen: &[Seen], shown: &[usize]) -> Vec<Problem> {
    let mut open: Vec<Problem> = Vec::new();
    for i in shown {
        let Some(amount) = usual(scope, &seen[*i]) else {
            continue;
        };
        for j in (0..seen.len()).filter(|j| j != i && seen[*j].information >= BLIND) {
            let (chance, alike) = told_apart(scope, seen, (*i, amount), j);
            if chance < CHANCE {
                join(&mut open, *i, j, alike);
            }
        }
    }
    open
}

/// Proposals that are kept beside the best.
const NEXT: usize = 2;

/// Adds a pair: sets that share a mistake and are alike, or not, in the same way become one.
fn join(open: &mut Vec<Problem>, i: usize, j: usize, alike: bool) {
    let mut members: BTreeSet<usize> = [i, j].into();
    open.retain(|p| {
        let shares = p.alike == alike && p.members.iter().any(|m| members.contains(m));
        if shares {
            members.extend(&p.members);
        }
        !shares
    });
    open.push(Problem {
        members: members.into_iter().collect(),
        alike,
    });
}

/// How well a sheet deals with a problem: the least chance with which a member is told from another, or seen at all.
fn mended(scope: &Scope<'_>, seen: &[Seen], problem: &Problem) -> f64 {
    if let [one] = problem.members.as_slice() {
        return scope.chance_detected(&seen[*one]);
    }
    let mut least = 1.0_f64;
    for i in problem.members.iter().filter(|i| is_listed(&scope.suspects[**i].fault)) {
        let amount = usual(scope, &seen[*i]).unwrap_or_else(|| scope.suspects[*i].sd.unwrap_or(1.0));
        for j in problem.members.iter().filter(|j| *j != i) {
            least = least.min(told_apart(scope, seen, (*i, amount), *j).0);
        }
    }
    least
}

/// For each problem the added characteristic that mends it best, and the one that mends the most.
pub(super) fn propose(scope: &Scope<'_>, problems: &[Problem]) -> Answered {
    let sheet = scope.sheet();
    let mut by_extra: Vec<(Proposal, Vec<f64>)> = Vec::new();
    if !problems.is_empty() {
        for (place, extra) in scope.extended.extras.iter().enumerate() {
            let mut lines = sheet.clone();
            lines.push(scope.extended.sheet + place);
            let (Some(seen), Some(proposal)) = (scope.through(&lines), Proposal::of(extra)) else {
                continue;
            };
            let chances = problems.iter().map(|p| mended(scope, &seen, p)).collect();
            by_extra.push((proposal, chances));
        }
    }
    let mends = |chance: f64| chance >= CHANCE;
    // Of those that mend a problem, first those that mend the most others as well.
    let worth = |chances: &[f64]| chances.iter().filter(|c| mends(**c)).count();
    let best = |problem: usize| {
        let mut enough: Vec<&(Proposal, Vec<f64>)> = by_extra.iter().filter(|(_, c)| mends(c[problem])).collect();
        enough.sort_by(|a, b| {
            worth(&b.1)
                .cmp(&worth(&a.1))
                .then(is_place(a.0.of).cmp(&is_place(b.0.of)))
                .then(a.0.cmp(&b.0))
        });
        let mut ranked = enough.into_iter().map(|(p, _)| p.clone());
        let add = ranked.next();
        (add, ranked.take(NEXT).collect::<Vec<Proposal>>())
    };
    let first = by_extra
        .iter()
        .filter(|(_, c)| worth(c) > 0)
        .max_by(|a, b| worth(&a.1).cmp(&worth(&b.1)).then(b.0.cmp(&a.0)))
        .map(|(p, _)| p.clone());
    let fault = |i: &usize| {
        let s = &scope.suspects[*i];
        s.sd.map_or_else(|| s.fault.clone(), |sd| with_amount(&s.fault, sd))
    };
    let mut answered = Answered {
        confusable: Vec::new(),
        unseen: Vec::new(),
        first,
    };
    for (at, problem) in problems.iter().enumerate() {
        let faults: Vec<Fault> = problem.members.iter().map(fault).collect();
        let (add, next) = best(at);
        match faults.as_slice() {
            [one] => answered.unseen.push(Unseen {
                fault: one.clone(),
                add,
                next,
            }),
            _ => answered.confusable.push(Confusable {
                alike: problem.alike,
                add,
                next,
                faults,
            }),
        }
    }
    answered
}

const fn is_place(of: Quantity) -> bool {
    of.axis().is_some()
}
