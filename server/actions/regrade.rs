//! Grading again after something was corrected: what plates are known to be, the exercise, or a number that is left out. The marks
//! before and after are listed first, for a person to decide; then all touched reports are graded, and what a stop cut
//! off goes on afterwards (`super::behind`).

use std::collections::{BTreeMap, BTreeSet};

use thiserror::Error;
use tokio::sync::oneshot;

use super::attention::ToSearch;
use super::basis::{Bases, Computed, Instead, Of, Work, compute, parsed};
use super::grade_report::GradeError;
use super::load::LoadError;
use super::{Service, searches};
use crate::exercise::names::BalloonNo;
use crate::grading::decided::Decided;
use crate::store::grades::NewGrade;
use crate::store::ids::{AssignmentId, ExerciseRevisionId, PersonId, PlateId, RegradeId, ReportId};
use crate::store::regrades::{self, Graded, NewRegrade};
use crate::store::{StoreError, assignments, audit, decided_faults, exercises, writer};

/// Reports that are graded and stored before the next ones are taken up.
const AT_ONCE: i64 = 128;

/// Longest reason, in characters.
pub const REASON: usize = 500;

/// What was corrected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Change {
    /// Nothing in particular: everything of an assignment again, with what is known now.
    Again(AssignmentId),
    /// What a plate is known to be, in all assignments.
    Reference(PlateId),
    /// The exercise of an assignment, to this revision.
    Revision(AssignmentId, ExerciseRevisionId),
    /// All numbers whose weight is left out in an assignment, with the reason for each.
    Dropped(AssignmentId, BTreeMap<String, String>),
}

/// Why nothing was graded again.
#[derive(Debug, Error)]
pub enum RegradeError {
    /// A number that the exercise does not have.
    #[error("the exercise has no number {0}")]
    NoSuchNumber(String),
    /// Everything would be left out.
    #[error("no number would be left to be marked")]
    NothingLeft,
    /// Without a reason, or with a very long one.
    #[error("say why in 1 to {REASON} characters; it stands in the trail of the assignment")]
    Reason,
    /// A revision of another exercise.
    #[error("this is no revision of the assignment's exercise")]
    OtherExercise,
    /// A report could not be graded.
    #[error(transparent)]
    Grade(#[from] GradeError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl From<LoadError> for RegradeError {
    fn from(error: LoadError) -> Self {
        Self::Grade(GradeError::Load(error))
    }
}

/// One report before and after.
#[derive(Debug, Clone)]
pub struct MarkChange {
    /// The report with what counts now.
    pub graded: Graded,
    /// Mark that it would have, before the late rule; none: nothing could be graded.
    pub after: Option<String>,
}

impl MarkChange {
    /// Whether the computed mark changes.
    #[must_use]
    pub fn changes(&self) -> bool {
        self.graded.mark != self.after
    }
}

impl Change {
    const fn scope(&self) -> (Option<AssignmentId>, Option<PlateId>) {
        match self {
            Self::Again(a) | Self::Revision(a, _) | Self::Dropped(a, _) => (Some(*a), None),
            Self::Reference(plate) => (None, Some(*plate)),
        }
    }

    fn instead(&self) -> Instead {
        match self {
            Self::Again(_) | Self::Reference(_) => Instead::default(),
            Self::Revision(_, revision) => Instead {
                exercise: Some(*revision),
                dropped: None,
            },
            Self::Dropped(_, dropped) => Instead {
                exercise: None,
                dropped: Some(dropped.keys().cloned().collect()),
            },
        }
    }

    const fn cause(&self) -> &'static str {
        match self {
            Self::Again(_) => "again",
            Self::Reference(_) => "reference",
            Self::Revision(..) => "revision",
            Self::Dropped(..) => "dropped",
        }
    }

    const fn about(&self) -> (&'static str, i64) {
        match self {
            Self::Again(a) | Self::Revision(a, _) | Self::Dropped(a, _) => ("assignment", a.0),
            Self::Reference(plate) => ("plate", plate.0),
        }
    }

    fn detail(&self) -> serde_json::Value {
        match self {
            Self::Again(_) | Self::Reference(_) => serde_json::json!({}),
            Self::Revision(_, revision) => serde_json::json!({ "revision": revision }),
            Self::Dropped(_, dropped) => serde_json::json!({ "dropped": dropped }),
        }
    }
}

