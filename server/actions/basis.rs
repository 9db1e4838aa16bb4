//! What reports are graded from besides their numbers, put together once for all reports on a plate in an assignment.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use rust_decimal::Decimal;

use super::Service;
use super::grade_report::{GradeError, apart};
use super::load::{self, Known, LoadError};
use crate::exercise::model::{Exercise, MarksRules};
use crate::exercise::plate::Plate;
use crate::grading::decided::Decided;
use crate::grading::grade::Grade;
use crate::grading::review::{Review, review};
use crate::grading::{GradeInput, grade_with};
use crate::report::model::Report;
use crate::report::setup_record::SetUp;
use crate::store::ids::{AssignmentId, ExerciseRevisionId, PlateId, PlateRevisionId, ReportId};
use crate::store::{StoreError, assignments, decided_faults, grades, plates, regrades};

/// What a line says whose weight is left out.
const LEFT_OUT: &str = "Left out of the marks for everybody.";

/// Exercise, plate and rules of one assignment and plate.
#[derive(Debug)]
pub(super) struct Basis {
    pub(super) exercise: Arc<Exercise>,
    pub(super) exercise_revision: ExerciseRevisionId,
    pub(super) plate: Arc<Plate>,
    pub(super) plate_revision: PlateRevisionId,
    siblings: Arc<Vec<Plate>>,
    rules: Arc<MarksRules>,
    pub(super) marks_override: Option<String>,
    dropped: BTreeSet<String>,
    /// Newest truths of all plates of the exercise.
    truths: Vec<PlateRevisionId>,
}

/// What may stand in place of what is stored.
#[derive(Debug, Clone, Default)]
pub(super) struct Instead {
    /// Another revision of the exercise.
    pub(super) exercise: Option<ExerciseRevisionId>,
    /// Other numbers whose weight is left out.
    pub(super) dropped: Option<BTreeSet<String>>,
}

/// Puts bases together, each part of them once.
#[derive(Debug)]
pub(super) struct Bases<'s> {
    service: &'s Service,
    instead: Instead,
    of_assignment: BTreeMap<AssignmentId, Arc<Shared>>,
}

/// What all plates of an assignment share.
#[derive(Debug)]
struct Shared {
    /// As stored, for reading plates.
    print: Arc<Exercise>,
    /// With the weights that count.
    exercise: Arc<Exercise>,
    revision: ExerciseRevisionId,
    siblings: Arc<Vec<Plate>>,
    rules: Arc<MarksRules>,
    marks_override: Option<String>,
    dropped: BTreeSet<String>,
    truths: Vec<PlateRevisionId>,
}

impl<'s> Bases<'s> {
    pub(super) fn new(service: &'s Service, instead: Instead) -> Self {
        Self {
            service,
            instead,
            of_assignment: BTreeMap::new(),
        }
    }

    /// The basis of an assignment and plate, with the truth of the plate in this revision, or the newest.
    pub(super) async fn of(
        &mut self,
        assignment: AssignmentId,
        plate: PlateId,
        revision: Option<PlateRevisionId>,
    ) -> Result<Basis, LoadError> {
        let shared = self.shared(assignment).await?;
        let plate_revision = match revision {
            Some(revision) => revision,
            None => {
                plates::newest_truth(&self.service.store, plate)
                    .await?
                    .ok_or(LoadError::Missing("a plate"))?
                    .0
            }
        };
        Ok(Basis {
            plate: load::plate(self.service, &shared.print, plate_revision).await?,
            plate_revision,
            exercise: Arc::clone(&shared.exercise),
            exercise_revision: shared.revision,
            siblings: Arc::clone(&shared.siblings),
            rules: Arc::clone(&shared.rules),
            marks_override: shared.marks_override.clone(),
            dropped: shared.dropped.clone(),
            truths: shared.truths.clone(),
        })
    }

    async fn shared(&mut self, id: AssignmentId) -> Result<Arc<Shared>, LoadError> {
        if let Some(known) = self.of_assignment.get(&id) {
            return Ok(Arc::clone(known));
        }
        let service = self.service;
        let assignment = assignments::one(&service.store, id)
            .await?
            .ok_or(LoadError::Missing("an assignment"))?;
        let revision = self.instead.exercise.unwrap_or(assignment.exercise_revision);
        let print = load::exercise(service, revision).await?;
        let dropped = match &self.instead.dropped {
            Some(dropped) => dropped.clone(),
            None => {
                let stored = regrades::dropped(&service.store, id).await?;
                stored.into_iter().map(|(no, _)| no).collect()
            }
        };
        let rules = load::rules(service, revision, &print, assignment.marks_override.as_deref()).await?;
        let truths = plates::newest_truths(&service.store, revision).await?;
        let shared = Arc::new(Shared {
            exercise: without(&print, &dropped),
            siblings: load::siblings_of(service, (revision, &print), truths.clone()).await?,
            truths,
            rules: Arc::new(rules),
            marks_override: assignment.marks_override,
            print,
            revision,
            dropped,
        });
        self.of_assignment.insert(id, Arc::clone(&shared));
        Ok(shared)
    }
}

/// The exercise without the weight of these numbers.
fn without(exercise: &Arc<Exercise>, dropped: &BTreeSet<String>) -> Arc<Exercise> {
    if dropped.is_empty() {
        return Arc::clone(exercise);
    }
    let mut changed = exercise.as_ref().clone();
    for c in changed
        .characteristics
        .iter_mut()
        .filter(|c| dropped.contains(c.no.as_str()))
    {
        c.weight = Decimal::ZERO;
    }
    Arc::new(changed)
}

