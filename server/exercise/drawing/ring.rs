//! Placing blocks around the drawing.
//!
//! All blocks stand outside a ring: a box a little larger than the drawing. A block above the ring keeps within its
//! width, one beside it within its height, so that blocks of different sides cannot meet, and no leader, which runs
//! within the ring, can cross a block. What is left to choose is the side and the order; that is improved step by step
//! until no step helps (our own method; the picture counts, not the optimum).

use super::block::{Block, Placed, Side};
use super::paper::{Area, Point, count, cross, distance, distance_to_stroke};

/// Between two blocks of a side.
const GAP: f64 = 2.0;
/// The ring grows by this when the blocks do not fit around it.
const STEP: f64 = 4.0;
/// Rounds of improvement at most; five is common.
const ROUNDS: usize = 12;
/// With more blocks than this any two no longer try to change places, only neighbours do.
const MANY: usize = 40;
/// With more than this the first arrangement stays.
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

/// All that placing has to respect.
#[derive(Debug, Clone)]
pub(super) struct Surroundings {
    /// The ring as tight as it may be.
    pub(super) ring: Area,
    /// Lettering within the ring.
    pub(super) keep_clear: Vec<Area>,
    /// Arrows and holes on the plate, which leaders had better not run over.
    pub(super) crowded: Vec<Area>,
    /// Width and height that blocks and drawing may have together.
    pub(super) room: [f64; 2],
    /// What a millimetre more than that costs.
    pub(super) too_large: f64,
}

/// Which blocks stand on which side, in order from left to right or from top to bottom.
#[derive(Debug, Clone, PartialEq)]
struct Order([Vec<usize>; 4]);

/// A finished arrangement: the blocks in the order in which they came, and the box of everything.
#[derive(Debug, Clone)]
pub(super) struct Arrangement {
    pub(super) placed: Vec<Placed>,
    pub(super) extent: Area,
}

struct Placing<'a> {
    blocks: &'a [Block],
    around: &'a Surroundings,
    ring: Area,
}

/// Places the blocks; with `careful` the first arrangement is improved, otherwise only its size is of use.
pub(super) fn place(blocks: &[Block], around: &Surroundings, careful: bool) -> Arrangement {
    let mut ring = around.ring;
    loop {
        let placing = Placing { blocks, around, ring };
        if let Some(order) = placing.first_order() {
            let order = if careful { placing.improved(order) } else { order };
            let areas = placing.areas(&order);
            let placed = placing.laid(&areas);
            let extent = areas.iter().fold(ring, |e, (a, _)| e.joined(*a));
            return Arrangement { placed, extent };
        }
        // Sides of a ring that grows hold everything sooner or later.
        ring = ring.grown(STEP);
    }
}

