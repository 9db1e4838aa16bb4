//! The reports of a class that wait for a person, in order of need, each with all of its reasons.

use std::collections::BTreeMap;
use std::time::Duration;

use super::Service;
use crate::grading::review::{Kind, Need};
use crate::store::attention::{self, InLine, Waiting};
use crate::store::ids::{ClassId, ReportId};
use crate::store::{Store, StoreError};

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

/// The reports of a class that wait, the most pressing first, as far as a person may know: of the same need the one first that waits
/// longest.
#[derive(Debug, Clone)]
pub struct Line {
    line: Vec<InLine>,
    /// Whether what tells the truth of plates is among the needs.
    truth: bool,
}

/// The needs of a report, the most pressing first; those that tell the truth of its plate where that may be told.
fn needs(line: &InLine, waiting: &Waiting, truth: bool) -> Vec<Need> {
    let stored = waiting.reasons.iter();
    let mut needs: Vec<Need> = stored.filter_map(|r| Need::from_stored(&r.reason, &r.detail)).collect();
    if line.queries > 0 {
        needs.push(Need::Query);
    }
    if line.lacks_evidence != 0 {
        needs.push(Need::EvidenceMissing);
    }
    if line.is_late_by_minutes != 0 {
        let late = waiting.handed_in_at.millisecond() - waiting.due_at.millisecond();
        needs.push(Need::Late(u64::try_from(late).map_or(0, |ms| ms.div_ceil(60_000))));
    }
    needs.retain(|need| truth || !need.kind().tells_truth());
    needs.sort_by_key(Need::kind);
    needs
}

/// The kind of the most pressing need.
fn most_pressing(line: &InLine, truth: bool) -> Option<Kind> {
    let words = line.words.as_deref().unwrap_or_default().split(' ');
    let others = [
        (line.queries > 0).then_some(Kind::Query),
        (line.lacks_evidence != 0).then_some(Kind::EvidenceMissing),
        (line.is_late_by_minutes != 0).then_some(Kind::Late),
    ];
    let kinds = words.filter_map(Kind::from_word).chain(others.into_iter().flatten());
    kinds.filter(|kind| truth || !kind.tells_truth()).min()
}

impl Line {
    /// That of a class, for somebody who may see the truth of plates, or not.
    ///
    /// # Errors
    /// When the database does not answer.
    pub async fn of_class(store: &Store, class: ClassId, truth: bool) -> Result<Self, StoreError> {
        let line = attention::line(store, class).await?.into_iter();
        let mut line: Vec<(Kind, InLine)> = line
            .filter_map(|one| Some((most_pressing(&one, truth)?, one)))
            .collect();
        // The sort keeps the order in which they came.
        line.sort_by_key(|(kind, _)| *kind);
        Ok(Self {
            line: line.into_iter().map(|(_, one)| one).collect(),
            truth,
        })
    }

    /// Where a report stands.
    #[must_use]
    pub fn place(&self, report: ReportId) -> Place {
        let at = self.line.iter().position(|one| one.report == report);
        let id = |i: usize| self.line.get(i).map(|one| one.report);
        Place {
            waiting: self.line.len(),
            place: at.map(|i| i + 1),
            previous: at.and_then(|i| i.checked_sub(1)).and_then(id),
            next: id(at.map_or(0, |i| i + 1)),
        }
    }

    /// The first one that is another.
    #[must_use]
    pub fn first_but(&self, report: ReportId) -> Option<ReportId> {
        self.line.iter().map(|one| one.report).find(|one| *one != report)
    }

    /// The needs of a report; none where it does not wait.
    ///
    /// # Errors
    /// When the database does not answer.
    pub async fn needs(&self, store: &Store, report: ReportId) -> Result<Vec<Need>, StoreError> {
        let Some(one) = self.line.iter().find(|one| one.report == report) else {
            return Ok(Vec::new());
        };
        let waiting = attention::waiting(store, &[report]).await?;
        Ok(waiting.first().map(|w| needs(one, w, self.truth)).unwrap_or_default())
    }
}

/// The queue of a class, with those reports too that were graded a moment ago and are being searched, for somebody who may see the truth
/// of plates, or not.
///
/// # Errors
/// When the database does not answer.
pub async fn settled(service: &Service, class: ClassId, truth: bool) -> Result<Vec<Queued>, StoreError> {
    tokio::time::timeout(PATIENCE, service.searches.settled()).await.ok();
    let Line { line, .. } = Line::of_class(&service.store, class, truth).await?;
    let reports: Vec<ReportId> = line.iter().map(|one| one.report).collect();
    let waiting = attention::waiting(&service.store, &reports).await?;
    let mut waiting: BTreeMap<ReportId, Waiting> = waiting.into_iter().map(|w| (w.report, w)).collect();
    let queued = |one: InLine| {
        let waiting = waiting.remove(&one.report)?;
        let needs = needs(&one, &waiting, truth);
        (!needs.is_empty()).then_some(Queued { waiting, needs })
    };
    Ok(line.into_iter().filter_map(queued).collect())
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

#[cfg(test)]
mod tests {
    use super::*;

    fn in_line(words: &str, queries: i64, is_late: bool) -> InLine {
        InLine {
            report: ReportId(1),
            words: Some(words.to_owned()).filter(|w| !w.is_empty()),
            queries,
            lacks_evidence: 0,
            is_late_by_minutes: i64::from(is_late),
        }
    }

    #[test]
    fn the_most_pressing_need_that_may_be_told_gives_the_place() {
        let of = |one: &InLine| (most_pressing(one, true), most_pressing(one, false));
        let both = |kind| (Some(kind), Some(kind));
        assert_eq!(of(&in_line("same-digits no-mark", 1, true)), both(Kind::NoMark));
        assert_eq!(of(&in_line("same-digits", 1, false)), both(Kind::Query));
        // A call in doubt is one by the truth of the plate.
        let doubtful = in_line("doubtful-call", 0, true);
        assert_eq!(of(&doubtful), (Some(Kind::DoubtfulCall), Some(Kind::Late)));
        assert_eq!(
            of(&in_line("doubtful-call", 0, false)),
            (Some(Kind::DoubtfulCall), None)
        );
        // Of a later version.
        assert_eq!(of(&in_line("else", 0, false)), (None, None));
    }
}