/// One report to be graded.
#[derive(Debug)]
pub(super) struct Work {
    pub(super) report: ReportId,
    pub(super) items: Report,
    pub(super) hand_marks: BTreeMap<String, Decimal>,
    pub(super) decided: Decided,
    pub(super) set_up: Option<SetUp>,
    pub(super) basis: Arc<Basis>,
}

/// Values and calls of a report, and its set-up record, as they are stored.
pub(super) fn parsed(
    report: ReportId,
    items: &str,
    set_up: Option<&str>,
) -> Result<(Report, Option<SetUp>), GradeError> {
    let unreadable = |why| GradeError::Items { report, why };
    let set_up = set_up.map(serde_json::from_str).transpose().map_err(unreadable)?;
    Ok((serde_json::from_str(items).map_err(unreadable)?, set_up))
}

/// What came out.
#[derive(Debug)]
pub(super) struct Computed {
    pub(super) report: ReportId,
    pub(super) grade: Grade,
    pub(super) reason: Option<Review>,
    pub(super) basis: Arc<Basis>,
}

impl Computed {
    /// The mark as it is stored.
    pub(super) fn mark(&self) -> Option<String> {
        self.grade.marks.r#final.map(|m| format!("{m:.1}"))
    }
}

/// One report with all that it is graded from, out of one row where its revisions are known. What was graded once keeps
/// the truth of its plate until somebody decides on another one (`super::regrade`).
pub(super) async fn of_report(
    service: &Service,
    report: ReportId,
    decided: Option<Decided>,
) -> Result<Work, GradeError> {
    let row = grades::basis(&service.store, report)
        .await?
        .ok_or(LoadError::Missing("a report"))?;
    let decided = match decided {
        Some(decided) => decided,
        None if row.spoken_of => decided_faults::of(&service.store, report).await?.decided(),
        None => Decided::default(),
    };
    let newest = row.truths.iter().find(|(plate, _)| *plate == row.plate);
    let plate_revision = row
        .kept
        .or(newest.map(|(_, revision)| *revision))
        .ok_or(LoadError::Missing("a plate"))?;
    let print = load::exercise(service, row.exercise_revision).await?;
    let truths: Vec<PlateRevisionId> = row.truths.iter().map(|(_, revision)| *revision).collect();
    let dropped: BTreeSet<String> = row.dropped.into_iter().collect();
    let rules = load::rules(service, row.exercise_revision, &print, row.marks_override.as_deref()).await?;
    let basis = Basis {
        plate: load::plate(service, &print, plate_revision).await?,
        plate_revision,
        exercise: without(&print, &dropped),
        exercise_revision: row.exercise_revision,
        siblings: load::siblings_of(service, (row.exercise_revision, &print), truths.clone()).await?,
        truths,
        rules: Arc::new(rules),
        marks_override: row.marks_override,
        dropped,
    };
    let hand_mark = |(line, points): (String, String)| {
        let points = points.parse().map_err(|_| StoreError::Unreadable {
            what: "points of a line",
            found: points.chars().take(40).collect(),
        });
        points.map(|points| (line, points))
    };
    let (items, set_up) = parsed(report, &row.items, row.set_up.as_deref())?;
    let hand_marks = row.hand_marks.into_iter().map(hand_mark).collect::<Result<_, _>>()?;
    Ok(Work {
        report,
        items,
        hand_marks,
        decided,
        set_up,
        basis: Arc::new(basis),
    })
}

/// Grades reports off the async threads, shared out among the processors; in the order of the works. A plate's search for
/// mistakes is prepared once for neighbouring works on the same basis.
pub(super) async fn compute(service: &Service, works: Vec<Work>) -> Result<Vec<Computed>, GradeError> {
    let processors = std::thread::available_parallelism().map_or(1, usize::from);
    let share = works.len().div_ceil(processors).max(1);
    let mut tasks = Vec::new();
    let mut works = works.into_iter().peekable();
    while works.peek().is_some() {
        let part: Vec<Work> = works.by_ref().take(share).collect();
        let (service, known) = (service.clone(), service.known.clone());
        tasks.push(tokio::spawn(async move {
            apart(&service, move || graded(&known, part)).await
        }));
    }
    let mut all = Vec::new();
    for task in tasks {
        let done = task.await.ok().flatten().ok_or(GradeError::Stopping)?;
        all.extend(done);
    }
    Ok(all)
}

fn graded(known: &Known, works: Vec<Work>) -> Vec<Computed> {
    let mut all = Vec::with_capacity(works.len());
    let mut works = works.into_iter().peekable();
    while let Some(first) = works.peek() {
        let basis = Arc::clone(&first.basis);
        let key = (basis.exercise_revision, basis.plate_revision, basis.truths.clone());
        // Weights, which alone an assignment can change, have no part in it.
        let looking = load::prepared(known, &key, (&basis.exercise, &basis.plate, &basis.siblings));
        while let Some(work) = works.next_if(|w| Arc::ptr_eq(&w.basis, &basis)) {
            let name = format!("report {}", work.report);
            let input = GradeInput {
                name: &name,
                exercise: &basis.exercise,
                plate: &basis.plate,
                rules: &basis.rules,
                report: &work.items,
                hand_marks: &work.hand_marks,
                siblings: &basis.siblings,
                decided: &work.decided,
                set_up: work.set_up.as_ref(),
            };
            let mut grade = grade_with(&input, looking.as_ref().as_ref());
            for item in grade.items.iter_mut().filter(|i| basis.dropped.contains(i.no.as_str())) {
                item.note = Some(LEFT_OUT.to_owned());
            }
            let marked = |line: &crate::exercise::model::MarksLine| work.hand_marks.contains_key(&line.name);
            let reason = review(&grade, &basis.rules, basis.rules.lines.iter().all(marked));
            all.push(Computed {
                report: work.report,
                grade,
                reason,
                basis: Arc::clone(&basis),
            });
        }
    }
    all
}
