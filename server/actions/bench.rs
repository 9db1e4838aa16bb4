//! The bench now: drafts that are being written, and for the instructor how they look by the truth of their plates,
//! while the plate is still clamped.

use std::collections::{BTreeMap, BTreeSet};

use super::Service;
use super::grade_report::{GradeError, apart};
use super::load::{self, LoadError};
use super::my_result::grade_from;
use crate::exercise::model::Exercise;
use crate::grading::decided::UNDECIDED;
use crate::grading::grade::{DiagnosisState, Grade};
use crate::grading::{GradeInput, grade};
use crate::report::assemble::{Field, FromForm, from_form};
use crate::report::model::Report;
use crate::report::setup_record::SetUp;
use crate::report::table::ReadOptions;
use crate::store::ids::{ClassId, ReportId};
use crate::store::turns::{self, DraftLine};
use crate::store::when::When;
use crate::store::{StoreError, assignments, plates};

/// How far a draft is.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Progress {
    /// Lines with a value.
    pub filled: usize,
    /// Lines of the exercise.
    pub of: usize,
    /// Balloon numbers whose field cannot be read yet.
    pub unreadable: Vec<String>,
}

/// How a draft looks by the truth. Never for students, nor for assistants.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Odd {
    /// What probably happened, in the instructor's words.
    pub faults: Vec<String>,
    /// Balloon numbers whose value is far from the plate's.
    pub far: Vec<String>,
    /// What the pair could still read that would tell what is open; empty for nothing.
    pub ask: String,
}

/// A reading that would tell what a report leaves open, while its pair is still there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ask {
    /// The report.
    pub report: ReportId,
    /// Name of the pair.
    pub pair_name: String,
    /// What was measured.
    pub title: String,
    /// What to ask the pair for.
    pub request: String,
}

fn fields(exercise: &Exercise, typed: &BTreeMap<String, String>) -> Vec<Field> {
    let of = |name: String| typed.get(&name).cloned().unwrap_or_default();
    let field = |no: &str| Field {
        no: no.to_owned(),
        measured: of(format!("m-{no}")),
        call: of(format!("c-{no}")),
    };
    exercise.characteristics.iter().map(|c| field(c.no.as_str())).collect()
}

/// A draft as a report, without the fields that cannot be read.
fn readable(exercise: &Exercise, mut fields: Vec<Field>) -> (Option<Report>, Vec<String>) {
    let options = ReadOptions::default();
    let mut unreadable = BTreeSet::new();
    for _ in 0..2 {
        match from_form(exercise, &fields, &options) {
            FromForm::Report(assembled) => return (Some(assembled.report), unreadable.into_iter().collect()),
            FromForm::AskDecimalMark(_) => break,
            FromForm::Problems(problems) => {
                let nos: BTreeSet<String> = problems.into_iter().filter_map(|p| p.no).collect();
                for field in fields.iter_mut().filter(|f| nos.contains(&f.no)) {
                    field.measured.clear();
                    field.call.clear();
                }
                unreadable.extend(nos);
            }
        }
    }
    (None, unreadable.into_iter().collect())
}

fn typed(draft: &DraftLine) -> BTreeMap<String, String> {
    serde_json::from_str(&draft.fields).unwrap_or_default()
}

/// How far a draft is; free of the truth.
///
/// # Errors
/// When the exercise cannot be loaded.
pub async fn progress(service: &Service, draft: &DraftLine) -> Result<Progress, LoadError> {
    let assignment = assignments::one(&service.store, draft.assignment)
        .await?
        .ok_or(LoadError::Missing("an assignment"))?;
    let exercise = load::exercise(service, assignment.exercise_revision).await?;
    let fields = fields(&exercise, &typed(draft));
    let filled = fields.iter().filter(|f| !f.measured.trim().is_empty()).count();
    let (_, unreadable) = readable(&exercise, fields);
    Ok(Progress {
        filled,
        of: exercise.characteristics.len(),
        unreadable,
    })
}

