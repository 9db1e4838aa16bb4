//! What was left behind: reports without a grade, grades that do not know what was added to the report since, regradings that are not
//! finished. A stop, a request that was cut off or a disk that took no more leaves them; they are made up for at the start, each hour,
//! and soon after something could not be graded.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::Notify;
use tokio::time::sleep;

use super::Service;
use super::grade_report::{grade_due, grade_missing};
use super::regrade::resume;
use crate::store::StoreError;

/// How often it is looked for what was left.
const EACH: Duration = Duration::from_secs(3600);

/// How soon after something could not be graded, and how long at most until the next try while it still cannot.
const SOON: (Duration, Duration) = (Duration::from_secs(5), Duration::from_secs(60));

/// Whether something could not be graded since it was last looked for.
#[derive(Debug, Clone, Default)]
pub struct Behind(Arc<Notify>);

impl Behind {
    /// Says that something could not be graded.
    pub(super) fn notice(&self) {
        self.0.notify_one();
    }
}

/// Makes up for what was left, again and again, as long as it is polled.
pub async fn keep_up(service: Service) {
    let mut pause = SOON.0;
    loop {
        match catch_up(&service).await {
            Err(error) if error.passes() => {
                tracing::warn!(%error, seconds = pause.as_secs(), "what was left to be graded is tried again");
                sleep(pause).await;
                pause = (pause * 2).min(SOON.1);
                continue;
            }
            Err(error) => tracing::error!(%error, "what was left to be graded could not be found"),
            Ok(()) => {}
        }
        pause = SOON.0;
        tokio::select! {
            () = sleep(EACH) => {}
            () = service.behind.0.notified() => sleep(pause).await,
        }
    }
}

/// Makes up for what was left. What is one report's own fault is logged and left.
async fn catch_up(service: &Service) -> Result<(), StoreError> {
    let again = resume(service).await?;
    let due = grade_due(service).await?;
    let first = grade_missing(service).await?;
    if again + due + first > 0 {
        tracing::info!(again, due, first, "reports were graded that were left");
    }
    Ok(())
}
