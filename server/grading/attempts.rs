//! Which attempt counts.

use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};

/// The rule of an assignment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Counting {
    /// The best attempt.
    Best,
    /// The last attempt.
    Last,
    /// The mean of the first n attempts; of those there are, where there are fewer.
    Mean,
}

/// The mark that counts of the marks of all attempts in order; attempts without a mark do not count. `first` is the
/// n of [`Counting::Mean`].
#[must_use]
pub fn counting_mark(rule: Counting, first: usize, marks: &[Option<Decimal>]) -> Option<Decimal> {
    let mut known = marks.iter().copied().flatten();
    match rule {
        Counting::Best => known.max(),
        Counting::Last => known.next_back(),
        Counting::Mean => {
            let taken: Vec<Decimal> = known.take(first.max(1)).collect();
            let count = Decimal::from(taken.len());
            let mean = taken.iter().sum::<Decimal>().checked_div(count)?;
            Some(mean.round_dp_with_strategy(1, RoundingStrategy::MidpointAwayFromZero))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn best_last_and_mean() {
        let marks = [
            Some(Decimal::from(61)),
            None,
            Some(Decimal::from(84)),
            Some(Decimal::from(70)),
        ];
        assert_eq!(counting_mark(Counting::Best, 0, &marks), Some(Decimal::from(84)));
        assert_eq!(counting_mark(Counting::Last, 0, &marks), Some(Decimal::from(70)));
        assert_eq!(counting_mark(Counting::Mean, 2, &marks), Some(Decimal::new(725, 1)));
        assert_eq!(counting_mark(Counting::Mean, 9, &[]), None);
    }
}
