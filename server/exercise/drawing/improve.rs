//! Improving an arrangement step by step until no step helps (our own method; the picture counts, not the optimum).

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
/// A leader over a hole or an arrow.
const CROWDING: f64 = 5.0;
/// A leader along the edge that it ends on.
const FLAT: f64 = 25.0;
/// A millimetre of paper too much, where everything fits, and where it does not.
pub(super) const TOO_LARGE: [f64; 2] = [50.0, 4.0];

/// An order with where it puts every block, and what that costs.
#[derive(Clone)]
struct State {
    order: Order,
    stands: Vec<Stand>,
    leaders: Vec<Vec<Leader>>,
    /// What each block costs by itself.
    alone: Vec<f64>,
    /// What each costs together with each other, row by row; the same both ways.
    together: Vec<f64>,
    cost: f64,
}

/// A step of improvement.
#[derive(Debug, Clone, Copy)]
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
    let mut state = State::first(placing, order);
    for _ in 0..ROUNDS {
        let before = state.cost;
        for step in state.steps(placing) {
            let mut order = state.order.clone();
            take(placing, &mut order, step);
            if let Some(next) = state.with(placing, order)
                && next.cost < state.cost - 1e-9
            {
                state = next;
            }
        }
        if state.cost >= before - 1e-9 {
            break;
        }
    }
    state.order
}

impl State {
    fn first(placing: &Placing, order: Order) -> Self {
        let n = placing.blocks.len();
        let nothing = Self {
            order: Order([const { Vec::new() }; 4]),
            stands: Vec::new(),
            leaders: vec![Vec::new(); n],
            alone: vec![0.0; n],
            together: vec![0.0; n * n],
            cost: f64::INFINITY,
        };
        nothing.filled(placing, order)
    }

    /// The state of another order; `None` where a side does not hold its blocks.
    fn with(&self, placing: &Placing, order: Order) -> Option<Self> {
        Side::ALL
            .iter()
            .all(|s| placing.holds(&order, *s, 0.0))
            .then(|| self.filled(placing, order))
    }

    /// The state of another order, worked out again for the blocks that it moves.
    fn filled(&self, placing: &Placing, order: Order) -> Self {
        let n = placing.blocks.len();
        let stands = placing.stands(&order);
        let mut next = Self {
            order,
            stands,
            ..self.clone()
        };
        let moved: Vec<usize> = (0..n).filter(|i| self.stands.get(*i) != next.stands.get(*i)).collect();
        for i in &moved {
            if let (Some(block), Some((area, side))) = (placing.blocks.get(*i), next.stands.get(*i)) {
                let leaders = block.leaders(*area, *side);
                next.alone[*i] = alone(placing, *i, &leaders);
                next.leaders[*i] = leaders;
            }
        }
        for i in &moved {
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
        let extent = placing.extent(&next.stands);
        let room = placing.around.room;
        let too_large = (extent.width() - room[0]).max(0.0) + (extent.height() - room[1]).max(0.0);
        next.cost = too_large * placing.around.too_large
            + next.alone.iter().sum::<f64>()
            + next.together.iter().sum::<f64>() / 2.0;
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

/// What the leaders of two blocks cost by being in each other's way.
fn together(one: &[Leader], other: &[Leader]) -> f64 {
    let mut cost = 0.0;
    for l in one {
        for m in other {
            if cross(l.from, l.to, m.from, m.to) {
                cost += CROSSING;
            }
            let grazes = |p, a, b| {
                if distance_to_stroke(p, a, b) < 1.8 {
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