/// How a draft looks by the truth of the pair's plate: graded by the one door, and never stored. None where nothing can
/// be said yet: fewer than three values, or no plate.
///
/// # Errors
/// When something it is computed from cannot be loaded.
pub async fn odd(service: &Service, draft: &DraftLine) -> Result<Option<Odd>, GradeError> {
    let Some(plate) = draft.plate else { return Ok(None) };
    let assignment = assignments::one(&service.store, draft.assignment)
        .await?
        .ok_or(LoadError::Missing("an assignment"))?;
    let exercise = load::exercise(service, assignment.exercise_revision).await?;
    let typed = typed(draft);
    let (Some(report), _) = readable(&exercise, fields(&exercise, &typed)) else {
        return Ok(None);
    };
    // As far as the pair has written it; a field that cannot be read yet says nothing.
    let set_up = SetUp::from_fields(&exercise, |name| typed.get(name).cloned().unwrap_or_default()).ok();
    if report.items.iter().filter(|i| i.measured.is_some()).count() < 3 {
        return Ok(None);
    }
    let (revision, _) = plates::newest_truth(&service.store, plate)
        .await?
        .ok_or(LoadError::Missing("a plate"))?;
    let plate = load::plate(service, &exercise, revision).await?;
    let siblings = load::siblings(service, &exercise, assignment.exercise_revision).await?;
    let marks_override = assignment.marks_override.as_deref();
    let rules = load::rules(service, assignment.exercise_revision, &exercise, marks_override).await?;
    let graded = apart(service, move || {
        let hand_marks = BTreeMap::new();
        grade(&GradeInput {
            name: "draft",
            exercise: &exercise,
            plate: &plate,
            rules: &rules,
            report: &report,
            hand_marks: &hand_marks,
            siblings: &siblings,
            decided: &UNDECIDED,
            set_up: set_up.as_ref(),
        })
    });
    let grade = graded.await.ok_or(GradeError::Stopping)?;
    Ok(Some(looks(&grade)))
}

fn looks(grade: &Grade) -> Odd {
    let told = matches!(
        grade.diagnosis.state,
        DiagnosisState::FaultStated | DiagnosisState::FaultSuspected
    );
    let faults = grade
        .diagnosis
        .faults
        .iter()
        .filter(|_| told)
        .map(|f| f.text.clone())
        .collect();
    let far = grade
        .items
        .iter()
        .filter(|i| i.measured.is_some() && i.measurement_score.is_some_and(|s| s <= 0.0))
        .map(|i| i.no.as_str().to_owned())
        .collect();
    let ask = grade.diagnosis.check.as_ref().map(|c| c.request.clone());
    Odd {
        faults,
        far,
        ask: ask.unwrap_or_default(),
    }
}

/// How long after handing in a pair without a turn counts as still at the machine.
const STILL_THERE: i64 = 30 * 60_000;

/// The readings that would tell what reports leave open, of pairs that are at a machine by the rota or handed in within the
/// last half hour; of each pair only its last report.
///
/// # Errors
/// When the database does not answer, or a grade cannot be read.
pub async fn asks(service: &Service, class: ClassId) -> Result<Vec<Ask>, GradeError> {
    let now = service.clock.now();
    let since = When::from(now.millisecond() - STILL_THERE);
    let mut asks = Vec::new();
    for line in turns::last_reports(&service.store, class, since, now).await? {
        let grade = grade_from(&line.result)?;
        asks.extend(grade.diagnosis.check.map(|check| Ask {
            report: line.report,
            pair_name: line.pair_name,
            title: line.title,
            request: check.request,
        }));
    }
    Ok(asks)
}

/// Everything that the bench shows of a draft.
///
/// # Errors
/// When the database does not answer.
pub async fn drafts(service: &Service, class: ClassId) -> Result<Vec<DraftLine>, StoreError> {
    let since = service.clock.now().millisecond() - 6 * 3_600_000;
    turns::drafts(&service.store, class, since.into()).await
}
