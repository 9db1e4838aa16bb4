//! Finds the contact set of a zone of two parameters: cells of the parameter plane, split where a better zone could
//! still be, each with the points that can touch a limit of the zone anywhere in it. Few are left before long; then all
//! contact sets among them are tried. Bounds hold over whole cells, so what is thrown away holds nothing better.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// A rectangle of the parameter plane.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cell {
    pub(super) at: [f64; 2],
    pub(super) half: [f64; 2],
}

impl Cell {
    /// Half the diagonal.
    pub(super) fn reach(&self) -> f64 {
        self.half[0].hypot(self.half[1])
    }

    fn holds(&self, at: [f64; 2]) -> bool {
        (0..2).all(|axis| (at[axis] - self.at[axis]).abs() <= self.half[axis] * (1.0 + 1e-9) + 1e-15)
    }

    /// Both halves, cut across one axis.
    fn halves(&self, axis: usize) -> [Cell; 2] {
        [-0.5, 0.5].map(|way| {
            let mut part = *self;
            part.half[axis] *= 0.5;
            part.at[axis] += way * self.half[axis];
            part
        })
    }
}

/// Slopes of heights over each axis.
#[derive(Debug, Clone, Copy)]
pub(super) struct Slopes {
    low: [f64; 2],
    high: [f64; 2],
}

impl Slopes {
    /// Of heights whose common movement counts too.
    pub(super) const ABSOLUTE: Slopes = Slopes {
        low: [-1.0; 2],
        high: [1.0; 2],
    };

    pub(super) fn over(slopes: impl Iterator<Item = [f64; 2]>) -> Self {
        let empty = Slopes {
            low: [f64::INFINITY; 2],
            high: [f64::NEG_INFINITY; 2],
        };
        slopes.fold(empty, |all, slope| Slopes {
            low: [all.low[0].min(slope[0]), all.low[1].min(slope[1])],
            high: [all.high[0].max(slope[0]), all.high[1].max(slope[1])],
        })
    }

    fn common(&self) -> [f64; 2] {
        [0, 1].map(|axis| 0.5 * (self.low[axis] + self.high[axis]))
    }

    /// The axis over which heights part most in a cell.
    fn steepest(&self, cell: &Cell) -> usize {
        let parting = [0, 1].map(|axis| (self.high[axis] - self.low[axis]) * cell.half[axis]);
        usize::from(parting[0] < parting[1])
    }
}

/// Heights of points that depend on two parameters; the zone is from the lowest to the highest.
pub(super) trait Zone {
    /// Only the lowest height counts, and it is to be as high as can be.
    const INSCRIBED: bool = false;
    /// Number of points.
    fn len(&self) -> usize;
    /// Height of a point.
    fn height(&self, index: usize, at: [f64; 2]) -> f64;
    /// How heights change with the parameters at the middle of a cell: the slopes of the points, from least to largest
    /// along each axis. What slopes have in common moves the zone and does not widen it.
    fn slopes(&self, cell: &Cell, points: &mut dyn Iterator<Item = usize>) -> Slopes;
    /// Least and largest height over a cell, less the common slope times the move from its middle.
    fn range(&self, index: usize, cell: &Cell, common: [f64; 2]) -> (f64, f64);
    /// Row and right side of the linear equation for two points to have one height.
    fn equal(&self, i: usize, j: usize) -> ([f64; 2], f64);
    /// What widths are divided by.
    fn norm(&self, _at: [f64; 2]) -> f64 {
        1.0
    }
    /// The largest `norm` over a cell.
    fn largest_norm(&self, _cell: &Cell) -> f64 {
        1.0
    }
    /// Whether a cell can hold a solution that counts; `low` are the points that can touch in it.
    fn possible(&self, _cell: &Cell, _low: &[usize]) -> bool {
        true
    }
    /// Whether a solution counts; `low` are the points that can touch.
    fn accepts(&self, _at: [f64; 2], _low: &[usize]) -> bool {
        true
    }
}

/// A zone with its contacts solved for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Found {
    pub(super) at: [f64; 2],
    /// Width; of inscribed zones less the lowest height.
    pub(super) value: f64,
}

struct Open {
    cell: Cell,
    /// No zone in the cell is narrower.
    bound: f64,
    /// Where to cut it.
    axis: usize,
    high: Vec<usize>,
    low: Vec<usize>,
}

