//! What reports are graded from besides their numbers, put together once for all reports on a plate in an assignment.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use rust_decimal::Decimal;

use super::Service;
use super::attention::{References, ToSearch, references};
use super::grade_report::{GradeError, apart};
use super::load::{self, Known, LoadError};
use crate::exercise::model::{Exercise, MarksRules};
use crate::exercise::plate::Plate;
use crate::grading::decided::Decided;
use crate::grading::diagnosis::Diagnoser;
use crate::grading::grade::Grade;
use crate::grading::review::{Review, review};
use crate::grading::{GradeInput, grade_with};
use crate::report::model::Report;
use crate::report::setup_record::SetUp;
use crate::store::grades::OfAssignment;
use crate::store::ids::{AssignmentId, ExerciseRevisionId, PairId, PlateId, PlateRevisionId, ReportId};
use crate::store::packed::Packed;
use crate::store::{StoreError, decided_faults, grades, plates};

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
    /// What its search for mistakes is kept under. Weights, which alone an assignment can change, have no part in it.
    prepared: load::Prepared,
    /// By the first of its grades.
    references: OnceLock<Arc<References>>,
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
    of_assignment: BTreeMap<AssignmentId, Arc<Shared>>,
}

/// What all plates of an assignment share.
#[derive(Debug)]
pub(super) struct Shared {
    /// As stored, for reading plates.
    print: Arc<Exercise>,
    /// With the weights that count.
    exercise: Arc<Exercise>,
    revision: ExerciseRevisionId,
    siblings: Arc<Vec<Plate>>,
    rules: Arc<MarksRules>,
    marks_override: Option<String>,
    dropped: BTreeSet<String>,
    /// Each plate with the newest revision of its truth.
    truths: Vec<(PlateId, PlateRevisionId)>,
    /// Of its plates, as far as they were asked for.
    bases: Mutex<BTreeMap<PlateRevisionId, Arc<Basis>>>,
}

impl<'s> Bases<'s> {
    /// Those of some assignments, out of one statement.
    pub(super) async fn of(
        service: &'s Service,
        assignments: &[AssignmentId],
        instead: &Instead,
    ) -> Result<Self, LoadError> {
        let mut of_assignment = BTreeMap::new();
        for mut stored in grades::of_assignments(&service.store, assignments, instead.exercise).await? {
            if let Some(dropped) = &instead.dropped {
                stored.dropped = dropped.iter().cloned().collect();
            }
            of_assignment.insert(stored.assignment, Arc::new(Shared::of(service, stored).await?));
        }
        Ok(Self { service, of_assignment })
    }

    /// Those of some assignments, of which nothing is read while nothing was changed.
    pub(super) async fn kept(service: &'s Service, assignments: &[AssignmentId]) -> Result<Self, LoadError> {
        // Before reading: what is changed meanwhile is read again by the next one.
        let Some(changes) = service.store.changes() else {
            return Self::of(service, assignments, &Instead::default()).await;
        };
        let known = service.known.shared.of(changes, assignments);
        let is_unknown = |a: &&AssignmentId| !known.contains_key(a);
        let unknown: Vec<AssignmentId> = assignments.iter().filter(is_unknown).copied().collect();
        let mut bases = Self {
            service,
            of_assignment: known,
        };
        if !unknown.is_empty() {
            let read = Self::of(service, &unknown, &Instead::default()).await?;
            service.known.shared.keep(changes, &read.of_assignment);
            bases.of_assignment.extend(read.of_assignment);
        }
        Ok(bases)
    }

    /// The basis of an assignment and plate, with the truth of the plate in this revision, or the newest.
    pub(super) async fn plate(
        &self,
        assignment: AssignmentId,
        plate: PlateId,
        revision: Option<PlateRevisionId>,
    ) -> Result<Arc<Basis>, LoadError> {
        let shared = self
            .of_assignment
            .get(&assignment)
            .ok_or(LoadError::Missing("an assignment"))?;
        let newest = || {
            shared
                .truths
                .iter()
                .find(|(of, _)| *of == plate)
                .map(|(_, revision)| *revision)
        };
        let revision = match revision.or_else(newest) {
            Some(revision) => revision,
            // A plate of another exercise, from before its number was taken for this one.
            None => plates::newest_truth(&self.service.store, plate)
                .await?
                .map(|(revision, _)| revision)
                .ok_or(LoadError::Missing("a plate"))?,
        };
        if let Some(known) = shared.bases().get(&revision) {
            return Ok(Arc::clone(known));
        }
        let basis = Arc::new(Basis {
            plate: load::plate(self.service, &shared.print, revision).await?,
            plate_revision: revision,
            exercise: Arc::clone(&shared.exercise),
            exercise_revision: shared.revision,
            siblings: Arc::clone(&shared.siblings),
            rules: Arc::clone(&shared.rules),
            marks_override: shared.marks_override.clone(),
            dropped: shared.dropped.clone(),
            prepared: (
                shared.revision,
                revision,
                shared.truths.iter().map(|(_, revision)| *revision).collect(),
            ),
            references: OnceLock::new(),
        });
        Ok(Arc::clone(shared.bases().entry(revision).or_insert(basis)))
    }
}

