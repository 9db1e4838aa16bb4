//! One copy: deviations in whole steps that put every characteristic where it is wanted.
//!
//! Starts from deviations drawn for the characteristics that they are, and then mends what is not where it should be,
//! one deviation at a time, taking what is no worse. Everything that is chosen is a whole number.

use rust_decimal::{Decimal, RoundingStrategy};

use super::knobs::{Knob, plate};
use super::room::{self, Place, Room};
use super::walls::Walls;
use crate::exercise::model::{Exercise, Quantity};
use crate::exercise::names::Serial;
use crate::exercise::plate::{Plate, true_states};
use crate::procedure::sampler::Sampler;

/// Changes that are tried for each characteristic before a set of wishes is given up.
const TRIES: usize = 60;

/// The exercise with everything that does not change from copy to copy.
#[derive(Debug)]
pub(super) struct Bench<'e> {
    pub(super) exercise: &'e Exercise,
    pub(super) rooms: Vec<Option<Room>>,
    pub(super) knobs: Vec<Knob>,
    pub(super) walls: Walls,
    pub(super) blank: Serial,
}

/// A copy on the way.
struct Copy {
    steps: Vec<i64>,
    values: Vec<Option<Decimal>>,
    /// Characteristics that are not where they are wanted.
    amiss: Vec<usize>,
    /// Features at walls that are too thin.
    thin: Vec<usize>,
}

impl Copy {
    fn cost(&self) -> usize {
        self.amiss.len() + self.thin.len()
    }
}

