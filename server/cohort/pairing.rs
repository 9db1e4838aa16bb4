//! Pairs of a class: at random, and in rotation.
//!
//! The rotation is the circle method of tournaments (each of n people meets every other once in n - 1 rounds; known since
//! the 19th century, common practice): one person stays, the others move on by one place each round. Of its rounds the
//! one in which the fewest meet again is taken, so that nobody works with the same partner twice before everyone else as
//! long as the class stays the same, and seldom where people came and went in between.

use std::collections::BTreeMap;

use crate::procedure::sampler::Sampler;
use crate::units::hex;

/// A person, by row.
pub type Person = i64;

/// How often two people have worked together; the smaller row first.
pub type Worked = BTreeMap<(Person, Person), u32>;

/// What becomes of the one who is left where the number is odd.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Odd {
    /// Joins a pair.
    Three,
    /// Works alone.
    Alone,
}

/// Notes that the people of a group have worked together.
pub fn note(worked: &mut Worked, group: &[Person]) {
    for (at, one) in group.iter().enumerate() {
        for other in &group[at + 1..] {
            *worked.entry(key(*one, *other)).or_default() += 1;
        }
    }
}

fn key(one: Person, other: Person) -> (Person, Person) {
    (one.min(other), one.max(other))
}

fn times(worked: &Worked, one: Person, other: Person) -> u32 {
    worked.get(&key(one, other)).copied().unwrap_or(0)
}

/// Groups of two at random, one of three or one alone where the number is odd. The same seed gives the same groups on
/// every machine.
#[must_use]
pub fn at_random(people: &[Person], odd: Odd, seed: [u8; 16]) -> Vec<Vec<Person>> {
    let (low, high) = seed.split_at(8);
    let number = low.iter().rev().fold(0_u64, |n, b| (n << 8) | u64::from(*b));
    let mut sampler = Sampler::new(number, &format!("pairs {}", hex(high)));
    let mut order = people.to_vec();
    // Fisher and Yates, from the end.
    for last in (1..order.len()).rev() {
        order.swap(last, sampler.below(last + 1));
    }
    let mut groups: Vec<Vec<Person>> = order.chunks(2).map(<[Person]>::to_vec).collect();
    if odd == Odd::Three && groups.len() > 1 && groups.last().is_some_and(|g| g.len() == 1) {
        let left = groups.pop().unwrap_or_default();
        if let Some(last) = groups.last_mut() {
            last.extend(left);
        }
    }
    groups
}

/// The next round: of all rounds of the circle the first in which the fewest have met before. Whoever is left over where
/// the number is odd joins the two whom that person knows least, or works alone.
#[must_use]
pub fn rotated(people: &[Person], worked: &Worked, odd: Odd) -> Vec<Vec<Person>> {
    let rounds = (people.len() + people.len() % 2).saturating_sub(1).max(1);
    let cost = |groups: &[Vec<Person>]| -> u64 { groups.iter().map(|g| met(worked, g)).sum() };
    (0..rounds)
        .map(|round| with_the_odd_one(circle(people, round), worked, odd))
        .min_by_key(|groups| cost(groups))
        .unwrap_or_default()
}

/// How much the people of a group have met before: squares, so that a third time costs more than two second times.
fn met(worked: &Worked, group: &[Person]) -> u64 {
    let pairs = group.iter().enumerate().flat_map(|(at, one)| {
        group[at + 1..]
            .iter()
            .map(move |other| u64::from(times(worked, *one, *other)))
    });
    pairs.map(|n| n * n).sum()
}

/// One round: the first person stays, the others sit in a circle; across it they meet. With an odd number one seat is
/// empty, and who sits across it is alone.
fn circle(people: &[Person], round: usize) -> Vec<Vec<Person>> {
    let mut seats: Vec<Option<Person>> = people.iter().copied().map(Some).collect();
    if seats.len() % 2 == 1 {
        seats.push(None);
    }
    let Some((first, others)) = seats.split_first() else {
        return Vec::new();
    };
    let mut others = others.to_vec();
    let by = round % others.len().max(1);
    others.rotate_right(by);
    let all: Vec<Option<Person>> = std::iter::once(*first).chain(others).collect();
    let across = all.iter().zip(all.iter().rev()).take(all.len() / 2);
    across
        .map(|(one, other)| one.iter().chain(other).copied().collect())
        .collect()
}

