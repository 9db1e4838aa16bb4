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

    /// Whatever takes its time within a step leaves at the end of that step: the best of some tries, for a machine that is busy.
    /// A pause of one step beside the work would leave at all times.
    #[tokio::test]
    async fn answers_leave_at_the_end_of_a_step() {
        for (works, leaves) in [(0, 50), (12, 50), (35, 50), (60, 100), (88, 100), (115, 150)] {
            let (works, leaves) = (Duration::from_millis(works), Duration::from_millis(leaves));
            let mut least = Duration::MAX;
            for _ in 0..20 {
                let begun = Instant::now();
                evenly(tokio::time::sleep(works)).await;
                let took = begun.elapsed();
                assert!(took >= STEP);
                least = least.min(took);
                if least < leaves + STEP / 5 {
                    break;
                }
            }
            assert!(least >= leaves && least < leaves + STEP / 5, "{works:?}: {least:?}");
        }
    }
}
