//! The faults of a graded report: what was found, what else is possible, and the instructor's word on it.

use std::collections::BTreeMap;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::graded_report::{assignment_of, whole};
use super::report_review::Came;
use crate::actions::decide_faults::{self, DecideError, reading_of};
use crate::actions::load;
use crate::actions::my_result::grade_from;
use crate::exercise::model::Exercise;
use crate::grading::decided::{Answer, Decision, Verdict, kind};
use crate::grading::feedback::is_for_instructors;
use crate::grading::grade::{Diagnosis, DiagnosisState, NamedFault};
use crate::grading::named::{Field, family_words, fields, named};
use crate::grading::words;
use crate::procedure::fault::{Family, Fault};
use crate::store::ids::{ExerciseRevisionId, PersonId, ReportId};
use crate::store::reports::Report;
use crate::store::{decided_faults, exercises, grades, plates};
use crate::units::show_f64;
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::even::evenly;
use crate::web::fields::Fields;
use crate::web::guards::{Instructor, ReportOf};
use crate::web::render::Sheet;
use crate::web::times;

/// What stands on the page.
#[derive(Debug)]
pub(super) struct Faults {
    /// Of the grade that the page shows, so that nobody confirms what another page has changed.
    pub(super) grade: i64,
    pub(super) finding: &'static str,
    pub(super) found: Vec<FoundLine>,
    pub(super) others: Vec<OtherLine>,
    pub(super) unexplained: String,
    pub(super) decided: Vec<DecidedLine>,
    pub(super) check: Option<CheckLine>,
    pub(super) answers: Vec<AnswerLine>,
    pub(super) naming: Option<Naming>,
    pub(super) families: Vec<(String, String)>,
    /// The one that is being named; empty for none.
    pub(super) family: String,
    pub(super) may_decide: bool,
    /// What could not be done; empty for nothing.
    pub(super) wrong: String,
}

#[derive(Debug)]
pub(super) struct FoundLine {
    pub(super) title: String,
    pub(super) text: String,
    /// With its unit; empty where there is none or it is not for this person.
    pub(super) amount: String,
    pub(super) sure: String,
    pub(super) explains: String,
    pub(super) confirmed: bool,
    pub(super) for_instructors: bool,
}

#[derive(Debug)]
pub(super) struct OtherLine {
    /// Place among the alternatives of the grade.
    pub(super) place: usize,
    pub(super) text: String,
    pub(super) sure: String,
}

#[derive(Debug)]
pub(super) struct DecidedLine {
    pub(super) step: i64,
    pub(super) text: String,
}

#[derive(Debug)]
pub(super) struct CheckLine {
    pub(super) reading: String,
    pub(super) request: String,
    pub(super) label: String,
    pub(super) typed: String,
    pub(super) mend: String,
}

#[derive(Debug)]
pub(super) struct AnswerLine {
    pub(super) id: i64,
    pub(super) label: String,
    pub(super) value: String,
    pub(super) by: String,
}

/// The form for a fault that the person names.
#[derive(Debug)]
pub(super) struct Naming {
    pub(super) family: String,
    pub(super) words: &'static str,
    pub(super) fields: Vec<NamingField>,
    /// How it stands to what is said above; empty where nothing is.
    pub(super) how: Vec<(String, String)>,
}

#[derive(Debug)]
pub(super) struct NamingField {
    pub(super) field: Field,
    pub(super) typed: String,
    pub(super) mend: String,
}

/// A probability in words and figures.
pub(super) fn sure(probability: f64) -> String {
    let word = match probability {
        p if p >= 0.99 => "almost certain",
        p if p >= 0.90 => "very likely",
        p if p >= 0.70 => "likely",
        p if p >= 0.40 => "as likely as not",
        p if p >= 0.10 => "possible",
        _ => "unlikely",
    };
    // Nothing that is inferred is certain.
    if probability > 0.995 {
        return format!("{word}, more than 99 %");
    }
    if probability < 0.005 {
        return format!("{word}, less than 1 %");
    }
    format!("{word}, {} %", show_f64(probability * 100.0, 0))
}

const fn finding(state: DiagnosisState, decided: bool) -> &'static str {
    match (state, decided) {
        (DiagnosisState::Clean, _) => "The report fits the plate; no mistake is needed to explain it.",
        (DiagnosisState::FaultStated, _) => "What explains the numbers:",
        (DiagnosisState::FaultSuspected, _) => "What probably explains the numbers, not sure enough to count:",
        (DiagnosisState::Unexplained, true) => {
            "What was found is rejected, so that nothing explains the numbers and the mark is as reported."
        }
        (DiagnosisState::Unexplained, false) => {
            "The report does not fit the plate, and no mistake that is known explains it."
        }
        (DiagnosisState::NotLookedInto, _) => "Mistakes behind the numbers were not looked into.",
    }
}

