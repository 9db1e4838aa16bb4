//! Memory that requests hold, counted by person: one who takes all of a share is refused, and the others are not touched by it.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use crate::store::ids::PersonId;

/// So many bytes for one person at once, and so many for all.
#[derive(Debug, Clone)]
pub(super) struct Shares {
    of_one: usize,
    of_all: usize,
    taken: Arc<Mutex<Taken>>,
}

#[derive(Debug, Default)]
struct Taken {
    all: usize,
    of: BTreeMap<PersonId, usize>,
}

/// What one request holds, until it is dropped.
#[derive(Debug)]
pub(super) struct Share {
    shares: Shares,
    person: PersonId,
    bytes: usize,
}

impl Shares {
    pub(super) fn new(of_one: usize, of_all: usize) -> Self {
        let taken = Arc::default();
        Self { of_one, of_all, taken }
    }

    /// A share of a person, with nothing in it yet.
    pub(super) fn of(&self, person: PersonId) -> Share {
        let shares = self.clone();
        Share {
            shares,
            person,
            bytes: 0,
        }
    }
}

#[cfg(test)]
impl Shares {
    /// What all hold at the moment.
    pub(super) fn all(&self) -> usize {
        self.taken.lock().unwrap_or_else(PoisonError::into_inner).all
    }
}

impl Share {
    /// Takes so many bytes more, if they are there.
    pub(super) fn grow(&mut self, more: usize) -> bool {
        let mut taken = self.shares.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let all = taken.all.saturating_add(more);
        let of = taken.of.get(&self.person).copied().unwrap_or_default();
        let of = of.saturating_add(more);
        if all > self.shares.of_all || of > self.shares.of_one {
            return false;
        }
        taken.all = all;
        taken.of.insert(self.person, of);
        self.bytes += more;
        true
    }

    /// Gives so many bytes back.
    pub(super) fn shrink(&mut self, less: usize) {
        let less = less.min(self.bytes);
        self.bytes -= less;
        let mut taken = self.shares.taken.lock().unwrap_or_else(PoisonError::into_inner);
        taken.all = taken.all.saturating_sub(less);
        let left = taken.of.get(&self.person).copied().unwrap_or_default();
        let left = left.saturating_sub(less);
        if left == 0 {
            taken.of.remove(&self.person);
        } else {
            taken.of.insert(self.person, left);
        }
    }
}

impl Drop for Share {
    fn drop(&mut self) {
        self.shrink(self.bytes);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn so_much_is_for_one_and_so_much_for_all() {
        let shares = Shares::new(10, 25);
        let take = |person, bytes| {
            let mut share = shares.of(PersonId(person));
            share.grow(bytes).then_some(share)
        };
        let (first, second) = (take(1, 6).unwrap(), take(1, 4).unwrap());
        // One has all that one may have; another is not touched by it.
        assert!(take(1, 1).is_none());
        let mut other = take(2, 9).unwrap();
        assert!(other.grow(1) && !other.grow(1));
        assert!(take(3, 6).is_none());
        let third = take(3, 5).unwrap();
        assert!(take(4, 1).is_none());
        drop(first);
        assert!(take(1, 7).is_none());
        assert!(take(1, 6).is_some());
        other.shrink(4);
        assert!(take(4, 10).is_some() && take(4, 11).is_none());
        drop((second, other, third));
        let taken = shares.taken.lock().unwrap();
        assert_eq!((taken.all, taken.of.len()), (0, 0));
    }
}
