//! What stands beside a graded report for whoever reviews it: its place in the queue, why it waits, the mark that a
//! person set, words to the pair, its queries, and everything that was done.

use std::collections::{BTreeMap, BTreeSet};

use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::tz::TimeZone;
use serde::Deserialize;
use serde_json::Value;

use super::graded_report::{assignment_of, whole};
use super::my::evidence::of as evidence_of;
use super::report_alike::{Alike, alike};
use crate::actions::load;
use crate::actions::other_plate::{Say, SettleError, settle};
use crate::actions::review::{self, Act, ReviewError, Wrong, act};
use crate::actions::review_queue::{Line, Place};
use crate::grading::review::Need;
use crate::report::setup_record::SetUp;
use crate::store::assignments::Assignment;
use crate::store::ids::{QueryId, RemarkId, ReportId};
use crate::store::other_plates::Settled;
use crate::store::people::Person;
use crate::store::reports::{self, Report};
use crate::store::{attention, audit, evidence, other_plates, overrides, queries, remarks};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::fields::Fields;
use crate::web::guards::{ReportOf, may_change_class, may_see_truth};
use crate::web::render::Sheet;
use crate::web::times;

/// What a page comes back with.
#[derive(Debug, Default)]
pub(super) struct Came {
    /// Points of lines marked by hand, as typed, by field.
    pub(super) points: Option<BTreeMap<String, String>>,
    /// What was typed beside the report, by field.
    pub(super) typed: BTreeMap<String, String>,
    /// Field at fault, and how to mend it.
    pub(super) wrong: Option<(String, String)>,
    /// Report that the person was done with before this one.
    pub(super) done: Option<i64>,
    /// Family of the fault that the person names.
    pub(super) naming: Option<String>,
}

/// What stands beside a report.
#[derive(Debug)]
pub(super) struct Beside {
    pub(super) class: i64,
    /// Whether this person may set the mark.
    pub(super) may_set: bool,
    pub(super) place: Place,
    /// Why it waits, in words.
    pub(super) needs: Vec<String>,
    /// Balloon numbers that the reasons and the open queries speak of.
    pub(super) asks: BTreeSet<String>,
    pub(super) alike: Vec<Alike>,
    /// Where it is on another plate than the pair was given.
    pub(super) other_plate: Option<OtherPlate>,
    pub(super) plate_mend: String,
    /// What came back to be mended: field and text.
    pub(super) wrongs: Vec<(String, String)>,
    /// A mark that a person set.
    pub(super) set: Option<SetMark>,
    pub(super) mark: String,
    pub(super) reason: String,
    pub(super) mark_mend: String,
    pub(super) reason_mend: String,
    pub(super) remarks: Vec<Said>,
    pub(super) remark: String,
    pub(super) remark_mend: String,
    pub(super) queries: Vec<Query>,
    /// What the pair said beside its numbers.
    pub(super) said: String,
    /// The set-up record in words: what, and whether the print says otherwise.
    pub(super) set_up: Vec<(String, bool)>,
    /// Photos: row and name.
    pub(super) photos: Vec<(i64, String)>,
    /// Documents: row and name.
    pub(super) documents: Vec<(i64, String)>,
    /// When somebody was done with it and who, in words.
    pub(super) done: String,
    /// Report that the person was done with before this one.
    pub(super) before: Option<i64>,
    pub(super) trail: Vec<TrailLine>,
}

/// A report on another plate than the pair was given.
#[derive(Debug)]
pub(super) struct OtherPlate {
    pub(super) measured: String,
    pub(super) given: String,
    /// What the instructor said of it; empty while it is open.
    pub(super) settled: &'static str,
}

impl OtherPlate {
    fn of(other: other_plates::OtherPlate) -> Self {
        Self {
            measured: other.measured,
            given: other.given,
            settled: match other.settled {
                None => "",
                Some(Settled::Counts) => "It counts.",
                Some(Settled::Not) => "It does not count, and the pair has the attempt once more.",
            },
        }
    }
}

/// A mark that a person set.
#[derive(Debug)]
pub(super) struct SetMark {
    pub(super) mark: String,
    pub(super) reason: String,
    pub(super) by: String,
}

/// Words, who said them and when.
#[derive(Debug)]
pub(super) struct Said {
    pub(super) id: i64,
    pub(super) text: String,
    pub(super) by: String,
}

/// A query with its answer, or the field for it.
#[derive(Debug)]
pub(super) struct Query {
    pub(super) id: i64,
    pub(super) no: String,
    pub(super) text: String,
    pub(super) by: String,
    pub(super) answer: Option<Said>,
    pub(super) field: String,
    pub(super) typed: String,
    pub(super) mend: String,
}