impl Bench<'_> {
    /// A plate on which every characteristic is what `wanted` says (where it says something), if one is found.
    pub(super) fn make(&self, wanted: &[Option<Place>], sampler: &mut Sampler) -> Option<Plate> {
        let start = self
            .knobs
            .iter()
            .map(|knob| self.drawn(knob, wanted, sampler))
            .collect();
        let mut copy = self.weigh(start, wanted);
        for _ in 0..TRIES * wanted.len().max(1) {
            if copy.cost() == 0 {
                return Some(plate(&self.knobs, &copy.steps, self.blank.clone()));
            }
            let Some(steps) = self.changed(&copy, wanted, sampler) else {
                continue;
            };
            let next = self.weigh(steps, wanted);
            if next.cost() <= copy.cost() || sampler.below(24) == 0 {
                copy = next;
            }
        }
        None
    }

    fn weigh(&self, steps: Vec<i64>, wanted: &[Option<Place>]) -> Copy {
        let plate = plate(&self.knobs, &steps, self.blank.clone());
        let values = room::values(self.exercise, &plate);
        let places = room::places(self.exercise, &self.rooms, &values);
        let amiss = (0..wanted.len())
            .filter(|i| wanted.get(*i).copied().flatten().is_some() && places.get(*i) != wanted.get(*i))
            .collect();
        Copy {
            thin: self.walls.broken(&true_states(self.exercise, &plate)),
            values,
            amiss,
            steps,
        }
    }

    /// One deviation drawn for what it is itself, or small where it is no characteristic.
    fn drawn(&self, knob: &Knob, wanted: &[Option<Place>], sampler: &mut Sampler) -> i64 {
        let drawn = knob.own.and_then(|i| {
            let room = self.rooms.get(i)?.as_ref()?;
            let c = self.exercise.characteristics.get(i)?;
            self.deviation(
                knob,
                room,
                c.limits.lower,
                c.limits.upper,
                wanted.get(i).copied()??,
                sampler,
            )
        });
        drawn.unwrap_or_else(|| {
            let room = knob.moves.iter().find_map(|i| self.rooms.get(*i)?.as_ref());
            let most = room.map_or(0, |r| knob.steps(r.half / Decimal::from(4), RoundingStrategy::ToZero));
            whole(-most.min(knob.reach), most.min(knob.reach), sampler)
                .unwrap_or(0)
                .max(knob.least())
        })
    }

    /// Steps from nominal for a value that is what is wanted, evenly among all that are.
    #[expect(clippy::unused_self, reason = "reads like the other draws")]
    fn deviation(
        &self,
        knob: &Knob,
        room: &Room,
        lower: Option<Decimal>,
        upper: Option<Decimal>,
        wanted: Place,
        sampler: &mut Sampler,
    ) -> Option<i64> {
        let (low, high) = (lower.map(|l| l - room.nominal), upper.map(|u| u - room.nominal));
        let up = match (low, high) {
            (Some(_), Some(_)) => sampler.below(2) == 0,
            (_, high) => high.is_some(),
        };
        // Seen from the limit that was chosen: distances inwards are below zero.
        let (from, to) = match wanted {
            Place::Inside => return inside(knob, room, low, high, sampler),
            Place::CloseInside => (-room.close, Decimal::ZERO),
            Place::CloseOutside => (room.step_beyond(knob), room.close),
            Place::Outside => (room.clear_out, room.furthest),
            Place::Between => return None,
        };
        let (a, b) = match (up, low, high) {
            (true, _, Some(high)) => (high + from, high + to),
            (false, Some(low), _) => (low - to, low - from),
            _ => return None,
        };
        whole(
            knob.steps(a, RoundingStrategy::ToPositiveInfinity),
            knob.steps(b, RoundingStrategy::ToNegativeInfinity),
            sampler,
        )
    }

    /// The copy with one deviation changed for the better of something that is amiss.
    fn changed(&self, copy: &Copy, wanted: &[Option<Place>], sampler: &mut Sampler) -> Option<Vec<i64>> {
        let pick = sampler.below(copy.cost());
        let (index, steps) = match copy.amiss.get(pick) {
            Some(amiss) => self.towards(copy, *amiss, wanted, sampler)?,
            None => {
                let feature = copy.thin.get(pick - copy.amiss.len())?;
                let of: Vec<usize> = (0..self.knobs.len())
                    .filter(|k| self.knobs.get(*k).is_some_and(|k| k.feature == *feature))
                    .collect();
                let index = *of.get(sampler.below(of.len()))?;
                (index, self.drawn(self.knobs.get(index)?, wanted, sampler))
            }
        };
        let knob = self.knobs.get(index)?;
        let mut changed = copy.steps.clone();
        *changed.get_mut(index)? = steps.clamp(knob.least(), knob.reach);
        Some(changed)
    }

    /// A deviation that may bring a characteristic to where it is wanted, and how large it has to be.
    fn towards(
        &self,
        copy: &Copy,
        amiss: usize,
        wanted: &[Option<Place>],
        sampler: &mut Sampler,
    ) -> Option<(usize, i64)> {
        let movers: Vec<usize> = (0..self.knobs.len())
            .filter(|k| self.knobs.get(*k).is_some_and(|k| k.moves.contains(&amiss)))
            .collect();
        let index = *movers.get(sampler.below(movers.len()))?;
        let knob = self.knobs.get(index)?;
        // What is a characteristic itself keeps its own place in half of the tries.
        if knob.own.is_some_and(|own| own != amiss) && sampler.below(2) == 0 {
            return Some((index, self.drawn(knob, wanted, sampler)));
        }
        let (c, room) = (
            self.exercise.characteristics.get(amiss)?,
            self.rooms.get(amiss)?.as_ref()?,
        );
        let wish = wanted.get(amiss).copied().flatten()?;
        let deviation = self.deviation(knob, room, c.limits.lower, c.limits.upper, wish, sampler)?;
        let now = copy.values.get(amiss).copied().flatten()? - room.nominal;
        let missing = deviation - knob.steps(now, RoundingStrategy::MidpointAwayFromZero);
        let missing = match c.of {
            Quantity::Position | Quantity::Coaxiality => missing / 2,
            _ => missing,
        };
        let against = knob.own != Some(amiss) && sampler.below(2) == 0;
        let now = copy.steps.get(index)?;
        Some((index, if against { now - missing } else { now + missing }))
    }
}

impl Room {
    /// The least that lies beyond a limit.
    fn step_beyond(&self, knob: &Knob) -> Decimal {
        knob.step.min(self.close)
    }
}

fn inside(knob: &Knob, room: &Room, low: Option<Decimal>, high: Option<Decimal>, sampler: &mut Sampler) -> Option<i64> {
    // Nothing is ever made without any error of form, and what has one limit only goes as far to the other side.
    let least = if room.from_zero {
        room.half / Decimal::TEN
    } else {
        -room.half
    };
    let from = low.map_or(least, |l| l + room.clear_in);
    let to = high.map_or(room.half, |h| h - room.clear_in);
    whole(
        knob.steps(from, RoundingStrategy::ToPositiveInfinity),
        knob.steps(to, RoundingStrategy::ToNegativeInfinity),
        sampler,
    )
}

/// A whole number from one to another, both included; `None` where there is none.
fn whole(from: i64, to: i64, sampler: &mut Sampler) -> Option<i64> {
    let count = usize::try_from(to.checked_sub(from)?.checked_add(1)?)
        .ok()
        .filter(|n| *n > 0)?;
    from.checked_add(i64::try_from(sampler.below(count)).ok()?)
}
