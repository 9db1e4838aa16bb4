//! Machine time: every pair its turns, no plate and no pair in two places at once.
//!
//! Turns are all of one length. At each session the plate with the most turns still to come goes first; for turns of
//! one length that makes the shortest rota there is (the longest-remaining-first rule for unit jobs on parallel
//! machines, McNaughton 1959 for the bound, from memory, unconfirmed: the larger of all turns over machines and the
//! turns of the busiest plate).

use std::collections::BTreeMap;

/// A session of a machine that may be given to a pair. Times in milliseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Session {
    /// Beginning.
    pub from: i64,
    /// End.
    pub to: i64,
    /// Machine, by row.
    pub machine: i64,
}

/// What a pair needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Need {
    /// Pair, by row.
    pub pair: i64,
    /// Plate that it measures, by row.
    pub plate: i64,
    /// How many turns.
    pub turns: u32,
}

/// A turn that is given: by this rota, or by another before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Turn {
    /// When and where.
    pub session: Session,
    /// Who.
    pub pair: i64,
    /// With which plate.
    pub plate: i64,
}

/// A rota, and what did not fit into it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rota {
    /// The turns in the order of time.
    pub turns: Vec<Turn>,
    /// Pairs with the number of turns that did not fit.
    pub left: Vec<(i64, u32)>,
    /// Sessions that must be added on each machine so that all fit; 0 where all do, none where no number would do.
    pub to_add: Option<u32>,
    /// Plates that more turns want than there are sessions one after another, with the number of those turns.
    pub crowded: Vec<(i64, u32)>,
}

/// Whether two sessions have time in common.
#[must_use]
pub const fn overlap(one: &Session, other: &Session) -> bool {
    one.from < other.to && other.from < one.to
}

/// Makes a rota. `taken` are turns that stand already.
#[must_use]
pub fn rota(needs: &[Need], sessions: &[Session], taken: &[Turn]) -> Rota {
    let mut sessions = sessions.to_vec();
    sessions.sort_unstable();
    let (turns, left) = give(needs, &sessions, taken);
    let mut wanted: BTreeMap<i64, u32> = BTreeMap::new();
    for need in needs {
        *wanted.entry(need.plate).or_default() += need.turns;
    }
    let mut beginnings: Vec<i64> = sessions.iter().map(|s| s.from).collect();
    beginnings.dedup();
    let rows = u32::try_from(beginnings.len()).unwrap_or(u32::MAX);
    let to_add = if left.is_empty() {
        Some(0)
    } else {
        missing(needs, &sessions, taken)
    };
    Rota {
        turns,
        left,
        to_add,
        crowded: wanted.into_iter().filter(|(_, turns)| *turns > rows).collect(),
    }
}

fn give(needs: &[Need], sessions: &[Session], taken: &[Turn]) -> (Vec<Turn>, Vec<(i64, u32)>) {
    let mut rest: Vec<Need> = needs.to_vec();
    let mut turns: Vec<Turn> = Vec::new();
    for session in sessions {
        let busy: Vec<&Turn> = taken
            .iter()
            .chain(&turns)
            .filter(|t| overlap(&t.session, session))
            .collect();
        if busy.iter().any(|t| t.session.machine == session.machine) {
            continue;
        }
        let free = |need: &Need| need.turns > 0 && !busy.iter().any(|t| t.plate == need.plate || t.pair == need.pair);
        let of_plate = |plate: i64| rest.iter().filter(|n| n.plate == plate).map(|n| n.turns).sum::<u32>();
        let last = |pair: i64| turns.iter().filter(|t| t.pair == pair).map(|t| t.session.to).max();
        let next = (0..rest.len()).filter(|at| free(&rest[*at])).min_by_key(|at| {
            let need = rest[*at];
            (
                std::cmp::Reverse((of_plate(need.plate), need.turns)),
                last(need.pair),
                *at,
            )
        });
        if let Some(at) = next {
            rest[at].turns -= 1;
            turns.push(Turn {
                session: *session,
                pair: rest[at].pair,
                plate: rest[at].plate,
            });
        }
    }
    let left = rest
        .into_iter()
        .filter(|n| n.turns > 0)
        .map(|n| (n.pair, n.turns))
        .collect();
    (turns, left)
}