fn with_the_odd_one(mut groups: Vec<Vec<Person>>, worked: &Worked, odd: Odd) -> Vec<Vec<Person>> {
    let alone = groups.iter().position(|g| g.len() == 1);
    if let (Odd::Three, Some(at)) = (odd, alone)
        && groups.len() > 1
    {
        let left = groups.remove(at);
        let known = |group: &[Person]| -> u64 {
            let with = |p: &Person| left.iter().map(|l| u64::from(times(worked, *l, *p))).sum::<u64>();
            group.iter().map(with).sum()
        };
        if let Some(host) = groups.iter_mut().min_by_key(|g| known(g)) {
            host.extend(left);
        }
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;

    fn class(of: i64) -> Vec<Person> {
        (1..=of).collect()
    }

    fn flat(groups: &[Vec<Person>]) -> Vec<Person> {
        let mut all: Vec<Person> = groups.concat();
        all.sort_unstable();
        all
    }

    #[test]
    fn nobody_meets_twice_before_everyone_else() {
        for size in [2, 4, 6, 14, 40] {
            let people = class(size);
            let mut worked = Worked::new();
            for round in 1..size {
                let groups = rotated(&people, &worked, Odd::Three);
                assert_eq!(flat(&groups), people);
                groups.iter().for_each(|g| note(&mut worked, g));
                assert!(
                    worked.values().all(|n| *n == 1),
                    "{size} people, round {round}: {worked:?}"
                );
            }
            // All have met all: n (n - 1) / 2 meetings.
            assert_eq!(i64::try_from(worked.len()).unwrap(), size * (size - 1) / 2);
            // And then it begins anew.
            rotated(&people, &worked, Odd::Three)
                .iter()
                .for_each(|g| note(&mut worked, g));
            assert!(worked.values().all(|n| *n <= 2));
        }
    }

    #[test]
    fn with_an_odd_number_everyone_is_alone_once_in_a_turn() {
        let people = class(7);
        let mut worked = Worked::new();
        let mut alone = Vec::new();
        for _ in 0..7 {
            let groups = rotated(&people, &worked, Odd::Alone);
            assert_eq!(flat(&groups), people);
            alone.extend(groups.iter().filter(|g| g.len() == 1).flatten().copied());
            groups.iter().for_each(|g| note(&mut worked, g));
            assert!(worked.values().all(|n| *n == 1));
        }
        alone.sort_unstable();
        assert_eq!(alone, people);
        let three = rotated(&people, &Worked::new(), Odd::Three);
        assert_eq!(three.iter().map(Vec::len).max(), Some(3));
        assert!(three.iter().all(|g| g.len() >= 2));
    }

    #[test]
    fn people_who_come_and_go_seldom_meet_again() {
        let mut worked = Worked::new();
        for week in 0..10 {
            // One is absent each week, and a newcomer from the fifth on.
            let mut people = class(if week < 5 { 12 } else { 13 });
            people.remove(usize::try_from(week).unwrap());
            rotated(&people, &worked, Odd::Three)
                .iter()
                .for_each(|g| note(&mut worked, g));
        }
        assert!(worked.values().all(|n| *n <= 2), "{worked:?}");
    }

    #[test]
    fn random_pairs_are_the_same_for_the_same_seed() {
        let people = class(7);
        let groups = at_random(&people, Odd::Three, [7; 16]);
        assert_eq!(groups, at_random(&people, Odd::Three, [7; 16]));
        assert_ne!(groups, at_random(&people, Odd::Three, [8; 16]));
        assert_eq!(flat(&groups), people);
        let sizes = |groups: &[Vec<Person>]| groups.iter().map(Vec::len).collect::<Vec<_>>();
        assert_eq!(sizes(&groups), [2, 2, 3]);
        assert_eq!(sizes(&at_random(&people, Odd::Alone, [7; 16])), [2, 2, 2, 1]);
        assert_eq!(sizes(&at_random(&class(1), Odd::Three, [7; 16])), [1]);
        assert!(at_random(&[], Odd::Three, [7; 16]).is_empty() && rotated(&[], &Worked::new(), Odd::Three).is_empty());
    }
}