/// One line of the trail.
#[derive(Debug)]
pub(super) struct TrailLine {
    pub(super) when: String,
    pub(super) who: String,
    pub(super) what: String,
}

fn by(name: Option<String>, when: crate::store::when::When, zone: &TimeZone) -> String {
    let name = name.unwrap_or_else(|| "somebody who is deleted".to_owned());
    format!("{name}, {}", times::show(when, zone))
}

impl Came {
    pub(super) fn typed(&self, field: &str) -> String {
        self.typed.get(field).cloned().unwrap_or_default()
    }

    pub(super) fn mend(&self, field: &str) -> String {
        match &self.wrong {
            Some((at, mend)) if at == field => mend.clone(),
            _ => String::new(),
        }
    }
}

/// Everything beside a report.
pub(super) async fn beside(
    app: &App,
    person: &Person,
    report: &Report,
    assignment: &Assignment,
    came: &Came,
) -> Result<Beside, WebError> {
    let (service, zone) = (&app.service, times::zone(&assignment.time_zone));
    let store = &service.store;
    let truth = may_see_truth(person);
    let line = Line::of_class(store, assignment.class, truth).await?;
    let needs = line.needs(store, report.id).await?;
    let done = attention::done_with(store, report.id).await?;
    let set = overrides::of(store, report.id).await?.map(|o| SetMark {
        mark: o.mark.to_string(),
        reason: o.reason,
        by: by(o.made_by, o.made_at, &zone),
    });
    let said = remarks::of(store, report.id).await?.into_iter().map(|r| Said {
        id: r.id.0,
        text: r.text,
        by: by(r.made_by, r.made_at, &zone),
    });
    let queries = asked(app, report.id, &zone, came).await?;
    let trail = audit::of(store, "report", report.id.0).await?;
    let note = reports::note(store, report.id).await?;
    let (photos, documents) = evidence::of(store, evidence_of(report))
        .await?
        .into_iter()
        .partition::<Vec<_>, _>(|e| e.kind == evidence::Kind::Jpeg);
    let named = |all: Vec<evidence::Evidence>| all.into_iter().map(|e| (e.id.0, e.name)).collect();
    Ok(Beside {
        said: note.remarks.unwrap_or_default(),
        set_up: set_up(app, assignment, note.set_up.as_deref()).await?,
        photos: named(photos),
        documents: named(documents),
        class: assignment.class.0,
        may_set: may_change_class(person),
        place: line.place(report.id),
        needs: needs.iter().map(Need::text).collect(),
        alike: alike(app, person, report).await?,
        other_plate: other_plates::of(store, report.id).await?.map(OtherPlate::of),
        plate_mend: came.mend("which-plate"),
        wrongs: came.wrong.iter().cloned().collect(),
        set,
        mark: came.typed("mark"),
        reason: came.typed("reason"),
        mark_mend: came.mend("mark"),
        reason_mend: came.mend("reason"),
        remarks: said.collect(),
        remark: came.typed("remark"),
        remark_mend: came.mend("remark"),
        asks: asks(&needs, &queries),
        queries,
        done: done.map(|(at, name)| by(name, at, &zone)).unwrap_or_default(),
        before: came.done,
        trail: trail.into_iter().map(|line| trail_line(line, &zone)).collect(),
    })
}

/// The numbers to look at: those with a call in doubt, and those that the pair asks about.
fn asks(needs: &[Need], queries: &[Query]) -> BTreeSet<String> {
    let doubtful = needs.iter().filter_map(|need| match need {
        Need::DoubtfulCall(nos) => Some(nos.iter().map(|no| no.as_str().to_owned())),
        _ => None,
    });
    let open = queries.iter().filter(|q| q.answer.is_none() && !q.no.is_empty());
    doubtful.flatten().chain(open.map(|q| q.no.clone())).collect()
}