/// How many sessions must be added on each machine after the last one, so that all fit.
fn missing(needs: &[Need], sessions: &[Session], taken: &[Turn]) -> Option<u32> {
    let last = sessions.iter().max_by_key(|s| s.to)?;
    let length = last.to - last.from;
    let mut machines: Vec<i64> = sessions.iter().map(|s| s.machine).collect();
    machines.sort_unstable();
    machines.dedup();
    let wanted: u32 = needs.iter().map(|n| n.turns).sum();
    let mut more = sessions.to_vec();
    // After the last of all, so that nothing that is taken is in the way.
    let mut from = taken.iter().map(|t| t.session.to).chain([last.to]).max()?;
    for added in 1..=wanted {
        more.extend(machines.iter().map(|machine| Session {
            from,
            to: from + length,
            machine: *machine,
        }));
        from += length;
        if give(needs, &more, taken).1.is_empty() {
            return Some(added);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR: i64 = 3_600_000;

    fn sessions(rows: i64, machines: i64) -> Vec<Session> {
        (0..rows)
            .flat_map(|row| {
                (1..=machines).map(move |machine| Session {
                    from: row * HOUR,
                    to: (row + 1) * HOUR,
                    machine,
                })
            })
            .collect()
    }

    fn needs(pairs: i64, plates: i64, turns: u32) -> Vec<Need> {
        (0..pairs)
            .map(|pair| Need {
                pair,
                plate: pair % plates,
                turns,
            })
            .collect()
    }

    fn holds(rota: &Rota, needs: &[Need]) {
        for (at, one) in rota.turns.iter().enumerate() {
            for other in &rota.turns[at + 1..] {
                if overlap(&one.session, &other.session) {
                    assert!(
                        one.session.machine != other.session.machine
                            && one.pair != other.pair
                            && one.plate != other.plate,
                        "{one:?} {other:?}"
                    );
                }
            }
        }
        for need in needs {
            let given = rota.turns.iter().filter(|t| t.pair == need.pair).count();
            let left: u32 = rota.left.iter().filter(|l| l.0 == need.pair).map(|l| l.1).sum();
            assert_eq!(u32::try_from(given).unwrap() + left, need.turns);
        }
    }

    #[test]
    fn twenty_pairs_two_machines_one_evening() {
        // 20 pairs, 7 plates shared in turns, 2 machines: ten sessions are just enough.
        let needs = needs(20, 7, 1);
        let full = rota(&needs, &sessions(10, 2), &[]);
        holds(&full, &needs);
        assert_eq!((full.left.len(), full.to_add), (0, Some(0)));
        // Nine are two turns short: one more on each machine.
        let short = rota(&needs, &sessions(9, 2), &[]);
        holds(&short, &needs);
        assert_eq!(short.left.iter().map(|l| l.1).sum::<u32>(), 2);
        assert_eq!(short.to_add, Some(1));
    }

    #[test]
    fn one_plate_is_never_in_two_places() {
        // Two machines do not help four pairs with one plate.
        let needs = needs(4, 1, 1);
        let rota = rota(&needs, &sessions(3, 2), &[]);
        holds(&rota, &needs);
        assert_eq!(rota.left.len(), 1);
        assert_eq!(rota.crowded, [(0, 4)]);
        assert_eq!(rota.to_add, Some(1));
    }

    #[test]
    fn the_busiest_plate_goes_first() {
        // Plate 9 has three turns, so all of the three rows are needed for it.
        let mut needs = needs(3, 3, 1);
        needs.extend((10..13).map(|pair| Need {
            pair,
            plate: 9,
            turns: 1,
        }));
        let rota = rota(&needs, &sessions(3, 2), &[]);
        holds(&rota, &needs);
        assert!(rota.left.is_empty(), "{rota:?}");
    }

    #[test]
    fn what_is_taken_stays_and_turns_are_spread() {
        let taken = [Turn {
            session: Session {
                from: 0,
                to: HOUR,
                machine: 1,
            },
            pair: 50,
            plate: 0,
        }];
        let needs = needs(2, 2, 2);
        let rota = rota(&needs, &sessions(3, 2), &taken);
        holds(&rota, &needs);
        assert!(rota.left.is_empty());
        // At the first hour machine 1 is taken, and plate 0 with it.
        let first: Vec<&Turn> = rota.turns.iter().filter(|t| t.session.from == 0).collect();
        assert!(
            first.len() == 1 && first[0].session.machine == 2 && first[0].plate == 1,
            "{first:?}"
        );
        assert_eq!(super::rota(&needs, &[], &[]).to_add, None);
    }
}
