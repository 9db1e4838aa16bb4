//! Proposing plates: deviations for so many copies from one seed.
//!
//! Every copy has exactly the wanted number of nonconforming characteristics and of ones close to a limit, is made of
//! whole steps of the shop, keeps its walls, and differs from every other copy in so many characteristics by more than
//! 3 U that a report tells which copy it was. The same seed gives the same plates on any machine: the generator is a
//! named one (`super::sampler`), what is chosen are whole numbers and decimals, and values are rounded to eight places
//! before they decide. Which characteristics are off is spread evenly over the print, and the copies are shuffled before they get
//! their serials, so that neither tells anything.

mod aims;
mod cannot;
mod choose;
mod knobs;
mod report;
mod room;
mod search;
#[cfg(test)]
mod tests;
mod walls;

use rust_decimal::Decimal;

pub use aims::{Aims, MOST_COPIES, PlateSeed, SeedError};
pub use cannot::{Aim, CannotPropose};
pub use report::{Counts, counts};
pub use room::Place;

use crate::exercise::model::{Characteristic, Exercise, Quantity};
use crate::exercise::names::Serial;
use crate::exercise::plate::{Plate, PlateKind, Seed};
use crate::procedure::sampler::Sampler;
use choose::{Ability, Tally, Wish, choose};
use room::Room;
use search::Bench;
use walls::Walls;

/// Sets of wishes that are tried for one copy.
const TRIES: usize = 40;

/// Whole proposals that are tried, each from a stream of its own.
const ROUNDS: u32 = 3;

/// What came out.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// The plates, by serial.
    pub plates: Vec<Plate>,
    /// What could not be had, in words, with what would bring it.
    pub remarks: Vec<String>,
}

/// Proposes plates. `existing` are plates of the exercise that there are already: the new ones are told apart from them too
/// and get other serials. `taken` are further serials that are not free.
///
/// # Errors
/// When an aim cannot be met, with the nearest that can.
pub fn propose(
    exercise: &Exercise,
    seed: PlateSeed,
    aims: &Aims,
    existing: &[Plate],
    taken: &[Serial],
) -> Result<Proposal, CannotPropose> {
    cannot::sensible(exercise, aims)?;
    let bench = bench(exercise, aims)?;
    let able = able(&bench);
    let known: Vec<Vec<Option<Decimal>>> = existing.iter().map(|p| room::values(exercise, p)).collect();
    let mut most = 0;
    for round in 0..ROUNDS {
        let mut sampler = seed.stream(round);
        let made = copies(&bench, aims, &able, &known, &mut sampler);
        if !made.any {
            return Err(cannot::nearest(&bench, aims, &able, seed));
        }
        most = most.max(made.plates.len());
        if made.plates.len() == aims.copies {
            let remarks = report::remarks(&bench, aims, &able, &made.plates);
            let plates = named(exercise, seed, aims, made.plates, (existing, taken), &mut sampler)?;
            return Ok(Proposal { plates, remarks });
        }
    }
    let reaches = |apart: usize| {
        let less = Aims { apart, ..aims.clone() };
        copies(&bench, &less, &able, &known, &mut seed.stream(0)).plates.len() == aims.copies
    };
    Err(CannotPropose::Alike {
        characteristics: exercise.characteristics.len(),
        copies: aims.copies,
        apart: aims.apart,
        most,
        can_apart: cannot::most_apart(aims.apart, reaches),
    })
}

fn bench<'e>(exercise: &'e Exercise, aims: &Aims) -> Result<Bench<'e>, CannotPropose> {
    let rooms: Vec<Option<Room>> = exercise.characteristics.iter().map(|c| Room::of(c, aims)).collect();
    let blank: Serial = "0".parse().map_err(|_| CannotPropose::Serials)?;
    Ok(Bench {
        exercise,
        knobs: knobs::knobs(exercise, aims, &rooms, &blank),
        walls: Walls::of(exercise, aims.wall),
        rooms,
        blank,
    })
}