impl Shared {
    async fn of(service: &Service, stored: OfAssignment) -> Result<Self, LoadError> {
        let revision = stored.exercise_revision;
        let print = load::exercise(service, revision).await?;
        let rules = load::rules(service, revision, &print, stored.marks_override.as_deref()).await?;
        let truths: Vec<PlateRevisionId> = stored.truths.iter().map(|(_, revision)| *revision).collect();
        let dropped: BTreeSet<String> = stored.dropped.into_iter().collect();
        Ok(Self {
            exercise: without(&print, &dropped),
            siblings: load::siblings_of(service, (revision, &print), truths).await?,
            truths: stored.truths,
            rules: Arc::new(rules),
            marks_override: stored.marks_override,
            print,
            revision,
            dropped,
            bases: Mutex::default(),
        })
    }

    fn bases(&self) -> MutexGuard<'_, BTreeMap<PlateRevisionId, Arc<Basis>>> {
        self.bases.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What was put together for assignments, and after how many changes of the database.
#[derive(Debug, Clone, Default)]
pub(super) struct KnownShared(Arc<Mutex<(u64, OfAssignments)>>);

type OfAssignments = BTreeMap<AssignmentId, Arc<Shared>>;

/// Assignments that are known at once: more than are open in a school.
const KNOWN: usize = 256;

impl KnownShared {
    fn at(&self, changes: u64) -> MutexGuard<'_, (u64, OfAssignments)> {
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if known.0 < changes {
            *known = (changes, BTreeMap::new());
        }
        known
    }

    fn of(&self, changes: u64, assignments: &[AssignmentId]) -> OfAssignments {
        let known = self.at(changes);
        let one = |a: &AssignmentId| Some((*a, Arc::clone(known.1.get(a)?)));
        if known.0 == changes {
            assignments.iter().filter_map(one).collect()
        } else {
            BTreeMap::new()
        }
    }

    fn keep(&self, changes: u64, read: &OfAssignments) {
        let mut known = self.at(changes);
        if known.0 == changes && known.1.len() < KNOWN {
            known.1.extend(read.iter().map(|(a, shared)| (*a, Arc::clone(shared))));
        }
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
    pub(super) of: Of,
    pub(super) items: Report,
    pub(super) hand_marks: BTreeMap<String, Decimal>,
    pub(super) decided: Decided,
    pub(super) set_up: Option<SetUp>,
    pub(super) basis: Arc<Basis>,
}

/// Where a report belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Of {
    pub(super) assignment: AssignmentId,
    pub(super) pair: PairId,
    pub(super) plate: PlateId,
}

/// Values and calls of a report, and its set-up record, as they are stored.
pub(super) fn parsed(
    report: ReportId,
    items: &Packed,
    set_up: Option<&str>,
) -> Result<(Report, Option<SetUp>), GradeError> {
    let unreadable = |why| GradeError::SetUp { report, why };
    let set_up = set_up.map(serde_json::from_str).transpose().map_err(unreadable)?;
    Ok((items.value()?, set_up))
}

/// What came out.
#[derive(Debug)]
pub(super) struct Computed {
    pub(super) report: ReportId,
    pub(super) grade: Grade,
    /// The grade as it is stored.
    pub(super) result: Result<Packed, StoreError>,
    pub(super) reason: Option<Review>,
    pub(super) basis: Arc<Basis>,
    /// What it is searched for afterwards.
    pub(super) to_search: ToSearch,
}

impl Computed {
    /// The mark as it is stored.
    pub(super) fn mark(&self) -> Option<String> {
        self.grade.marks.r#final.map(|m| format!("{m:.1}"))
    }
}

