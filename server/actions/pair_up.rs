//! Puts the students of a class into pairs: by hand, at random, or in rotation.
//!
//! A pair is a group with dates. Who stays with the same people stays in the same pair; everybody else leaves the old
//! pair now and joins the new one now, so that a report belongs to those who were in the pair when it was handed in.

use std::collections::{BTreeMap, BTreeSet};

use rand::TryRng;
use rand::rngs::SysRng;
use thiserror::Error;

use super::Service;
use crate::cohort::pairing::{self, Odd, Worked};
use crate::store::ids::{ClassId, PairId, PersonId};
use crate::store::pairs::{self, Stay, Way};
use crate::store::when::When;
use crate::store::{StoreError, Tx, audit, classes, turns};
use crate::units::hex;

/// Longest name of a pair, in characters.
pub const LONGEST_NAME: usize = 40;

/// Why pairs were not made.
#[derive(Debug, Error)]
pub enum PairUpError {
    /// Fewer than two people.
    #[error("there are fewer than two students to put into pairs")]
    TooFew,
    /// A name of a pair is too long.
    #[error("the name `{0}` of a pair is longer than {LONGEST_NAME} characters; shorten it")]
    Name(String),
    /// No randomness from the system.
    #[error("the system gave no random numbers: {0}")]
    Random(#[from] rand::rngs::SysError),
    /// What was written down has no form (never so for ours).
    #[error("the groups could not be written down: {0}")]
    Groups(#[from] serde_json::Error),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// How pairs are to be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// At random.
    Random,
    /// So that nobody meets the same partner twice before everyone else.
    Rotated,
}

/// Makes pairs of all students of a class but those who are absent; these are in no pair from now on. Returns how many
/// pairs there are.
///
/// # Errors
/// When there are fewer than two, or the database cannot be written.
pub async fn make(
    service: &Service,
    class: ClassId,
    how: How,
    odd: Odd,
    absent: &BTreeSet<PersonId>,
    by: PersonId,
) -> Result<usize, PairUpError> {
    let now = service.clock.now();
    let members = classes::members(&service.store, class, now).await?;
    let mut here: Vec<i64> = members
        .iter()
        .filter(|m| m.left_at.is_none() && m.role == crate::store::people::Role::Student && !absent.contains(&m.person))
        .map(|m| m.person.0)
        .collect();
    // In the order in which they were added: the circle of the rotation must stay the same from week to week.
    here.sort_unstable();
    if here.len() < 2 {
        return Err(PairUpError::TooFew);
    }
    let mut tx = service.store.change().await?;
    let stays = pairs::stays(&mut tx, class).await?;
    let (groups, way, seed) = match how {
        How::Random => {
            let mut seed = [0_u8; 16];
            SysRng.try_fill_bytes(&mut seed)?;
            (pairing::at_random(&here, odd, seed), Way::Random, Some(hex(&seed)))
        }
        How::Rotated => (pairing::rotated(&here, &worked(&stays), odd), Way::Rotated, None),
    };
    let wanted: Vec<Group> = groups
        .iter()
        .map(|people| Group {
            name: None,
            people: people.iter().map(|p| PersonId(*p)).collect(),
        })
        .collect();
    for person in absent {
        pairs::leave(&mut tx, class, *person, now).await?;
    }
    settle(&mut tx, class, &wanted, now).await?;
    let text = serde_json::to_string(&groups)?;
    pairs::note_pairing(&mut tx, class, by, way, seed.as_deref(), &text, now).await?;
    write_trail(&mut tx, class, by, way, groups.len(), now).await?;
    tx.commit().await?;
    Ok(groups.len())
}

/// Puts people where an instructor has written: person to name of a pair; an empty name is no pair. People who are not
/// among them stay where they are.
///
/// # Errors
/// When a name is too long, or the database cannot be written.
pub async fn by_hand(
    service: &Service,
    class: ClassId,
    labels: &BTreeMap<PersonId, String>,
    by: PersonId,
) -> Result<(), PairUpError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    by_label(&mut tx, class, labels, by, now).await?;
    tx.commit().await?;
    Ok(())
}

pub(super) async fn by_label(
    tx: &mut Tx,
    class: ClassId,
    labels: &BTreeMap<PersonId, String>,
    by: PersonId,
    now: When,
) -> Result<(), PairUpError> {
    let mut groups: BTreeMap<String, BTreeSet<PersonId>> = BTreeMap::new();
    let current = current(&pairs::stays(tx, class).await?);
    let names: BTreeMap<PairId, String> = pairs::names(tx, class).await?.into_iter().collect();
    for (person, pair) in &current {
        if !labels.contains_key(person)
            && let Some(name) = names.get(pair)
        {
            groups.entry(name.clone()).or_default().insert(*person);
        }
    }
    for (person, label) in labels {
        let label = crate::report::roster::clean(label);
        if label.chars().count() > LONGEST_NAME {
            return Err(PairUpError::Name(label.chars().take(60).collect()));
        }
        if label.is_empty() {
            pairs::leave(tx, class, *person, now).await?;
            continue;
        }
        // `a` and `A` are one pair.
        let known = names
            .values()
            .chain(groups.keys())
            .find(|n| n.to_lowercase() == label.to_lowercase());
        let name = known.cloned().unwrap_or(label);
        groups.entry(name).or_default().insert(*person);
    }
    let wanted: Vec<Group> = groups
        .into_iter()
        .map(|(name, people)| Group {
            name: Some(name),
            people,
        })
        .collect();
    settle(tx, class, &wanted, now).await?;
    let text: Vec<Vec<i64>> = wanted.iter().map(|g| g.people.iter().map(|p| p.0).collect()).collect();
    let text = serde_json::to_string(&text)?;
    pairs::note_pairing(tx, class, by, Way::Hand, None, &text, now).await?;
    write_trail(tx, class, by, Way::Hand, wanted.len(), now).await?;
    Ok(())
}

async fn write_trail(
    tx: &mut Tx,
    class: ClassId,
    by: PersonId,
    way: Way,
    count: usize,
    at: When,
) -> Result<(), StoreError> {
    // Whoever is in another pair now cannot keep the turns of the one before.
    let turns = turns::clear_of_nobody(tx, class, at).await?;
    let way = match way {
        Way::Hand => "hand",
        Way::Random => "random",
        Way::Rotated => "rotated",
    };
    let entry = audit::Entry {
        at,
        person: Some(by),
        what: "make-pairs",
        about: ("class", class.0),
        detail: serde_json::json!({ "way": way, "pairs": count, "turns_taken_back": turns }),
    };
    audit::write(tx, &entry).await
}

/// A pair that is wanted; without a name it is the one in which these people are, or a new one.
#[derive(Debug)]
struct Group {
    name: Option<String>,
    people: BTreeSet<PersonId>,
}

fn current(stays: &[Stay]) -> BTreeMap<PersonId, PairId> {
    let lasting = stays.iter().filter(|s| s.to_at.is_none());
    lasting.map(|s| (s.person, s.pair)).collect()
}

async fn settle(tx: &mut Tx, class: ClassId, wanted: &[Group], now: When) -> Result<(), PairUpError> {
    let current = current(&pairs::stays(tx, class).await?);
    let mut names: BTreeMap<String, PairId> = pairs::names(tx, class)
        .await?
        .into_iter()
        .map(|(id, n)| (n, id))
        .collect();
    for group in wanted {
        let together = the_same(&current, &group.people);
        let pair = match (&group.name, together) {
            (None, Some(pair)) => pair,
            (name, _) => {
                let name = name.clone().unwrap_or_else(|| free_name(&names));
                match names.get(&name) {
                    Some(pair) => *pair,
                    None => {
                        let pair = pairs::add(tx, class, &name).await?;
                        names.insert(name, pair);
                        pair
                    }
                }
            }
        };
        for person in &group.people {
            if current.get(person) != Some(&pair) {
                pairs::leave(tx, class, *person, now).await?;
                pairs::join(tx, pair, *person, now).await?;
            }
        }
    }
    Ok(())
}

/// The pair in which exactly these people are now.
fn the_same(current: &BTreeMap<PersonId, PairId>, people: &BTreeSet<PersonId>) -> Option<PairId> {
    let pair = *current.get(people.first()?)?;
    let there: BTreeSet<PersonId> = current
        .iter()
        .filter(|(_, p)| **p == pair)
        .map(|(person, _)| *person)
        .collect();
    (there == *people).then_some(pair)
}

/// A, B, .. Z, AA, AB, ..: the first that the class never had.
fn free_name(names: &BTreeMap<String, PairId>) -> String {
    let letters = |mut number: usize| {
        let mut name = String::new();
        loop {
            let letter = u8::try_from(number % 26).unwrap_or(0);
            name.insert(0, char::from(b'A' + letter));
            if number < 26 {
                return name;
            }
            number = number / 26 - 1;
        }
    };
    let mut number = 0;
    loop {
        let name = letters(number);
        if !names.contains_key(&name) {
            return name;
        }
        number += 1;
    }
}

/// Who has worked with whom: once for every pair in which both were at the same time.
fn worked(stays: &[Stay]) -> Worked {
    let mut met: BTreeSet<(PairId, PersonId, PersonId)> = BTreeSet::new();
    for (at, one) in stays.iter().enumerate() {
        for other in &stays[at + 1..] {
            let together = |s: &Stay, o: &Stay| s.to_at.is_none_or(|to| to > o.from_at);
            if one.pair == other.pair && one.person != other.person && together(one, other) && together(other, one) {
                met.insert((one.pair, one.person.min(other.person), one.person.max(other.person)));
            }
        }
    }
    let mut worked = Worked::new();
    for (_, one, other) in met {
        pairing::note(&mut worked, &[one.0, other.0]);
    }
    worked
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_pairs_go_on_after_z() {
        let mut names = BTreeMap::new();
        for expected in (b'A'..=b'Z')
            .map(|b| char::from(b).to_string())
            .chain(["AA".to_owned(), "AB".to_owned()])
        {
            let name = free_name(&names);
            assert_eq!(name, expected);
            names.insert(name, PairId(1));
        }
    }

    #[test]
    fn who_has_worked_with_whom() {
        let stay = |pair, person, from_at: i64, to_at: Option<i64>| Stay {
            pair: PairId(pair),
            person: PersonId(person),
            from_at: from_at.into(),
            to_at: to_at.map(When::from),
        };
        // 1 and 2 in a pair, then 2 left and 3 came: 2 and 3 never met; later 1 and 2 in another pair.
        let stays = [
            stay(1, 1, 0, Some(30)),
            stay(1, 2, 0, Some(10)),
            stay(1, 3, 10, Some(30)),
            stay(2, 1, 30, None),
            stay(2, 2, 30, None),
        ];
        let worked: Vec<((i64, i64), u32)> = worked(&stays).into_iter().collect();
        assert_eq!(worked, [((1, 2), 2), ((1, 3), 1)]);
    }
}