/// The set-up record, line by line; first what the print says otherwise.
async fn set_up(app: &App, assignment: &Assignment, stored: Option<&str>) -> Result<Vec<(String, bool)>, WebError> {
    let Some(stored) = stored else { return Ok(Vec::new()) };
    let record: SetUp = serde_json::from_str(stored).map_err(WebError::internal)?;
    let exercise = load::exercise(&app.service, assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    let mut lines: Vec<(String, bool)> = record
        .otherwise(&exercise)
        .into_iter()
        .map(|o| (o.text, true))
        .collect();
    let touched = record.touched.iter().map(|t| {
        let face = t.face.map_or("another surface", crate::exercise::model::Face::word);
        format!("datum {}: {face}", t.letter)
    });
    let tip = record
        .tip
        .map(|t| format!("tip {} {}", crate::units::show_number(t.normalize()), exercise.units));
    let unit = record.unit.map(|u| format!("machine in {u}"));
    let temperature = record
        .temperature
        .map(|t| format!("{} \u{b0}C", crate::units::show_number(t.normalize())));
    let said: Vec<String> = touched.chain(tip).chain(unit).chain(temperature).collect();
    lines.push((said.join(", "), false));
    Ok(lines)
}

async fn asked(app: &App, report: ReportId, zone: &TimeZone, came: &Came) -> Result<Vec<Query>, WebError> {
    let all = queries::of(&app.service.store, report).await?;
    let query = |q: queries::Query| {
        let field = format!("answer-{}", q.id);
        Query {
            id: q.id.0,
            no: q.no.unwrap_or_default(),
            text: q.text,
            by: by(q.asked_by, q.asked_at, zone),
            answer: q.answer.map(|a| Said {
                id: q.id.0,
                text: a.text,
                by: by(a.by, a.at, zone),
            }),
            typed: came.typed(&field),
            mend: came.mend(&field),
            field,
        }
    };
    Ok(all.into_iter().map(query).collect())
}

fn trail_line(line: audit::Line, zone: &TimeZone) -> TrailLine {
    let detail: Value = serde_json::from_str(&line.detail).unwrap_or_default();
    TrailLine {
        when: times::show(line.at, zone),
        who: line.person.unwrap_or_else(|| "the server".to_owned()),
        what: trail_words(&line.what, &detail),
    }
}

fn trail_words(what: &str, detail: &Value) -> String {
    let text = |key: &str| detail.get(key).and_then(Value::as_str).unwrap_or_default();
    match what {
        "set-mark" => format!("set the mark to {}: {}", text("mark"), text("reason")),
        "take-mark-back" => "took the set mark back".to_owned(),
        "remark" => format!("told the pair: {}", text("text")),
        "withdraw-remark" => "withdrew a remark".to_owned(),
        "ask" => format!("asked: {}", text("text")),
        "answer-query" => format!("answered: {}", text("text")),
        "take-answer-back" => "took an answer back".to_owned(),
        "done-with-report" => "was done with it".to_owned(),
        "not-done-with-report" => "took \u{201c}done\u{201d} back".to_owned(),
        "mark-by-hand" => "marked lines by hand".to_owned(),
        "decide-faults" => said_of_faults(detail),
        "take-back-faults" => "took back what was said of faults".to_owned(),
        "answer-check" => format!("typed {} for the check", text("value")),
        "take-back-check" => "took a reading of the check back".to_owned(),
        "measured-other-plate" => format!("measured plate {}, was given {}", text("measured"), text("given")),
        "other-plate-counts" => format!("said that plate {} counts", text("measured")),
        "other-plate-does-not-count" => format!("said that plate {} does not count", text("measured")),
        "pair-moved-to-plate" => format!("gave the pair plate {}, and it counts", text("measured")),
        "other-plate-open-again" => "took back what was said of the plate".to_owned(),
        "add-evidence" => "added a photo or PDF".to_owned(),
        other => other.replace('-', " "),
    }
}

/// `confirmed: origin off along X; rejected: ...; the mark is 84.0`.
fn said_of_faults(detail: &Value) -> String {
    let list = |key: &str| {
        let all = detail.get(key).and_then(Value::as_array).into_iter().flatten();
        all.filter_map(Value::as_str).collect::<Vec<_>>().join(", ")
    };
    let said = [("confirmed", list("confirmed")), ("rejected", list("rejected"))];
    let mut parts: Vec<String> = said
        .into_iter()
        .filter(|(_, what)| !what.is_empty())
        .map(|(verb, what)| format!("{verb}: {what}"))
        .collect();
    if let Some(mark) = detail.get("mark").and_then(Value::as_str) {
        parts.push(format!("the computed mark is {mark}"));
    }
    parts.join("; ")
}

/// What the button asks for, from what was typed; or the field at fault.
fn wanted(typed: &BTreeMap<String, String>) -> Result<Act, (String, Wrong)> {
    let field = |name: &str| typed.get(name).map_or("", String::as_str);
    let words = |name: &str| review::words(field(name)).map_err(|wrong| (name.to_owned(), wrong));
    let (button, id) = match field("do").rsplit_once(':') {
        Some((button, id)) => (button, id.parse().unwrap_or(0)),
        None => (field("do"), 0),
    };
    Ok(match button {
        "set-mark" => Act::Set {
            mark: review::mark(field("mark")).map_err(|wrong| ("mark".to_owned(), wrong))?,
            reason: words("reason")?,
        },
        "take-mark-back" => Act::TakeMarkBack,
        "remark" => Act::Remark(words("remark")?),
        "withdraw" => Act::Withdraw(RemarkId(id)),
        "answer" => Act::Answer(QueryId(id), words(&format!("answer-{id}"))?),
        "take-answer-back" => Act::TakeAnswerBack(QueryId(id)),
        "done" => Act::Done,
        "not-done" => Act::NotDone,
        _ => return Err(("mark".to_owned(), Wrong::Gone)),
    })
}

fn mend(wrong: &Wrong) -> String {
    match wrong {
        Wrong::Text => format!("Write at least one word, and at most {} characters.", review::TEXT),
        Wrong::Mark => "Write a mark from 0 to 100 with at most one decimal.".to_owned(),
        Wrong::Gone => {
            "It is not there any more: another page of this report changed it. Look at the report as it is now."
                .to_owned()
        }
    }
}

/// Does what the button asks for; after \u{201c}done\u{201d} the next report of the queue comes.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    of: ReportOf,
    Fields(typed): Fields,
) -> Result<Response, WebError> {
    let ReportOf { person, report } = of;
    let assignment = assignment_of(&app, &report).await?;
    let (wrong, field) = match wanted(&typed) {
        // An assistant looks, says and answers; marks are the instructor's.
        Ok(Act::Set { .. } | Act::TakeMarkBack) if !may_change_class(&person) => {
            return Err(WebError::NotForYou("instructors"));
        }
        Ok(wanted) => {
            let next = next(&app, &assignment, (report.id, may_see_truth(&person)), &wanted).await?;
            match act(&app.service, report.id, person.id, &wanted).await {
                Ok(()) => return Ok(Redirect::to(&next).into_response()),
                Err(ReviewError::Store(error)) => return Err(error.into()),
                Err(ReviewError::Wrong(wrong)) => (wrong, "mark".to_owned()),
            }
        }
        Err((field, wrong)) => (wrong, field),
    };
    let status = if wrong == Wrong::Gone {
        StatusCode::CONFLICT
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    let came = Came {
        typed,
        wrong: Some((field, mend(&wrong))),
        ..Came::default()
    };
    let page = whole(&app, &person, report, assignment, &came).await?;
    Ok(Sheet(status, page).into_response())
}

/// What the instructor says of a report on another plate.
#[derive(Debug, Deserialize)]
pub(in crate::web) struct OfPlate {
    #[serde(default)]
    say: String,
}

/// Settles a report on another plate than the pair was given.
pub(in crate::web) async fn settle_plate(
    State(app): State<App>,
    of: ReportOf,
    Form(typed): Form<OfPlate>,
) -> Result<Response, WebError> {
    let ReportOf { person, report } = of;
    let say = match typed.say.as_str() {
        "counts" => Say::Counts,
        "not" => Say::Not,
        "move" => Say::Move,
        "open" => Say::Open,
        _ => return Err(WebError::NotFound),
    };
    let mend = match settle(&app.service, report.id, say, person.id).await {
        Ok(()) => return Ok(Redirect::to(&format!("/reports/{}#which-plate", report.id)).into_response()),
        Err(SettleError::IsOwn) => return Err(WebError::NotFound),
        Err(SettleError::NotGivenOut) => format!(
            "Plate {} is not one that is given out for this assignment: it was withdrawn meanwhile, or is of the other kind. Say whether the report counts, and give the pair a plate on the page of the assignment.",
            report.serial
        ),
        Err(SettleError::Store(error)) => return Err(error.into()),
        Err(error @ SettleError::Unwritable(_)) => return Err(WebError::internal(error)),
    };
    let assignment = assignment_of(&app, &report).await?;
    let came = Came {
        wrong: Some(("which-plate".to_owned(), mend)),
        ..Came::default()
    };
    let page = whole(&app, &person, report, assignment, &came).await?;
    Ok(Sheet(StatusCode::CONFLICT, page).into_response())
}

/// Where to go afterwards: to the next report of the queue. An answer or a word on a fault may have moved this one down, past
/// others; these come after the last.
async fn next(
    app: &App,
    assignment: &Assignment,
    (report, truth): (ReportId, bool),
    wanted: &Act,
) -> Result<String, WebError> {
    if *wanted != Act::Done {
        return Ok(format!("/reports/{report}#review"));
    }
    let line = Line::of_class(&app.service.store, assignment.class, truth).await?;
    Ok(match line.place(report).next.or_else(|| line.first_but(report)) {
        Some(next) => format!("/reports/{next}?done={report}"),
        None => format!("/classes/{}/review?done={report}", assignment.class),
    })
}