/// One report with all that it is graded from, out of one row where its revisions are known, and how often something was added that
/// its grade does not know. What was graded once keeps
/// the truth of its plate until somebody decides on another one (`super::regrade`).
pub(super) async fn of_report(
    service: &Service,
    report: ReportId,
    decided: Option<Decided>,
) -> Result<(Work, Option<i64>), GradeError> {
    let row = grades::basis(&service.store, report)
        .await?
        .ok_or(LoadError::Missing("a report"))?;
    let decided = match decided {
        Some(decided) => decided,
        None if row.spoken_of => decided_faults::of(&service.store, report).await?.decided(),
        None => Decided::default(),
    };
    let of = Of {
        assignment: row.of_assignment.assignment,
        pair: row.pair,
        plate: row.plate,
    };
    let bases = Bases {
        service,
        of_assignment: BTreeMap::from([(of.assignment, Arc::new(Shared::of(service, row.of_assignment).await?))]),
    };
    let basis = bases.plate(of.assignment, of.plate, row.kept).await?;
    let hand_mark = |(line, points): (String, String)| {
        let points = points.parse().map_err(|_| StoreError::Unreadable {
            what: "points of a line",
            found: points.chars().take(40).collect(),
        });
        points.map(|points| (line, points))
    };
    let (items, set_up) = parsed(report, &row.items, row.set_up.as_deref())?;
    let hand_marks = row.hand_marks.into_iter().map(hand_mark).collect::<Result<_, _>>()?;
    let work = Work {
        report,
        of,
        items,
        hand_marks,
        decided,
        set_up,
        basis,
    };
    Ok((work, row.due))
}

/// Grades reports off the async threads, shared out among the processors; in the order of the works. A plate's search for
/// mistakes is prepared once for neighbouring works on the same basis.
pub(super) async fn compute(service: &Service, works: Vec<Work>) -> Result<Vec<Computed>, GradeError> {
    let share = works.len().div_ceil(service.processors).max(1);
    let mut tasks = Vec::new();
    let mut works = works.into_iter().peekable();
    while works.peek().is_some() {
        let part: Vec<Work> = works.by_ref().take(share).collect();
        let (service, known) = (service.clone(), service.known.clone());
        tasks.push(tokio::spawn(async move {
            apart(&service, move || graded(&known, part, |computed| computed)).await
        }));
    }
    let mut all = Vec::new();
    for task in tasks {
        let done = task.await.ok().flatten().ok_or(GradeError::Stopping)?;
        all.extend(done);
    }
    Ok(all)
}

/// Gets the search for mistakes on a plate ready, where it is not.
pub(super) async fn prepare(service: &Service, basis: Arc<Basis>) -> Result<(), GradeError> {
    if load::is_prepared(&service.known, &basis.prepared) {
        return Ok(());
    }
    let known = service.known.clone();
    let prepared = apart(service, move || {
        load::prepared(
            &known,
            &basis.prepared,
            (&basis.exercise, &basis.plate, &basis.siblings),
        );
    });
    prepared.await.ok_or(GradeError::Stopping)
}

/// Grades reports one after another, on the thread that calls it, and does with each what comes next before the next one: what is not
/// kept of it is gone while it is at hand.
pub(super) fn graded<T>(known: &Known, works: Vec<Work>, then: impl Fn(Computed) -> T) -> Vec<T> {
    let mut all = Vec::with_capacity(works.len());
    let mut works = works.into_iter().peekable();
    while let Some(first) = works.peek() {
        let basis = Arc::clone(&first.basis);
        let looking = load::prepared(known, &basis.prepared, (&basis.exercise, &basis.plate, &basis.siblings));
        while let Some(work) = works.next_if(|w| Arc::ptr_eq(&w.basis, &basis)) {
            all.push(then(one(work, looking.get().and_then(Option::as_ref))));
        }
    }
    all
}

fn one(work: Work, looking: Option<&Diagnoser>) -> Computed {
    let basis = &work.basis;
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
    let mut grade = grade_with(&input, looking);
    for item in grade.items.iter_mut().filter(|i| basis.dropped.contains(i.no.as_str())) {
        item.note = Some(LEFT_OUT.to_owned());
    }
    let marked = |line: &crate::exercise::model::MarksLine| work.hand_marks.contains_key(&line.name);
    let reason = review(&grade, &basis.rules, basis.rules.lines.iter().all(marked));
    let revisions = (basis.exercise_revision, basis.plate_revision);
    let references = Arc::clone(basis.references.get_or_init(|| Arc::new(references(&grade))));
    Computed {
        report: work.report,
        to_search: ToSearch::new(
            (work.report, work.of, revisions),
            work.items,
            references,
            &grade,
            reason,
        ),
        result: Packed::of(&grade),
        grade,
        reason,
        basis: work.basis,
    }
}
