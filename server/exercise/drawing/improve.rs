//! Improving an arrangement step by step until no step helps (our own method; the picture counts, not the optimum).

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

use super::block::{Leader, Side};
use super::paper::{count, cross, distance, distance_to_stroke};
use super::ring::{Order, Placing, Stand};

/// Rounds of improvement at most; five is common.
const ROUNDS: usize = 12;
/// With more blocks than this the first arrangement stays.
const TOO_MANY: usize = 150;

/// What a crossing of leaders costs, in millimetres of leader.
const CROSSING: f64 = 30.0;
/// A leader through something that must stay readable.
const COVERING: f64 = 60.0;
/// A leader that passes close to where another one ends.
const GRAZING: f64 = 8.0;
/// How close that is, in millimetres.
const NEAR: f64 = 1.8;
/// A leader over a hole or an arrow.
const CROWDING: f64 = 5.0;
/// A leader along the edge that it ends on.
const FLAT: f64 = 25.0;
/// A millimetre of paper too much, where everything fits, and where it does not.
pub(super) const TOO_LARGE: [f64; 2] = [50.0, 4.0];

/// What a block in a place costs by itself, and its leaders.
type Moved = (f64, Rc<[Leader]>);

/// A block, its side, and the bits of its upper left corner.
type Place = (usize, Side, [u64; 2]);

/// Blocks in places where they stood before: most steps that are tried put them there again.
struct Known<'a> {
    placing: &'a Placing<'a>,
    stood: RefCell<BTreeMap<Place, Moved>>,
}

impl Known<'_> {
    fn at(&self, block: usize, (area, side): Stand) -> Moved {
        let key = (block, side, area.min.map(f64::to_bits));
        if let Some(stood) = self.stood.borrow().get(&key) {
            return stood.clone();
        }
        let own = self.placing.blocks.get(block).map(|b| b.leaders(area, side));
        let own: Rc<[Leader]> = own.unwrap_or_default().into();
        let moved = (alone(self.placing, block, &own), own);
        self.stood.borrow_mut().insert(key, moved.clone());
        moved
    }
}

/// An order with where it puts every block, and what that costs.
#[derive(Clone)]
struct State {
    order: Order,
    stands: Vec<Stand>,
    leaders: Vec<Rc<[Leader]>>,
    /// What each block costs by itself.
    alone: Vec<f64>,
    /// What each costs together with each other, row by row; the same both ways.
    together: Vec<f64>,
    cost: f64,
}

/// A step of improvement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Step {
    /// Two neighbours change places.
    Swap { side: Side, i: usize },
    /// A block goes to a side, where its wish belongs.
    Move { block: usize, side: Side },
    /// Any two change places.
    Exchange { one: usize, other: usize },
}

/// The order after all steps that help.
pub(super) fn improved(placing: &Placing, order: Order) -> Order {
    if placing.blocks.len() > TOO_MANY {
        return order;
    }
    let known = Known {
        placing,
        stood: RefCell::default(),
    };
    let mut state = State::first(&known, order);
    // Steps that did not help since the last one that did: they do not help now either.
    let mut in_vain = BTreeSet::new();
    for _ in 0..ROUNDS {
        let before = state.cost;
        for step in state.steps(placing) {
            if in_vain.contains(&step) {
                continue;
            }
            let mut order = state.order.clone();
            take(placing, &mut order, step);
            if order == state.order {
                in_vain.insert(step);
                continue;
            }
            match state.with(&known, order) {
                Some(next) if next.cost < state.cost - 1e-9 => {
                    state = next;
                    in_vain.clear();
                }
                _ => drop(in_vain.insert(step)),
            }
        }
        if state.cost >= before - 1e-9 {
            break;
        }
    }
    state.order
}

impl State {
    fn first(known: &Known, order: Order) -> Self {
        let placing = known.placing;
        let n = placing.blocks.len();
        let nothing = Self {
            order: Order([const { Vec::new() }; 4]),
            stands: Vec::new(),
            leaders: vec![Rc::default(); n],
            alone: vec![0.0; n],
            together: vec![0.0; n * n],
            cost: f64::INFINITY,
        };
        let stands = placing.stands(&order);
        let moved: Vec<usize> = (0..n).collect();
        let leaders = stands
            .iter()
            .enumerate()
            .map(|(i, stand)| known.at(i, *stand))
            .collect();
        nothing.filled(placing, (order, stands), &moved, leaders)
    }

    /// The state of another order; `None` where a side does not hold its blocks, or where it certainly costs more.
    fn with(&self, known: &Known, order: Order) -> Option<Self> {
        let placing = known.placing;
        if !Side::ALL.iter().all(|s| placing.holds(&order, *s, 0.0)) {
            return None;
        }
        let stands = placing.stands_after(&order, (&self.order, &self.stands));
        let moved = self.moved(&stands);
        let leaders = self.leaders_if_worth_it(known, &stands, &moved)?;
        Some(self.filled(placing, (order, stands), &moved, leaders))
    }

    /// Blocks that stand elsewhere.
    fn moved(&self, stands: &[Stand]) -> Vec<usize> {
        (0..stands.len())
            .filter(|i| self.stands.get(*i) != stands.get(*i))
            .collect()
    }