/// A fault from its JSON.
fn fault_of(code: &str, parameters: &serde_json::Map<String, serde_json::Value>) -> Option<Fault> {
    let mut whole = serde_json::Map::new();
    whole.insert("fault".to_owned(), code.into());
    whole.insert("parameters".to_owned(), parameters.clone().into());
    serde_json::from_value(whole.into()).ok()
}

fn set_of(faults: &[NamedFault]) -> Vec<Fault> {
    faults
        .iter()
        .filter_map(|f| fault_of(&f.fault, &f.parameters))
        .collect()
}

/// Faults that stand on the page, as the grade has them.
fn now(diagnosis: &Diagnosis) -> Vec<Fault> {
    diagnosis
        .faults
        .iter()
        .filter_map(|f| fault_of(&f.fault, &f.parameters))
        .collect()
}

fn with_amount(exercise: &Exercise, fault: &Fault, truth: bool) -> String {
    let title = words::title(exercise, fault);
    match words::amount(exercise, fault).filter(|_| truth) {
        Some(amount) => format!("{title} by {amount}"),
        None => title,
    }
}

fn found(exercise: &Exercise, diagnosis: &Diagnosis, truth: bool) -> Vec<FoundLine> {
    let line = |f: &crate::grading::grade::FoundFault| {
        let fault = fault_of(&f.fault, &f.parameters);
        let hidden = !truth && is_for_instructors(&f.fault);
        let title = fault.as_ref().map_or_else(String::new, |f| words::title(exercise, f));
        let amount = fault
            .as_ref()
            .and_then(|f| words::amount(exercise, f))
            .filter(|_| truth);
        FoundLine {
            title: if hidden { String::new() } else { title },
            text: if hidden {
                "A fault that the instructor looks at.".to_owned()
            } else {
                f.text.clone()
            },
            amount: amount.unwrap_or_default(),
            sure: if f.confirmed {
                "confirmed".to_owned()
            } else {
                sure(f.probability)
            },
            explains: words::numbers(&f.explains),
            confirmed: f.confirmed,
            for_instructors: is_for_instructors(&f.fault),
        }
    };
    diagnosis.faults.iter().map(line).collect()
}

fn others(exercise: &Exercise, diagnosis: &Diagnosis, truth: bool) -> Vec<OtherLine> {
    let mut lines = Vec::new();
    for (place, a) in diagnosis.alternatives.iter().enumerate() {
        if !truth && a.faults.iter().any(|f| is_for_instructors(&f.fault)) {
            continue;
        }
        let titles: Vec<String> = set_of(&a.faults)
            .iter()
            .map(|f| with_amount(exercise, f, truth))
            .collect();
        lines.push(OtherLine {
            place,
            text: titles.join(", with "),
            sure: sure(a.probability),
        });
    }
    lines
}

fn decided_lines(exercise: &Exercise, kept: &decided_faults::Kept, truth: bool) -> Vec<DecidedLine> {
    let mut steps: BTreeMap<i64, Vec<String>> = BTreeMap::new();
    for row in &kept.decisions {
        let d = &row.decision;
        if !truth && is_for_instructors(d.fault.family().code()) {
            continue;
        }
        let verb = match d.verdict {
            Verdict::Confirmed => "confirmed",
            Verdict::Rejected => "rejected",
        };
        let given = truth && d.amount_given;
        let line = format!("{verb}: {}", with_amount(exercise, &d.fault, given));
        steps.entry(row.step).or_default().push(line);
    }
    let line = |(step, said): (i64, Vec<String>)| DecidedLine {
        step,
        text: said.join("; "),
    };
    steps.into_iter().map(line).collect()
}

fn naming(exercise: &Exercise, serials: &[String], came: &Came, any: bool) -> Option<Naming> {
    let code = came.naming.as_deref()?;
    let (_, family) = Family::ALL.into_iter().find(|(c, _)| *c == code)?;
    let field = |field: Field| NamingField {
        typed: came.typed(field.name),
        mend: came.mend(field.name),
        field,
    };
    let how = [
        ("instead", "in place of what stands above"),
        ("beside", "beside what stands above"),
    ];
    Some(Naming {
        family: code.to_owned(),
        words: family_words(family),
        fields: fields(exercise, serials, family).into_iter().map(field).collect(),
        how: if any {
            how.map(|(v, w)| (v.to_owned(), w.to_owned())).to_vec()
        } else {
            Vec::new()
        },
    })
}

