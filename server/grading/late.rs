//! The late rule of an assignment.

use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};

use super::grade::{Line, Marks};

/// What lateness costs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LateRule {
    /// Minutes after the due time that cost nothing.
    pub grace_minutes: u32,
    /// Per cent of the mark for each day begun.
    pub percent_per_day: Decimal,
    /// Per cent of the mark that lateness cannot take.
    pub floor_percent: Decimal,
}

impl Default for LateRule {
    /// Lateness is noted and costs nothing.
    fn default() -> Self {
        Self {
            grace_minutes: 0,
            percent_per_day: Decimal::ZERO,
            floor_percent: Decimal::ZERO,
        }
    }
}

const MINUTES_PER_DAY: u64 = 24 * 60;

impl LateRule {
    /// Days begun after the grace time, for a report this many minutes after the due time.
    #[must_use]
    pub fn days(&self, minutes_late: u64) -> u64 {
        let after = minutes_late.saturating_sub(u64::from(self.grace_minutes));
        after.div_ceil(MINUTES_PER_DAY)
    }

    /// Takes the cost of lateness off a mark and says so in its lines.
    pub fn apply(&self, marks: &mut Marks, minutes_late: u64) {
        let days = self.days(minutes_late);
        let (Some(mark), true) = (marks.r#final, days > 0) else {
            return;
        };
        let per_cent = (self.percent_per_day * Decimal::from(days)).min(Decimal::ONE_HUNDRED - self.floor_percent);
        let kept = mark * (Decimal::ONE_HUNDRED - per_cent.max(Decimal::ZERO)) / Decimal::ONE_HUNDRED;
        let kept = kept.round_dp_with_strategy(1, RoundingStrategy::MidpointAwayFromZero);
        let days_word = if days == 1 { "day" } else { "days" };
        let text = format!("Late, {days} {days_word} begun: {} per cent", per_cent.normalize());
        marks.lines.push(Line {
            text,
            points: kept - mark,
        });
        marks.r#final = Some(kept);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lateness_costs_by_days_begun_down_to_the_floor() {
        let rule = LateRule {
            grace_minutes: 15,
            percent_per_day: Decimal::TEN,
            floor_percent: Decimal::from(50),
        };
        // Minutes late, mark of 80 after: by hand.
        for (minutes, after) in [
            (0, 800),
            (15, 800),
            (16, 720),
            (15 + 1440, 720),
            (16 + 1440, 640),
            (20_000, 400),
        ] {
            let mark = Some(Decimal::from(80));
            let mut marks = Marks {
                as_reported: mark,
                with_follow_through: mark,
                r#final: mark,
                lines: Vec::new(),
            };
            rule.apply(&mut marks, minutes);
            assert_eq!(marks.r#final, Some(Decimal::new(after, 1)), "{minutes}");
            let taken: Decimal = marks.lines.iter().map(|l| l.points).sum();
            assert_eq!(Some(Decimal::from(80) + taken), marks.r#final);
        }
    }
}
