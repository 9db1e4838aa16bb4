//! What time it is. The one clock of the house: everything below is told the time.
//!
//! Tests put it forward, and the demo fills its school at the times of its story.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

use jiff::Timestamp;

use crate::store::when::When;

/// The machine's clock, by so much forward or back.
#[derive(Debug, Clone, Default)]
pub struct Clock {
    forward_ms: Arc<AtomicI64>,
}

impl Clock {
    /// The time now, to the millisecond.
    #[must_use]
    pub fn now(&self) -> When {
        When::from(
            Timestamp::now()
                .as_millisecond()
                .saturating_add(self.forward_ms.load(Ordering::Relaxed)),
        )
    }

    /// Turns the clock to a time, from which it goes on.
    pub fn turn_to(&self, time: When) {
        let by = time.millisecond().saturating_sub(Timestamp::now().as_millisecond());
        self.forward_ms.store(by, Ordering::Relaxed);
    }

    /// Puts the clock back, as somebody who sets the machine's clock might.
    pub fn put_back(&self, by: Duration) {
        let by = i64::try_from(by.as_millis()).unwrap_or(i64::MAX);
        self.forward_ms.fetch_sub(by, Ordering::Relaxed);
    }

    /// Puts the clock forward for everybody who holds it.
    pub fn put_forward(&self, by: Duration) {
        let by = i64::try_from(by.as_millis()).unwrap_or(i64::MAX);
        self.forward_ms.fetch_add(by, Ordering::Relaxed);
    }
}
