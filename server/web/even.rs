//! Answers that leave at even times, so that their time says nothing about what was computed for them.

use std::time::Duration;

use tokio::time::{Instant, sleep_until};

/// Answers leave this long after their request, or twice as long and so on: longer than nearly every grade takes.
const STEP: Duration = Duration::from_millis(50);

/// When an answer leaves that took so long to make.
fn leaves_after(took: Duration) -> Duration {
    let steps = took.as_nanos().div_ceil(STEP.as_nanos()).max(1);
    STEP.saturating_mul(u32::try_from(steps).unwrap_or(u32::MAX))
}

/// The answer, not before the next even time since it was begun.
pub(in crate::web) async fn evenly<T>(answer: impl Future<Output = T>) -> T {
    let begun = Instant::now();
    let answer = answer.await;
    sleep_until(begun + leaves_after(begun.elapsed())).await;
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quick_ones_and_slow_ones_leave_at_the_same_times() {
        for (took, leaves) in [
            (0, 50),
            (1, 50),
            (49_999, 50),
            (50_000, 50),
            (50_001, 100),
            (149_000, 150),
        ] {
            let took = Duration::from_micros(took);
            assert_eq!(leaves_after(took), Duration::from_millis(leaves), "{took:?}");
        }
    }

    #[tokio::test]
    async fn nothing_leaves_early() {
        let begun = Instant::now();
        assert_eq!(evenly(async { 7 }).await, 7);
        assert!(begun.elapsed() >= STEP);
        evenly(tokio::time::sleep(STEP * 5 / 4)).await;
        assert!(begun.elapsed() >= STEP * 3);
    }
}
