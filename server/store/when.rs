//! Points of time in columns: milliseconds since 1970-01-01T00:00:00Z.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// A point of time as the database holds it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, sqlx::Type)]
#[serde(transparent)]
#[sqlx(transparent)]
pub struct When(i64);

impl When {
    /// The same point for the rest of the house. What is out of its range is its nearest end.
    #[must_use]
    pub fn timestamp(self) -> Timestamp {
        let end = if self.0 < 0 { Timestamp::MIN } else { Timestamp::MAX };
        Timestamp::from_millisecond(self.0).unwrap_or(end)
    }

    /// The number in the column.
    #[must_use]
    pub const fn millisecond(self) -> i64 {
        self.0
    }
}

impl From<Timestamp> for When {
    fn from(time: Timestamp) -> Self {
        Self(time.as_millisecond())
    }
}

impl From<i64> for When {
    fn from(milliseconds: i64) -> Self {
        Self(milliseconds)
    }
}