impl PartialEq for Open {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}
impl Eq for Open {}
impl PartialOrd for Open {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Open {
    // The heap gives its greatest first: that is the lowest bound.
    fn cmp(&self, other: &Self) -> Ordering {
        other.bound.total_cmp(&self.bound)
    }
}

/// Up to this many contact sets are tried at once rather than splitting further.
const FEW_SETS: usize = 1000;
/// A cell below this size has no different zones in it.
const SMALLEST_CELL: f64 = 1e-15;
/// More cells than any points with digits to tell them apart need.
const MOST_CELLS: usize = 60_000;
/// The same for points in cells: a second or two.
const MOST_VISITS: usize = 30_000_000;
/// Rounding of bounds.
const SLACK: f64 = 1e-15;
/// Widths below this are rounding.
const NOTHING: f64 = 1e-13;

/// The narrowest zone over the root, and all others that are wider by no more than `ties`, the narrowest first. Empty
/// where no solution is accepted, `None` where the points do not come apart. `known` is a value that a solution is
/// known to reach.
pub(super) fn search<Z: Zone>(zone: &Z, root: Cell, known: f64, ties: f64) -> Option<Vec<Found>> {
    let everyone: Vec<usize> = (0..zone.len()).collect();
    among(zone, everyone, root, known, ties)
}

/// Up to this many points are searched together.
const TOGETHER: usize = 300;
/// Of more points, the highest and lowest of each of so many runs of neighbours are searched first.
const RUNS: usize = 48;

/// The narrowest zone over the root, as [`search`], of many points: few are searched, and those that stick out of what
/// is found join them, until none does. No zone of all points is narrower than the narrowest of some of them, so that a
/// zone of some that holds all is the narrowest of all. `start` is where the points are near to one height.
pub(super) fn narrowest<Z: Zone>(zone: &Z, root: Cell, start: [f64; 2]) -> Option<Found> {
    let count = zone.len();
    if count <= TOGETHER {
        return search(zone, root, f64::INFINITY, 0.0)?.first().copied();
    }
    let everyone: Vec<usize> = (0..count).collect();
    let mut chosen: Vec<usize> = Vec::new();
    let mut at = start;
    let mut width = f64::NEG_INFINITY;
    // Every round but the last adds a point, and few rounds are needed; a zone like very many others ends the search.
    for _ in 0..count {
        let heights: Vec<f64> = everyone.iter().map(|&i| zone.height(i, at)).collect();
        let (low, high) = heights
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
        let whole = (high - low) / zone.norm(at);
        let rounding = 8.0 * f64::EPSILON * high.abs().max(low.abs());
        if whole <= width + rounding.max(SLACK) {
            return Some(Found { at, value: whole });
        }
        let before = chosen.len();
        for run in everyone.chunks(count.div_ceil(RUNS)) {
            let by_height = |a: &&usize, b: &&usize| heights[**a].total_cmp(&heights[**b]);
            chosen.extend(
                run.iter()
                    .max_by(by_height)
                    .into_iter()
                    .chain(run.iter().min_by(by_height)),
            );
        }
        chosen.sort_unstable();
        chosen.dedup();
        if chosen.len() == before {
            return Some(Found { at, value: whole });
        }
        let found = among(zone, chosen.clone(), root, f64::INFINITY, 0.0)?
            .first()
            .copied()?;
        at = found.at;
        width = found.value;
    }
    None
}

fn among<Z: Zone>(zone: &Z, everyone: Vec<usize>, root: Cell, known: f64, ties: f64) -> Option<Vec<Found>> {
    let mut open = BinaryHeap::new();
    // The best value so far; at its middle a cell may reach it before a contact set does.
    let mut best = Found {
        at: root.at,
        value: known,
    };
    let mut found: Vec<Found> = Vec::new();
    let high = if Z::INSCRIBED { Vec::new() } else { everyone.clone() };
    open.extend(narrowed(zone, root, &high, &everyone, &mut best));
    let (mut looked_at, mut visits) = (0, 0);
    while let Some(Open {
        cell,
        bound,
        axis,
        high,
        low,
    }) = open.pop()
    {
        if bound > best.value + ties + SLACK {
            break;
        }
        looked_at += 1;
        visits += low.len() + high.len();
        if looked_at > MOST_CELLS || visits > MOST_VISITS {
            return (best.value.abs() < NOTHING).then(|| vec![best]);
        }
        if cell.reach() < SMALLEST_CELL {
            if zone.accepts(cell.at, &low) {
                keep(
                    &mut found,
                    &mut best,
                    Found {
                        at: cell.at,
                        value: value(zone, cell.at, &high, &low),
                    },
                );
            }
        } else if contact_sets(high.len(), low.len()) <= FEW_SETS {
            try_all(zone, &cell, &high, &low, |solution| {
                keep(&mut found, &mut best, solution)
            });
        } else {
            for part in cell.halves(axis) {
                let opened = narrowed(zone, part, &high, &low, &mut best);
                open.extend(opened.filter(|opened| opened.bound <= best.value + ties + SLACK));
            }
        }
    }
    if found.is_empty() && !Z::INSCRIBED && best.value.is_finite() {
        // Every cell with contacts in it reaches no further than the middle of another: points all alike.
        found.push(best);
    }
    found.retain(|solution| solution.value <= best.value + ties + NOTHING);
    found.sort_by(|a, b| a.value.total_cmp(&b.value));
    Some(found)
}

fn keep(found: &mut Vec<Found>, best: &mut Found, solution: Found) {
    let same = |known: &Found| (0..2).all(|axis| (known.at[axis] - solution.at[axis]).abs() < 1e-13);
    if !found.iter().any(same) {
        better(best, solution);
        found.push(solution);
    }
}

fn better(best: &mut Found, solution: Found) {
    if solution.value < best.value {
        *best = solution;
    }
}

/// A cell with the points of its parent that can touch a limit in it. Betters `best` by the zone at its middle.
fn narrowed<Z: Zone>(zone: &Z, cell: Cell, high: &[usize], low: &[usize], best: &mut Found) -> Option<Open> {
    let slopes = zone.slopes(&cell, &mut low.iter().chain(high).copied());
    let (common, axis) = (slopes.common(), slopes.steepest(&cell));
    let ranges: Vec<(f64, f64)> = low.iter().map(|&i| zone.range(i, &cell, common)).collect();
    let ceiling = ranges.iter().fold(f64::INFINITY, |most, range| most.min(range.1));
    let low: Vec<usize> = low
        .iter()
        .zip(&ranges)
        .filter(|(_, range)| range.0 <= ceiling + SLACK)
        .map(|(&i, _)| i)
        .collect();
    if Z::INSCRIBED {
        return zone.possible(&cell, &low).then_some(Open {
            cell,
            bound: -ceiling,
            axis,
            high: Vec::new(),
            low,
        });
    }
    let ranges: Vec<(f64, f64)> = high.iter().map(|&i| zone.range(i, &cell, common)).collect();
    let floor = ranges.iter().fold(f64::NEG_INFINITY, |least, range| least.max(range.0));
    let high: Vec<usize> = high
        .iter()
        .zip(&ranges)
        .filter(|(_, range)| range.1 >= floor - SLACK)
        .map(|(&i, _)| i)
        .collect();
    let bound = (floor - ceiling).max(0.0) / zone.largest_norm(&cell);
    better(
        best,
        Found {
            at: cell.at,
            value: value(zone, cell.at, &high, &low),
        },
    );
    bound.is_finite().then_some(Open {
        cell,
        bound,
        axis,
        high,
        low,
    })
}

fn value<Z: Zone>(zone: &Z, at: [f64; 2], high: &[usize], low: &[usize]) -> f64 {
    let bottom = low
        .iter()
        .fold(f64::INFINITY, |least, &i| least.min(zone.height(i, at)));
    if Z::INSCRIBED {
        return -bottom;
    }
    let top = high
        .iter()
        .fold(f64::NEG_INFINITY, |most, &i| most.max(zone.height(i, at)));
    (top - bottom) / zone.norm(at)
}

fn contact_sets(high: usize, low: usize) -> usize {
    let pairs = |n: usize| n * n.saturating_sub(1) / 2;
    let triples = |n: usize| pairs(n).saturating_mul(n.saturating_sub(2)) / 3;
    triples(high)
        .saturating_add(triples(low))
        .saturating_add(pairs(high).saturating_mul(pairs(low)))
}

fn pairs(list: &[usize]) -> impl Iterator<Item = (usize, usize)> + '_ {
    list.iter()
        .enumerate()
        .flat_map(|(position, &i)| list[position + 1..].iter().map(move |&j| (i, j)))
}

/// Three contacts on one limit, or two on each.
fn try_all<Z: Zone>(zone: &Z, cell: &Cell, high: &[usize], low: &[usize], mut keep: impl FnMut(Found)) {
    let mut attempt = |first: (usize, usize), second: (usize, usize)| {
        if let Some(at) = meeting(zone.equal(first.0, first.1), zone.equal(second.0, second.1))
            && cell.holds(at)
            && zone.accepts(at, low)
        {
            keep(Found {
                at,
                value: value(zone, at, high, low),
            });
        }
    };
    for list in [high, low] {
        for (position, &i) in list.iter().enumerate() {
            for (j, k) in pairs(&list[position + 1..]) {
                attempt((i, j), (i, k));
            }
        }
    }
    for first in pairs(high) {
        for second in pairs(low) {
            attempt(first, second);
        }
    }
}

/// The parameters that satisfy two linear equations.
fn meeting(first: ([f64; 2], f64), second: ([f64; 2], f64)) -> Option<[f64; 2]> {
    let ([a, b], p) = first;
    let ([c, d], q) = second;
    let determinant = a * d - b * c;
    let at = [(p * d - b * q) / determinant, (a * q - p * c) / determinant];
    at.iter().all(|x| x.is_finite()).then_some(at)
}