/// The marks of all touched reports before and after, nothing of it stored.
///
/// # Errors
/// When the change makes no sense, or a report cannot be graded.
pub async fn preview(service: &Service, change: &Change) -> Result<Vec<MarkChange>, RegradeError> {
    check(service, change).await?;
    let (assignment, plate) = change.scope();
    let all = regrades::graded(&service.store, assignment, plate).await?;
    let works = works(service, &change.instead(), &all).await?;
    let computed = compute(service, works).await?;
    let after: BTreeMap<ReportId, Option<String>> = computed.iter().map(|c| (c.report, c.mark())).collect();
    Ok(all
        .into_iter()
        .map(|graded| MarkChange {
            after: after.get(&graded.report).cloned().flatten(),
            graded,
        })
        .collect())
}

/// Whether the change can be made at all.
async fn check(service: &Service, change: &Change) -> Result<(), RegradeError> {
    let (Change::Dropped(id, _) | Change::Revision(id, _)) = change else {
        return Ok(());
    };
    let assignment = assignments::one(&service.store, *id)
        .await?
        .ok_or(LoadError::Missing("an assignment"))?;
    match change {
        Change::Dropped(_, dropped) => {
            let exercise = super::load::exercise(service, assignment.exercise_revision).await?;
            for (no, why) in dropped {
                let known = no
                    .parse::<BalloonNo>()
                    .ok()
                    .and_then(|no| exercise.characteristic(&no).map(|_| ()));
                if known.is_none() {
                    return Err(RegradeError::NoSuchNumber(no.chars().take(20).collect()));
                }
                if !(1..=REASON).contains(&why.trim().chars().count()) {
                    return Err(RegradeError::Reason);
                }
            }
            let counts = |c: &crate::exercise::model::Characteristic| {
                !c.weight.is_zero() && !dropped.contains_key(c.no.as_str())
            };
            if exercise.characteristics.iter().any(counts) {
                Ok(())
            } else {
                Err(RegradeError::NothingLeft)
            }
        }
        Change::Revision(_, revision) => {
            let revision = exercises::revision(&service.store, *revision).await?;
            match revision.filter(|r| r.code == assignment.exercise_code) {
                Some(_) => Ok(()),
                None => Err(RegradeError::OtherExercise),
            }
        }
        Change::Again(_) | Change::Reference(_) => Ok(()),
    }
}

/// Reports with what they are graded from; neighbours share their basis.
async fn works(service: &Service, instead: &Instead, all: &[Graded]) -> Result<Vec<Work>, RegradeError> {
    let reports: Vec<ReportId> = all.iter().map(|g| g.report).collect();
    let mut hand_marks = regrades::hand_marks(&service.store, &reports).await?;
    let spoken_of = decided_faults::reports(&service.store, &reports).await?;
    let assignments: BTreeSet<AssignmentId> = all.iter().map(|g| g.assignment).collect();
    let assignments: Vec<AssignmentId> = assignments.into_iter().collect();
    let bases = Bases::of(service, &assignments, instead).await?;
    let mut works = Vec::with_capacity(all.len());
    let mut order: Vec<&Graded> = all.iter().collect();
    order.sort_by_key(|g| (g.plate, g.assignment, g.report));
    for graded in order {
        let of = Of {
            assignment: graded.assignment,
            pair: graded.pair,
            plate: graded.plate,
        };
        let report = graded.report;
        let (items, set_up) = parsed(report, &graded.items, graded.set_up.as_deref())?;
        works.push(Work {
            report,
            of,
            items,
            set_up,
            hand_marks: hand_marks.remove(&report).unwrap_or_default(),
            decided: if spoken_of.contains(&report) {
                decided_faults::of(&service.store, report).await?.decided()
            } else {
                Decided::default()
            },
            basis: bases.plate(of.assignment, of.plate, None).await?,
        });
    }
    Ok(works)
}

/// Decides on a change: it is stored together with the list of reports to grade again, and their grading begins. What is
/// returned can be followed and, after a stop, goes on by itself; so it does when whoever decided is cut off.
///
/// # Errors
/// When the change makes no sense or cannot be stored.
pub async fn begin(service: &Service, change: &Change, by: PersonId) -> Result<RegradeId, RegradeError> {
    let (tell, told) = oneshot::channel();
    let (service, change) = (service.clone(), change.clone());
    tokio::spawn(async move {
        let decided = decide(&service, &change, by).await;
        let id = decided.as_ref().ok().copied();
        tell.send(decided).ok();
        if let Some(id) = id
            && let Err(error) = run_or_leave(&service, id).await
        {
            tracing::error!(%error, regrade = id.0, "reports could not be graded again; it goes on later");
        }
    });
    told.await.unwrap_or(Err(RegradeError::Grade(GradeError::Stopping)))
}

/// As [`run`]; what is left with an error is tried again soon.
pub(super) async fn run_or_leave(service: &Service, regrade: RegradeId) -> Result<usize, RegradeError> {
    let done = run(service, regrade).await;
    if done.is_err() {
        service.behind.notice();
    }
    done
}