/// What can be done with each characteristic.
fn able(bench: &Bench<'_>) -> Vec<Ability> {
    let nominal = knobs::plate(&[], &[], bench.blank.clone());
    let values = room::values(bench.exercise, &nominal);
    let at_nominal = room::places(bench.exercise, &bench.rooms, &values);
    let able = |(i, room): (usize, &Option<Room>)| {
        let mut movers = bench.knobs.iter().filter(|k| k.moves.contains(&i)).peekable();
        match room {
            Some(room) if movers.peek().is_some() => {
                if movers.any(|k| k.step <= room.close || k.own != Some(i)) {
                    Ability::Free
                } else {
                    Ability::Coarse
                }
            }
            _ => Ability::Fixed(at_nominal.get(i).copied().flatten()),
        }
    };
    bench.rooms.iter().enumerate().map(able).collect()
}

/// How many copies came out.
struct Made {
    plates: Vec<Plate>,
    /// Whether a copy was found at all, told apart or not.
    any: bool,
}

/// Copies that are told apart from each other and from those known; fewer than wanted where no more were found.
fn copies(
    bench: &Bench<'_>,
    aims: &Aims,
    able: &[Ability],
    known: &[Vec<Option<Decimal>>],
    sampler: &mut Sampler,
) -> Made {
    let mut seen = known.to_vec();
    let mut tally = Tally::new(able.len());
    let mut made = Made {
        plates: Vec::new(),
        any: false,
    };
    'copies: while made.plates.len() < aims.copies {
        for attempt in 0..TRIES {
            let wish = Wish {
                nonconforming: aims.nonconforming,
                close: aims.close,
                looseness: attempt / 4,
            };
            let Some(wanted) = choose(bench.exercise, able, &tally, wish, sampler) else {
                continue;
            };
            let Some(plate) = bench.make(&wanted, sampler) else {
                continue;
            };
            made.any = true;
            let values = room::values(bench.exercise, &plate);
            let apart = |other: &Vec<Option<Decimal>>| differences(bench.exercise, &values, other) >= aims.apart;
            if seen.iter().all(apart) {
                tally.add(&wanted);
                seen.push(values);
                made.plates.push(plate);
                continue 'copies;
            }
        }
        break;
    }
    made
}

/// Characteristics in which two plates differ by more than 3 U.
fn differences(exercise: &Exercise, one: &[Option<Decimal>], other: &[Option<Decimal>]) -> usize {
    let apart = |(i, c): (usize, &Characteristic)| {
        let both = one.get(i).copied().flatten().zip(other.get(i).copied().flatten());
        both.is_some_and(|(a, b)| (a - b).abs() > c.u_lab * Decimal::from(3))
    };
    let all = exercise.characteristics.iter().enumerate();
    all.filter(|(i, c)| apart((*i, *c))).count()
}

/// Shuffles the copies and gives them serials that are free.
fn named(
    exercise: &Exercise,
    seed: PlateSeed,
    aims: &Aims,
    mut made: Vec<Plate>,
    (existing, taken): (&[Plate], &[Serial]),
    sampler: &mut Sampler,
) -> Result<Vec<Plate>, CannotPropose> {
    for i in (1..made.len()).rev() {
        made.swap(i, sampler.below(i + 1));
    }
    let is_taken = |s: &Serial| existing.iter().any(|p| p.serial == *s) || taken.contains(s);
    let mut numbers = 1_u32..;
    for plate in &mut made {
        let serial = numbers.by_ref().take(100_000).find_map(|n| {
            let serial = match aims.kind {
                PlateKind::Physical => format!("{}-{n:02}", exercise.code),
                PlateKind::Virtual => format!("{}-V{n}", exercise.code),
            };
            serial.parse::<Serial>().ok().filter(|s| !is_taken(s))
        });
        plate.serial = serial.ok_or(CannotPropose::Serials)?;
        plate.kind = aims.kind;
        plate.seed = Some(Seed::Hex(seed.to_string()));
        plate.shop_uncertainty = aims.shop_uncertainty;
    }
    Ok(made)
}

/// The shop's step for a quantity.
#[must_use]
pub const fn step_for(aims: &Aims, of: Quantity) -> Decimal {
    if of.is_angle() { aims.angle_step } else { aims.step }
}
