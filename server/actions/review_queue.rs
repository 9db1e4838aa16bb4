//! The reports of a class that wait for a person, in order of need, each with all of its reasons.

use std::time::Duration;

use super::Service;
use crate::grading::review::Need;
use crate::store::StoreError;
use crate::store::attention::{self, Waiting};
use crate::store::ids::{ClassId, ReportId};

/// How long the queue waits for reports that are being searched.
const PATIENCE: Duration = Duration::from_secs(1);

/// A report that waits.
#[derive(Debug, Clone)]
pub struct Queued {
    /// The report.
    pub waiting: Waiting,
    /// Why, the most pressing first.
    pub needs: Vec<Need>,
}

fn needs(waiting: &Waiting) -> Vec<Need> {
    let stored = waiting.reasons.iter();
    let mut needs: Vec<Need> = stored.filter_map(|r| Need::from_stored(&r.reason, &r.detail)).collect();
    if waiting.queries > 0 {
        needs.push(Need::Query);
    }
    if waiting.lacks_evidence {
        needs.push(Need::EvidenceMissing);
    }
    if waiting.is_late_by_minutes {
        let late = waiting.handed_in_at.millisecond() - waiting.due_at.millisecond();
        needs.push(Need::Late(u64::try_from(late).map_or(0, |ms| ms.div_ceil(60_000))));
    }
    needs.sort_by_key(Need::rank);
    needs
}

/// The queue of a class, with those reports too that were graded a moment ago and are being searched.
///
/// # Errors
/// When the database does not answer.
pub async fn settled(service: &Service, class: ClassId) -> Result<Vec<Queued>, StoreError> {
    tokio::time::timeout(PATIENCE, service.searches.settled()).await.ok();
    of_class(service, class).await
}

/// The queue of a class.
///
/// # Errors
/// When the database does not answer.
pub async fn of_class(service: &Service, class: ClassId) -> Result<Vec<Queued>, StoreError> {
    let mut queue: Vec<Queued> = attention::queue(&service.store, class)
        .await?
        .into_iter()
        .map(|waiting| Queued {
            needs: needs(&waiting),
            waiting,
        })
        .filter(|queued| !queued.needs.is_empty())
        .collect();
    // Of the same need the one that waits longest; the sort keeps that order.
    queue.sort_by_key(|q| q.needs.first().map_or(u8::MAX, Need::rank));
    Ok(queue)
}

/// Where a report stands in a queue: how many wait, its place, and its neighbours.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Place {
    /// Reports that wait.
    pub waiting: usize,
    /// Place of this one, from 1; none where it does not wait.
    pub place: Option<usize>,
    /// The one before it.
    pub previous: Option<ReportId>,
    /// The one after it; the first where this one does not wait.
    pub next: Option<ReportId>,
}

/// Finds a report in a queue.
#[must_use]
pub fn place(queue: &[Queued], report: ReportId) -> Place {
    let at = queue.iter().position(|q| q.waiting.report == report);
    let id = |i: usize| queue.get(i).map(|q| q.waiting.report);
    Place {
        waiting: queue.len(),
        place: at.map(|i| i + 1),
        previous: at.and_then(|i| i.checked_sub(1)).and_then(id),
        next: id(at.map_or(0, |i| i + 1)),
    }
}