/// Stores a change with the list of reports to grade again.
///
/// # Errors
/// When the change makes no sense or cannot be stored.
pub async fn decide(service: &Service, change: &Change, by: PersonId) -> Result<RegradeId, RegradeError> {
    check(service, change).await?;
    let (assignment, plate) = change.scope();
    let now = service.clock.now();
    let detail = change.detail();
    let mut tx = service.store.change().await?;
    match change {
        Change::Revision(assignment, revision) => regrades::set_revision(&mut tx, *assignment, *revision).await?,
        Change::Dropped(assignment, dropped) => {
            for (no, _) in regrades::dropped(&service.store, *assignment).await? {
                if !dropped.contains_key(&no) {
                    regrades::take_line_in(&mut tx, *assignment, &no).await?;
                }
            }
            for (no, why) in dropped {
                regrades::drop_line(&mut tx, *assignment, no, why.trim(), now, by).await?;
            }
        }
        Change::Again(_) | Change::Reference(_) => {}
    }
    let new = NewRegrade {
        cause: change.cause(),
        about: change.about(),
        detail: &detail.to_string(),
        at: now,
        by,
    };
    let (id, reports) = regrades::begin(&mut tx, &new, assignment, plate).await?;
    let mut about = BTreeSet::from([change.about()]);
    if let Change::Reference(_) = change {
        let assignments = regrades::assignments_of(&mut tx, id).await?;
        about.extend(assignments.into_iter().map(|a| ("assignment", a.0)));
    }
    for about in about {
        let what = match change {
            Change::Again(_) => "grade-again",
            Change::Reference(_) => "grade-again-with-new-reference",
            Change::Revision(..) => "grade-again-with-new-revision",
            Change::Dropped(..) => "grade-again-without-numbers",
        };
        let entry = audit::Entry {
            at: now,
            person: Some(by),
            what,
            about,
            detail: serde_json::json!({ "regrade": id, "reports": reports, "change": detail }),
        };
        audit::write(&mut tx, &entry).await?;
    }
    tx.commit().await?;
    Ok(id)
}

/// Grades what is left of a regrading. Returns how many reports that was.
///
/// # Errors
/// When a report cannot be graded or stored; those before it are.
pub async fn run(service: &Service, regrade: RegradeId) -> Result<usize, RegradeError> {
    let mut count = 0;
    loop {
        let turn = service.regrading.lock().await;
        let left = regrades::left(&service.store, regrade, AT_ONCE).await?;
        let is_last = i64::try_from(left.len()).is_ok_and(|n| n < AT_ONCE);
        let computed = compute(service, works(service, &Instead::default(), &left).await?).await?;
        count += computed.len();
        let to_search = store(service, (regrade, is_last), computed).await?;
        drop(turn);
        // Reasons to look at a report may be others now.
        searches::soon(service, to_search);
        if is_last {
            return Ok(count);
        }
    }
}

/// Stores grades together with how far the regrading is. Returns what is searched for again.
async fn store(
    service: &Service,
    (regrade, is_last): (RegradeId, bool),
    computed: Vec<Computed>,
) -> Result<Vec<ToSearch>, RegradeError> {
    let now = service.clock.now();
    let marks: Vec<(ReportId, Option<String>)> = computed.iter().map(|c| (c.report, c.mark())).collect();
    let rows: Result<Vec<(NewGrade, ToSearch)>, StoreError> = computed.into_iter().map(|c| c.into_row(now)).collect();
    let (rows, to_search): (Vec<NewGrade>, Vec<ToSearch>) = rows?.into_iter().unzip();
    let mut tx = service.store.change_beside().await?;
    writer::grades_within(&mut tx, &rows).await?;
    regrades::done(&mut tx, regrade, &marks, now).await?;
    if is_last {
        regrades::finish(&mut tx, regrade, now).await?;
    }
    tx.commit().await?;
    Ok(to_search)
}

/// Goes on with what a stop cut off or the disk did not take. Returns how many reports were graded.
///
/// # Errors
/// When the database does not answer or takes nothing; what cannot be graded is logged and left.
pub async fn resume(service: &Service) -> Result<usize, StoreError> {
    let mut graded = 0;
    for id in regrades::open(&service.store).await? {
        match run(service, id).await {
            Ok(count) => graded += count,
            Err(
                RegradeError::Store(error)
                | RegradeError::Grade(GradeError::Store(error) | GradeError::Load(LoadError::Store(error))),
            ) if error.passes() => return Err(error),
            Err(error) => tracing::error!(%error, regrade = id.0, "reports could not be graded again"),
        }
    }
    Ok(graded)
}