/// Serials of the other plates of the exercise.
async fn serials(app: &App, revision: ExerciseRevisionId, own: &str) -> Result<Vec<String>, WebError> {
    let store = &app.service.store;
    let Some(of) = exercises::revision(store, revision).await? else {
        return Ok(Vec::new());
    };
    let plates = plates::of_exercise(store, of.exercise).await?;
    Ok(plates.into_iter().map(|p| p.serial).filter(|s| s != own).collect())
}

/// The part of the page.
pub(super) async fn part(
    app: &App,
    (report, revision): (&Report, ExerciseRevisionId),
    (exercise, diagnosis, grade): (&Exercise, &Diagnosis, i64),
    (came, truth): (&Came, bool),
    zone: &jiff::tz::TimeZone,
) -> Result<Faults, WebError> {
    let kept = decided_faults::of(&app.service.store, report.id).await?;
    let serials = serials(app, revision, &report.serial).await?;
    let check = diagnosis.check.as_ref().map(|c| CheckLine {
        reading: c.reading.to_string(),
        request: c.request.clone(),
        label: c.label.clone(),
        typed: came.typed("value"),
        mend: came.mend("value"),
    });
    let answer = |row: &decided_faults::AnswerRow| AnswerLine {
        id: row.id,
        label: row.answer.extra.label(exercise).unwrap_or_default(),
        value: crate::units::show_reading(&row.answer.reading),
        by: format!(
            "{}, {}",
            row.by.as_deref().unwrap_or("somebody who is deleted"),
            times::show(row.at, zone)
        ),
    };
    let families = Family::ALL.map(|(code, family)| (code.to_owned(), family_words(family).to_owned()));
    Ok(Faults {
        grade,
        finding: finding(diagnosis.state, !diagnosis.decided.is_empty()),
        found: found(exercise, diagnosis, truth),
        others: others(exercise, diagnosis, truth),
        unexplained: if diagnosis.unexplained.is_empty() {
            String::new()
        } else {
            words::numbers(&diagnosis.unexplained)
        },
        decided: decided_lines(exercise, &kept, truth),
        check,
        answers: kept.answers.iter().map(answer).collect(),
        naming: naming(exercise, &serials, came, !diagnosis.faults.is_empty()),
        families: families.to_vec(),
        family: came.naming.clone().unwrap_or_default(),
        may_decide: truth,
        wrong: came.mend("faults"),
    })
}

type Typed = BTreeMap<String, String>;

fn confirm(fault: &Fault) -> Decision {
    Decision {
        fault: fault.clone(),
        verdict: Verdict::Confirmed,
        amount_given: false,
    }
}

fn reject(fault: &Fault) -> Decision {
    Decision {
        verdict: Verdict::Rejected,
        ..confirm(fault)
    }
}

/// What the button asks for.
enum Asked {
    Say(Vec<Decision>),
    TakeBack(i64),
    TakeAnswerBack(i64),
    Wrong(String, String),
    Unknown,
}

/// Says it of every fault that stands there and is not among these.
fn instead(now: &[Fault], of: &[Fault]) -> Vec<Decision> {
    let others = now.iter().filter(|f| !of.iter().any(|g| kind(f) == kind(g)));
    others.map(reject).collect()
}

fn asked(typed: &Typed, diagnosis: &Diagnosis, exercise: &Exercise, serials: &[String]) -> Asked {
    let field = |name: &str| typed.get(name).map_or("", String::as_str);
    let (button, place) = match field("do").rsplit_once(':') {
        Some((button, place)) => (button, place.parse::<i64>().unwrap_or(-1)),
        None => (field("do"), -1),
    };
    let now = now(diagnosis);
    let at = usize::try_from(place).ok();
    let fault = at.and_then(|i| now.get(i));
    match (button, fault) {
        ("confirm", Some(fault)) => Asked::Say(vec![confirm(fault)]),
        ("reject", Some(fault)) => Asked::Say(vec![reject(fault)]),
        ("confirm-other", _) => {
            let Some(other) = at.and_then(|i| diagnosis.alternatives.get(i)) else {
                return Asked::Unknown;
            };
            let set = set_of(&other.faults);
            let mut said: Vec<Decision> = set.iter().map(confirm).collect();
            said.extend(instead(&now, &set));
            Asked::Say(said)
        }
        ("take-back", _) => Asked::TakeBack(place),
        ("take-answer-back", _) => Asked::TakeAnswerBack(place),
        ("name", _) => {
            let Some((_, family)) = Family::ALL.into_iter().find(|(c, _)| *c == field("family")) else {
                return Asked::Unknown;
            };
            match named(exercise, serials, family, typed) {
                Ok((fault, amount_given)) => {
                    let mut said = vec![Decision {
                        amount_given,
                        ..confirm(&fault)
                    }];
                    if field("how") != "beside" {
                        said.extend(instead(&now, &[fault]));
                    }
                    Asked::Say(said)
                }
                Err(mend) => Asked::Wrong(mend.field.to_owned(), mend.text),
            }
        }
        _ => Asked::Unknown,
    }
}