    /// The leaders of moved blocks, each with what the block costs by itself; `None` as soon as what is known of the new
    /// cost exceeds the present one. Nothing has a negative cost, so that a part of it is enough to say so; the margin is
    /// far above what sums in another order can differ by.
    fn leaders_if_worth_it(&self, known: &Known, stands: &[Stand], moved: &[usize]) -> Option<Vec<Moved>> {
        let placing = known.placing;
        let n = placing.blocks.len();
        let most = self.cost + 1e-6;
        let moves = |i: usize| moved.binary_search(&i).is_ok();
        let pairs = |i: &usize| {
            let row = &self.together[i * n..(i + 1) * n];
            let half = |(j, cost): (usize, &f64)| if moves(j) { cost / 2.0 } else { *cost };
            row.iter().enumerate().map(half).sum::<f64>()
        };
        let gone: f64 = moved.iter().map(|i| self.alone[*i] + pairs(i)).sum();
        let mut least = self.cost - placing.excess(&self.stands) - gone + placing.excess(stands);
        let mut leaders: Vec<Moved> = Vec::with_capacity(moved.len());
        for i in moved {
            let (cost, own) = known.at(*i, *stands.get(*i)?);
            least += cost;
            if least > most {
                return None;
            }
            leaders.push((cost, own));
        }
        for (at, (_, own)) in leaders.iter().enumerate() {
            let staying = (0..n).filter(|j| !moves(*j)).map(|j| &*self.leaders[j]);
            let others = leaders[..at].iter().map(|(_, l)| &**l).chain(staying);
            for other in others {
                least += together(own, other);
            }
            if least > most {
                return None;
            }
        }
        Some(leaders)
    }

    /// The state of another order, worked out again for the blocks that it moves.
    fn filled(
        &self,
        placing: &Placing,
        (order, stands): (Order, Vec<Stand>),
        moved: &[usize],
        leaders: Vec<Moved>,
    ) -> Self {
        let n = placing.blocks.len();
        let mut next = Self {
            order,
            stands,
            ..self.clone()
        };
        for (i, (cost, own)) in moved.iter().zip(leaders) {
            next.alone[*i] = cost;
            next.leaders[*i] = own;
        }
        for i in moved {
            for j in 0..n {
                let cost = if *i == j {
                    0.0
                } else {
                    together(&next.leaders[*i], &next.leaders[j])
                };
                next.together[*i * n + j] = cost;
                next.together[j * n + *i] = cost;
            }
        }
        next.cost =
            placing.excess(&next.stands) + next.alone.iter().sum::<f64>() + next.together.iter().sum::<f64>() / 2.0;
        next
    }

    /// Neighbours may always change places and blocks may always change sides; any two change places only where one of
    /// them is in the way of another.
    fn steps(&self, placing: &Placing) -> Vec<Step> {
        let n = placing.blocks.len();
        let mut steps = Vec::new();
        for side in Side::ALL {
            let row = &self.order.0[side.index()];
            for (i, pair) in row.windows(2).enumerate() {
                // Coordinates stay sorted, so that their lines do not cross.
                if !pair.iter().all(|b| placing.is_ordinate(*b)) {
                    steps.push(Step::Swap { side, i: i + 1 });
                }
            }
        }
        let free: Vec<usize> = (0..n).filter(|b| placing.is_free(*b)).collect();
        for block in &free {
            steps.extend(Side::ALL.map(|side| Step::Move { block: *block, side }));
        }
        let in_the_way = |b: usize| self.together[b * n..(b + 1) * n].iter().any(|c| *c > 0.0);
        for one in free.iter().filter(|b| in_the_way(**b)) {
            steps.extend(free.iter().filter(|o| *o != one).map(|other| Step::Exchange {
                one: *one,
                other: *other,
            }));
        }
        steps
    }
}

fn take(placing: &Placing, order: &mut Order, step: Step) {
    match step {
        Step::Swap { side, i } => {
            let row = &mut order.0[side.index()];
            if i < row.len() {
                row.swap(i - 1, i);
            }
        }
        Step::Move { block, side } => {
            for row in &mut order.0 {
                row.retain(|b| *b != block);
            }
            placing.insert(order, block, side);
        }
        Step::Exchange { one, other } => {
            for slot in order.0.iter_mut().flatten() {
                *slot = if *slot == one {
                    other
                } else if *slot == other {
                    one
                } else {
                    *slot
                };
            }
        }
    }
}

/// What the leaders of a block cost whatever the others do.
fn alone(placing: &Placing, block: usize, leaders: &[Leader]) -> f64 {
    let met =
        |areas: &[super::paper::Area], l: &Leader| count(areas.iter().filter(|a| a.is_met_by(l.from, l.to)).count());
    let of_leaders: f64 = leaders
        .iter()
        .map(|l| {
            distance(l.from, l.to)
                + COVERING * met(&placing.around.keep_clear, l)
                + CROWDING * met(&placing.around.crowded, l)
        })
        .sum();
    let targets = placing.blocks.get(block).map_or(&[][..], |b| &b.targets);
    let flat: f64 = targets.iter().zip(leaders).map(|(t, l)| t.flatness(l.from)).sum();
    of_leaders + FLAT * flat
}

/// Whether the boxes of two leaders are so far from each other that neither can be in the way of the other.
fn are_far(l: &Leader, m: &Leader) -> bool {
    (0..2).any(|i| {
        let (low, high) = (l.from[i].min(l.to[i]), l.from[i].max(l.to[i]));
        low > m.from[i].max(m.to[i]) + NEAR || high < m.from[i].min(m.to[i]) - NEAR
    })
}

/// What the leaders of two blocks cost by being in each other's way.
fn together(one: &[Leader], other: &[Leader]) -> f64 {
    let mut cost = 0.0;
    for l in one {
        for m in other {
            if are_far(l, m) {
                continue;
            }
            if cross(l.from, l.to, m.from, m.to) {
                cost += CROSSING;
            }
            let grazes = |p, a, b| {
                if distance_to_stroke(p, a, b) < NEAR {
                    GRAZING
                } else {
                    0.0
                }
            };
            cost += grazes(m.to, l.from, l.to) + grazes(l.to, m.from, m.to);
        }
    }
    cost
}
