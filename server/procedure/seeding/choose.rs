//! Which characteristics of a copy are off: each about as often as any other, so that the print does not tell.

use super::room::Place;
use crate::exercise::model::Exercise;
use crate::procedure::sampler::Sampler;

/// How often each characteristic was given each place so far.
#[derive(Debug, Clone)]
pub(super) struct Tally {
    pub(super) outside: Vec<usize>,
    pub(super) close: Vec<usize>,
}

impl Tally {
    pub(super) fn new(count: usize) -> Self {
        Self {
            outside: vec![0; count],
            close: vec![0; count],
        }
    }

    pub(super) fn add(&mut self, wanted: &[Option<Place>]) {
        for (i, place) in wanted.iter().enumerate() {
            let Some(place) = place else { continue };
            if let Some(n) = self.outside.get_mut(i).filter(|_| place.is_nonconforming()) {
                *n += 1;
            }
            if let Some(n) = self.close.get_mut(i).filter(|_| place.is_close()) {
                *n += 1;
            }
        }
    }
}

/// What can be done with a characteristic.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ability {
    /// It can be put anywhere.
    Free,
    /// The shop's steps are too coarse to come close to its limits: it is kept well inside.
    Coarse,
    /// Nothing that can be planted moves it: it is what the print makes of it.
    Fixed(Option<Place>),
}

/// How many of what a copy gets.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wish {
    pub(super) nonconforming: usize,
    pub(super) close: usize,
    /// How far the order of "least often so far" may be left, which grows with the tries.
    pub(super) looseness: usize,
}

/// Chooses places for all characteristics that can have one; `None` when the wish cannot be met.
pub(super) fn choose(
    exercise: &Exercise,
    able: &[Ability],
    tally: &Tally,
    wish: Wish,
    sampler: &mut Sampler,
) -> Option<Vec<Option<Place>>> {
    let count = able.len();
    let all: Vec<usize> = (0..count).filter(|i| able.get(*i) == Some(&Ability::Free)).collect();
    let fixed = |is: fn(Place) -> bool| {
        let fixed = able
            .iter()
            .filter(|a| matches!(a, Ability::Fixed(Some(place)) if is(*place)));
        fixed.count()
    };
    let wish = Wish {
        nonconforming: wish.nonconforming.checked_sub(fixed(Place::is_nonconforming))?,
        close: wish.close.checked_sub(fixed(Place::is_close))?,
        ..wish
    };
    let outside = outside(
        exercise,
        &order(&all, &tally.outside, wish.looseness, sampler),
        wish.nonconforming,
    )?;
    let rest: Vec<usize> = all.iter().copied().filter(|i| !outside.contains(i)).collect();
    // Of the close ones half lie outside, as far as there are as many; the odd one on either side.
    let odd = wish.close % 2 * sampler.below(2);
    let most = outside.len().min(wish.close);
    let close_outside = (wish.close / 2 + odd)
        .min(most)
        .max(wish.close.saturating_sub(rest.len()));
    if close_outside > most || wish.close - close_outside > rest.len() {
        return None;
    }
    let near_out: Vec<usize> = order(&outside, &tally.close, wish.looseness, sampler)
        .into_iter()
        .take(close_outside)
        .collect();
    let near_in: Vec<usize> = order(&rest, &tally.close, wish.looseness, sampler)
        .into_iter()
        .take(wish.close - close_outside)
        .collect();
    let place = |i: usize| {
        match able.get(i)? {
            Ability::Free => {}
            Ability::Coarse => return Some(Place::Inside),
            Ability::Fixed(_) => return None,
        }
        Some(
            match (outside.contains(&i), near_out.contains(&i), near_in.contains(&i)) {
                (true, true, _) => Place::CloseOutside,
                (true, false, _) => Place::Outside,
                (false, _, true) => Place::CloseInside,
                (false, _, false) => Place::Inside,
            },
        )
    };
    Some((0..count).map(place).collect())
}

/// Least often so far first, ties at random.
fn order(of: &[usize], so_far: &[usize], looseness: usize, sampler: &mut Sampler) -> Vec<usize> {
    let mut keyed: Vec<(usize, usize, usize)> = of
        .iter()
        .map(|i| {
            let often = so_far.get(*i).copied().unwrap_or(0) + sampler.below(1 + looseness);
            (often, sampler.below(1 << 30), *i)
        })
        .collect();
    keyed.sort_unstable();
    keyed.into_iter().map(|(_, _, i)| i).collect()
}

/// Takes from the front as many as are wanted. A size out of limits makes a position at maximum material nonconforming,
/// so that the two go together.
fn outside(exercise: &Exercise, order: &[usize], wanted: usize) -> Option<Vec<usize>> {
    let mut taken: Vec<usize> = Vec::new();
    for i in order {
        let with_it = exercise
            .characteristics
            .iter()
            .enumerate()
            .filter(|(_, c)| c.maximum_material);
        let mut more: Vec<usize> = with_it
            .filter(|(_, c)| exercise.size_of(c).is_some_and(|(size, _)| size == *i))
            .map(|(position, _)| position)
            .chain([*i])
            .filter(|n| !taken.contains(n))
            .collect();
        more.dedup();
        if taken.len() + more.len() <= wanted {
            taken.append(&mut more);
        }
        if taken.len() == wanted {
            return Some(taken);
        }
    }
    (taken.len() == wanted).then_some(taken)
}