impl Placing<'_> {
    /// Length of a block along a side.
    fn length(&self, block: usize, side: Side) -> f64 {
        self.blocks.get(block).map_or(0.0, |b| b.size()[side.axis()])
    }

    /// Length of a side.
    fn room_of(&self, side: Side) -> f64 {
        if side.axis() == 0 {
            self.ring.width()
        } else {
            self.ring.height()
        }
    }

    fn used(&self, order: &Order, side: Side) -> f64 {
        order.0[side.index()]
            .iter()
            .map(|b| self.length(*b, side) + GAP)
            .sum::<f64>()
            - GAP
    }

    fn wish(&self, block: usize, side: Side) -> Point {
        self.blocks.get(block).map_or([0.0; 2], |b| b.wish(side))
    }

    fn way_to(&self, block: usize, side: Side) -> f64 {
        let p = self.wish(block, side);
        match side {
            Side::Top => p[1] - self.ring.min[1],
            Side::Bottom => self.ring.max[1] - p[1],
            Side::Left => p[0] - self.ring.min[0],
            Side::Right => self.ring.max[0] - p[0],
        }
    }

    /// Every block on the nearest side that has room for it; `None` where one finds none.
    fn first_order(&self) -> Option<Order> {
        let mut order = Order([const { Vec::new() }; 4]);
        let mut queue: Vec<usize> = (0..self.blocks.len()).collect();
        let nearest = |b: usize| {
            Side::ALL
                .iter()
                .map(|s| self.way_to(b, *s))
                .fold(f64::INFINITY, f64::min)
        };
        let forced = |b: usize| self.blocks.get(b).is_some_and(|b| b.side.is_some());
        queue.sort_by(|a, b| forced(*b).cmp(&forced(*a)).then(nearest(*a).total_cmp(&nearest(*b))));
        for block in queue {
            let mut sides = match self.blocks.get(block).and_then(|b| b.side) {
                Some(side) => vec![side],
                None => Side::ALL.to_vec(),
            };
            sides.sort_by(|a, b| self.way_to(block, *a).total_cmp(&self.way_to(block, *b)));
            let fits = |s: &&Side| self.used(&order, **s) + GAP + self.length(block, **s) <= self.room_of(**s);
            let side = *sides.iter().find(fits)?;
            self.insert(&mut order, block, side);
        }
        Some(order)
    }

    /// Puts a block among the others of a side where its wish belongs.
    fn insert(&self, order: &mut Order, block: usize, side: Side) {
        let key = |b: usize| self.wish(b, side)[side.axis()];
        let at = order.0[side.index()].partition_point(|b| key(*b) <= key(block));
        order.0[side.index()].insert(at, block);
    }

    /// The areas of all blocks: along each side as near to their wishes as their order allows, least squares (the pool
    /// adjacent violators algorithm of isotonic regression).
    fn areas(&self, order: &Order) -> Vec<(Area, Side)> {
        let mut areas = vec![
            (
                Area {
                    min: [0.0; 2],
                    max: [0.0; 2]
                },
                Side::Top
            );
            self.blocks.len()
        ];
        for side in Side::ALL {
            let row = &order.0[side.index()];
            let axis = side.axis();
            let lengths: Vec<f64> = row.iter().map(|b| self.length(*b, side)).collect();
            let lead = |b: usize| self.blocks.get(b).map_or(0.0, |b| b.lead(side));
            let wishes: Vec<f64> = row.iter().map(|b| self.wish(*b, side)[axis] - lead(*b)).collect();
            let starts = spread(&wishes, &lengths, self.ring.min[axis], self.ring.max[axis]);
            for ((block, start), length) in row.iter().zip(starts).zip(lengths) {
                let depth = self.blocks.get(*block).map_or(0.0, |b| b.size()[1 - axis]);
                let (near, far) = match side {
                    Side::Top | Side::Left => (self.ring.min[1 - axis] - depth, self.ring.min[1 - axis]),
                    Side::Bottom | Side::Right => (self.ring.max[1 - axis], self.ring.max[1 - axis] + depth),
                };
                let mut area = Area {
                    min: [near; 2],
                    max: [far; 2],
                };
                area.min[axis] = start;
                area.max[axis] = start + length;
                if let Some(slot) = areas.get_mut(*block) {
                    *slot = (area, side);
                }
            }
        }
        areas
    }

    fn laid(&self, areas: &[(Area, Side)]) -> Vec<Placed> {
        self.blocks
            .iter()
            .zip(areas)
            .map(|(b, (area, side))| b.laid(*area, *side))
            .collect()
    }

    fn cost(&self, order: &Order) -> f64 {
        if Side::ALL.iter().any(|s| self.used(order, *s) > self.room_of(*s)) {
            return f64::INFINITY;
        }
        let areas = self.areas(order);
        let placed = self.laid(&areas);
        let extent = areas.iter().fold(self.ring, |e, (a, _)| e.joined(*a));
        let too_large =
            (extent.width() - self.around.room[0]).max(0.0) + (extent.height() - self.around.room[1]).max(0.0);
        too_large * self.around.too_large + self.cost_of_leaders(&placed)
    }

    fn cost_of_leaders(&self, placed: &[Placed]) -> f64 {
        let leaders: Vec<(usize, Point, Point)> = placed
            .iter()
            .enumerate()
            .flat_map(|(i, p)| p.leaders.iter().map(move |l| (i, l.from, l.to)))
            .collect();
        let ends = self
            .blocks
            .iter()
            .zip(placed)
            .flat_map(|(b, p)| b.targets.iter().zip(&p.leaders));
        let mut cost: f64 = ends.map(|(t, l)| FLAT * t.flatness(l.from)).sum();
        for (i, (block, a, b)) in leaders.iter().enumerate() {
            cost += distance(*a, *b);
            cost += COVERING * count(self.around.keep_clear.iter().filter(|k| k.is_met_by(*a, *b)).count());
            cost += CROWDING * count(self.around.crowded.iter().filter(|k| k.is_met_by(*a, *b)).count());
            for (j, (other, c, d)) in leaders.iter().enumerate() {
                if block == other {
                    continue;
                }
                if j > i && cross(*a, *b, *c, *d) {
                    cost += CROSSING;
                }
                if distance_to_stroke(*d, *a, *b) < 1.8 {
                    cost += GRAZING;
                }
            }
        }
        cost
    }

    fn improved(&self, mut order: Order) -> Order {
        let mut cost = self.cost(&order);
        let rounds = if self.blocks.len() > TOO_MANY { 0 } else { ROUNDS };
        for _ in 0..rounds {
            let before = cost;
            for step in self.steps(&order) {
                let mut next = order.clone();
                self.take(&mut next, step);
                let new = self.cost(&next);
                if new < cost - 1e-9 {
                    cost = new;
                    order = next;
                }
            }
            if cost >= before - 1e-9 {
                break;
            }
        }
        order
    }

    fn steps(&self, order: &Order) -> Vec<Step> {
        let mut steps = Vec::new();
        for side in Side::ALL {
            for i in 1..order.0[side.index()].len() {
                steps.push(Step::Swap { side, i });
            }
        }
        for (block, b) in self.blocks.iter().enumerate() {
            if b.side.is_none() {
                steps.extend(Side::ALL.map(|side| Step::Move { block, side }));
            }
        }
        let exchanging = if self.blocks.len() > MANY { 0 } else { self.blocks.len() };
        for one in 0..exchanging {
            for other in one + 1..self.blocks.len() {
                steps.push(Step::Exchange { one, other });
            }
        }
        steps
    }

    fn take(&self, order: &mut Order, step: Step) {
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
                self.insert(order, block, side);
            }
            Step::Exchange { one, other } => {
                let free = |b: usize| self.blocks.get(b).is_some_and(|b| b.side.is_none());
                if free(one) && free(other) {
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
    }
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

/// Starts of things of these lengths, in order and `GAP` apart, as near as possible to where they wish to start, and
/// between `low` and `high`.
fn spread(wishes: &[f64], lengths: &[f64], low: f64, high: f64) -> Vec<f64> {
    let mut before = 0.0;
    let mut offsets = Vec::with_capacity(wishes.len());
    for length in lengths {
        offsets.push(before);
        before += length + GAP;
    }
    // Pools of (sum, number); the mean of each is not below the one before it.
    let mut pools: Vec<(f64, f64)> = Vec::new();
    for (wish, offset) in wishes.iter().zip(&offsets) {
        let mut pool = (wish - offset, 1.0);
        while let Some(last) = pools.last().copied() {
            if last.0 / last.1 <= pool.0 / pool.1 {
                break;
            }
            pool = (pool.0 + last.0, pool.1 + last.1);
            pools.pop();
        }
        pools.push(pool);
    }
    let highest = high - (before - GAP).max(0.0);
    let mut starts = Vec::with_capacity(wishes.len());
    for (sum, number) in pools {
        let start = (sum / number).min(highest).max(low);
        let mut left = number;
        while left > 0.5 {
            starts.push(start);
            left -= 1.0;
        }
    }
    starts.iter().zip(&offsets).map(|(s, o)| s + o).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn things_are_spread_as_near_to_their_wishes_as_they_can() {
        let check = |wishes: &[f64], lengths: &[f64], expected: &[f64]| {
            let got = spread(wishes, lengths, 0.0, 100.0);
            assert_eq!(got.len(), expected.len());
            for (g, e) in got.iter().zip(expected) {
                assert!((g - e).abs() < 1e-9, "{got:?} instead of {expected:?}");
            }
        };
        check(&[], &[], &[]);
        check(&[10.0, 40.0], &[8.0, 8.0], &[10.0, 40.0]);
        // Two that wish for the same place share the way: 10 apart (8 and the gap of 2), 5 to either side.
        check(&[50.0, 50.0], &[8.0, 8.0], &[45.0, 55.0]);
        check(&[-5.0, 99.0], &[8.0, 8.0], &[0.0, 92.0]);
        check(&[99.0, 99.0], &[8.0, 8.0], &[82.0, 92.0]);
    }
}