const CHANGED: &str = "The report was graded again meanwhile. Look at it as it is now, and say it once more.";

/// Confirms, rejects or names a fault, or takes that back.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    Instructor(person): Instructor,
    of: ReportOf,
    Fields(typed): Fields,
) -> Result<Response, WebError> {
    let service = &app.service;
    let report = of.report;
    let assignment = assignment_of(&app, &report).await?;
    let exercise = load::exercise(service, assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    let stored = grades::of(&service.store, report.id).await?.ok_or(WebError::NotFound)?;
    let grade = grade_from(&stored.result).map_err(WebError::internal)?;
    let serials = serials(&app, assignment.exercise_revision, &report.serial).await?;
    let said = asked(&typed, &grade.diagnosis, &exercise, &serials);
    let current = typed.get("grade").is_some_and(|g| *g == stored.id.to_string());
    let done = match said {
        Asked::Say(_) if !current => Err(Refused::Told(CHANGED.to_owned())),
        Asked::Say(said) => decide_faults::decide(service, report.id, &exercise, &said, person.id)
            .await
            .map_err(Refused::from),
        Asked::TakeBack(step) => decide_faults::take_back(service, report.id, step, person.id)
            .await
            .map_err(Refused::from),
        Asked::TakeAnswerBack(id) => decide_faults::take_answer_back(service, report.id, id, person.id)
            .await
            .map_err(Refused::from),
        Asked::Wrong(field, text) => Err(Refused::Field(field, text)),
        Asked::Unknown => return Err(WebError::NotFound),
    };
    let wrong = match done {
        Ok(()) => return Ok(Redirect::to(&format!("/reports/{}#faults", report.id)).into_response()),
        Err(Refused::Told(text)) => ("faults".to_owned(), text),
        Err(Refused::Field(field, text)) => (field, text),
        Err(Refused::Failed(error)) => return Err(error),
    };
    let came = Came {
        naming: typed.get("family").cloned(),
        typed,
        wrong: Some(wrong),
        ..Came::default()
    };
    let page = whole(&app, &of.person, report, assignment, &came).await?;
    Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

/// Why nothing was done.
enum Refused {
    /// Said above the faults.
    Told(String),
    /// Said at a field.
    Field(String, String),
    Failed(WebError),
}

impl From<DecideError> for Refused {
    fn from(error: DecideError) -> Self {
        match error {
            DecideError::Store(error) => Self::Failed(error.into()),
            DecideError::Grade(error) => Self::Failed(WebError::internal(error)),
            told => Self::Told(told.to_string()),
        }
    }
}

/// Takes the reading that is asked for, typed by whoever stands at the machine.
pub(super) async fn take(
    app: &App,
    report: ReportId,
    typed: &Typed,
    by: PersonId,
) -> Result<Result<(), String>, WebError> {
    let service = &app.service;
    let stored = grades::of(&service.store, report).await?.ok_or(WebError::NotFound)?;
    let grade = grade_from(&stored.result).map_err(WebError::internal)?;
    let field = |name: &str| typed.get(name).map_or("", String::as_str);
    let extra = field("reading").parse().map_err(|_| WebError::NotFound)?;
    let reading = match reading_of(field("value")) {
        Ok(reading) => reading,
        Err(mend) => return Ok(Err(mend)),
    };
    let asked = grade.diagnosis.check.map(|c| c.reading);
    let answer = Answer { extra, reading };
    // The report is graded again, and how long that takes hangs on what the plate is.
    match evenly(decide_faults::answer(service, report, asked.as_ref(), &answer, by)).await {
        Ok(_) => Ok(Ok(())),
        Err(error) => match Refused::from(error) {
            Refused::Failed(error) => Err(error),
            Refused::Told(text) | Refused::Field(_, text) => Ok(Err(text)),
        },
    }
}

/// The reading of the one check, typed by an instructor or assistant.
pub(in crate::web) async fn answer(
    State(app): State<App>,
    of: ReportOf,
    Fields(typed): Fields,
) -> Result<Response, WebError> {
    let (person, report) = (of.person, of.report);
    let assignment = assignment_of(&app, &report).await?;
    match take(&app, report.id, &typed, person.id).await? {
        Ok(()) => Ok(Redirect::to(&format!("/reports/{}#faults", report.id)).into_response()),
        Err(mend) => {
            let came = Came {
                typed,
                wrong: Some(("value".to_owned(), mend)),
                ..Came::default()
            };
            let page = whole(&app, &person, report, assignment, &came).await?;
            Ok(Sheet(StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}
