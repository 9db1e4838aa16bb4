//! Placing blocks around the drawing.
//!
//! All blocks stand outside a ring: a box a little larger than the drawing. A block above the ring keeps within its
//! width, one beside it within its height, so that blocks of different sides cannot meet, and no leader, which runs
//! within the ring, can cross a block. What is left to choose is the side and the order; `improve` does that.

use super::block::{Block, Placed, Shows, Side};
use super::improve;
use super::paper::{Area, Point};

/// Between two blocks of a side.
const GAP: f64 = 2.0;
/// The ring grows by this on both sides when the blocks do not fit around it.
const STEP: f64 = 1.0;

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
pub(super) struct Order(pub(super) [Vec<usize>; 4]);

/// A finished arrangement: the blocks in the order in which they came, and the box of everything.
#[derive(Debug, Clone)]
pub(super) struct Arrangement {
    pub(super) placed: Vec<Placed>,
    pub(super) extent: Area,
}

/// Where a block stands.
pub(super) type Stand = (Area, Side);

/// What placing needs to know of a block, worked out once.
#[derive(Debug, Clone)]
struct Facts {
    size: [f64; 2],
    /// The side that it must be on.
    side: Option<Side>,
    /// For each side the middle of what it points at.
    wish: [Point; 4],
    /// For each side the way from its start to the balloon that should stand opposite to the target.
    lead: [f64; 4],
}

/// Blocks, ring and everything around them.
pub(super) struct Placing<'a> {
    pub(super) blocks: &'a [Block],
    pub(super) around: &'a Surroundings,
    ring: Area,
    facts: Vec<Facts>,
}

/// Places the blocks; with `careful` the first arrangement is improved, otherwise only its size is of use.
pub(super) fn place(blocks: &[Block], around: &Surroundings, careful: bool) -> Arrangement {
    let mut placing = Placing::new(blocks, around);
    loop {
        match placing.first_order() {
            Ok(order) => {
                let order = if careful {
                    improve::improved(&placing, order)
                } else {
                    order
                };
                let stands = placing.stands(&order);
                let placed = blocks
                    .iter()
                    .zip(&stands)
                    .map(|(b, (area, side))| b.laid(*area, *side))
                    .collect();
                return Arrangement {
                    placed,
                    extent: placing.extent(&stands),
                };
            }
            // Sides of a ring that grows hold everything sooner or later.
            Err(axis) => {
                placing.ring.min[axis] -= STEP;
                placing.ring.max[axis] += STEP;
            }
        }
    }
}

impl<'a> Placing<'a> {
    fn new(blocks: &'a [Block], around: &'a Surroundings) -> Self {
        let facts = |b: &Block| Facts {
            size: b.size(),
            side: b.side,
            wish: Side::ALL.map(|s| b.wish(s)),
            lead: Side::ALL.map(|s| b.lead(s)),
        };
        Self {
            blocks,
            around,
            ring: around.ring,
            facts: blocks.iter().map(facts).collect(),
        }
    }

    fn of<T>(&self, block: usize, what: impl Fn(&Facts) -> T, otherwise: T) -> T {
        self.facts.get(block).map_or(otherwise, what)
    }

    /// Length of a block along a side.
    fn length(&self, block: usize, side: Side) -> f64 {
        self.of(block, |f| f.size[side.axis()], 0.0)
    }

    /// Whether a block may stand on any side.
    pub(super) fn is_free(&self, block: usize) -> bool {
        self.of(block, |f| f.side.is_none(), false)
    }

    /// Whether a block is a coordinate.
    pub(super) fn is_ordinate(&self, block: usize) -> bool {
        self.blocks.get(block).is_some_and(|b| b.shows == Shows::Ordinate)
    }

    /// Whether all blocks of a side find room along it.
    pub(super) fn holds(&self, order: &Order, side: Side, one_more: f64) -> bool {
        let used: f64 = order.0[side.index()].iter().map(|b| self.length(*b, side) + GAP).sum();
        let room = if side.axis() == 0 {
            self.ring.width()
        } else {
            self.ring.height()
        };
        used - GAP + one_more <= room
    }

    /// The box of ring and blocks.
    pub(super) fn extent(&self, stands: &[Stand]) -> Area {
        stands.iter().fold(self.ring, |e, (a, _)| e.joined(*a))
    }

    fn wish(&self, block: usize, side: Side) -> Point {
        self.of(block, |f| f.wish[side.index()], [0.0; 2])
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

    /// Every block on the nearest side that has room for it; where one finds none, the axis along which the ring should
    /// grow: that of its side, or the one along which more of the paper is left.
    fn first_order(&self) -> Result<Order, usize> {
        let mut order = Order([const { Vec::new() }; 4]);
        let mut queue: Vec<usize> = (0..self.blocks.len()).collect();
        let nearest = |b: usize| {
            Side::ALL
                .iter()
                .map(|s| self.way_to(b, *s))
                .fold(f64::INFINITY, f64::min)
        };
        let free = |b: &usize| self.is_free(*b);
        queue.sort_by(|a, b| free(a).cmp(&free(b)).then(nearest(*a).total_cmp(&nearest(*b))));
        for block in queue {
            let mut sides = self.of(block, |f| f.side, None).map_or(Side::ALL.to_vec(), |s| vec![s]);
            sides.sort_by(|a, b| self.way_to(block, *a).total_cmp(&self.way_to(block, *b)));
            let holding = sides
                .iter()
                .find(|s| self.holds(&order, **s, GAP + self.length(block, **s)));
            let Some(side) = holding else {
                return Err(match self.of(block, |f| f.side, None) {
                    Some(side) => side.axis(),
                    None => self.roomier_axis(),
                });
            };
            self.insert(&mut order, block, *side);
        }
        Ok(order)
    }

    /// The axis along which the ring takes the smaller share of the paper.
    fn roomier_axis(&self) -> usize {
        let share = |length: f64, room: f64| length / room.max(1.0);
        let room = self.around.room;
        usize::from(share(self.ring.height(), room[1]) < share(self.ring.width(), room[0]))
    }

    /// Puts a block among the others of a side where its wish belongs.
    pub(super) fn insert(&self, order: &mut Order, block: usize, side: Side) {
        let key = |b: usize| self.wish(b, side)[side.axis()];
        let at = order.0[side.index()].partition_point(|b| key(*b) <= key(block));
        order.0[side.index()].insert(at, block);
    }

    /// What the paper costs that is taken beyond the room.
    pub(super) fn excess(&self, stands: &[Stand]) -> f64 {
        let (extent, room) = (self.extent(stands), self.around.room);
        let too_large = (extent.width() - room[0]).max(0.0) + (extent.height() - room[1]).max(0.0);
        too_large * self.around.too_large
    }

    /// Where all blocks stand: along each side as near to their wishes as their order allows.
    pub(super) fn stands(&self, order: &Order) -> Vec<Stand> {
        let nowhere = Area {
            min: [0.0; 2],
            max: [0.0; 2],
        };
        let mut stands = vec![(nowhere, Side::Top); self.blocks.len()];
        for side in Side::ALL {
            self.stand(order, side, &mut stands);
        }
        stands
    }

    /// The same where it is known for another order: a side that is as it was is not worked out again.
    pub(super) fn stands_after(&self, order: &Order, (before, known): (&Order, &[Stand])) -> Vec<Stand> {
        let mut stands = known.to_vec();
        for side in Side::ALL {
            if order.0[side.index()] != before.0[side.index()] {
                self.stand(order, side, &mut stands);
            }
        }
        stands
    }

    fn stand(&self, order: &Order, side: Side, stands: &mut [Stand]) {
        let row = &order.0[side.index()];
        let axis = side.axis();
        let lengths: Vec<f64> = row.iter().map(|b| self.length(*b, side)).collect();
        let lead = |b: usize| self.of(b, |f| f.lead[side.index()], 0.0);
        let wishes: Vec<f64> = row.iter().map(|b| self.wish(*b, side)[axis] - lead(*b)).collect();
        let starts = spread(&wishes, &lengths, self.ring.min[axis], self.ring.max[axis]);
        for ((block, start), length) in row.iter().zip(starts).zip(lengths) {
            let depth = self.of(*block, |f| f.size[1 - axis], 0.0);
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
            if let Some(stand) = stands.get_mut(*block) {
                *stand = (area, side);
            }
        }
    }
}

/// Starts of things of these lengths, in order and `GAP` apart, as near as possible to where they wish to start, and
/// between `low` and `high`: least squares by the pool adjacent violators algorithm of isotonic regression.
pub(super) fn spread(wishes: &[f64], lengths: &[f64], low: f64, high: f64) -> Vec<f64> {
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
