//! Report entry: typed, pasted or taken from a CSV file, kept at any time, handed in once.
//!
//! Whatever is wrong comes back on the same page with everything that was typed; nothing is handed in by half.

use std::collections::BTreeMap;
use std::sync::Arc;

use askama::Template;
use axum::Json;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, HeaderName, StatusCode};
use axum::response::{IntoResponse, Response};
use axum_extra::extract::CookieJar;
use serde::{Deserialize, Serialize};

use super::entry_beside::Beside;
use super::entry_form::{Ask, Form, REMARKS};
use super::entry_photo::Photo;
use crate::actions::fresh;
use crate::actions::hand_in_report::{self, HandIn, HandInError, NotInIt, hand_in_report};
use crate::actions::keep_draft::{self, DraftError};
use crate::actions::load;
use crate::exercise::model::Exercise;
use crate::report::assemble::{Field, Problem};
use crate::report::check::{Doubt, Remark, check};
use crate::report::draft::Written;
use crate::report::model::Report;
use crate::report::setup_record::Otherwise;
use crate::store::assignments::{self, Mine};
use crate::store::ids::{AssignmentId, ReportId};
use crate::store::people::Person;
use crate::store::reports::Note;
use crate::units::LengthUnit;
use crate::web::app::App;
use crate::web::errors::{Explained, WebError};
use crate::web::even::evenly;
use crate::web::frame::Frame;
use crate::web::guards::MyAssignment;
use crate::web::pages::sign_in::is_shared;
use crate::web::render::Sheet;
use crate::web::sheet::{self, SheetRow};
use crate::web::times;
use crate::web::upload::Upload;

#[derive(Debug, Template)]
#[template(path = "my_entry.html")]
pub(in crate::web) struct MyEntry {
    frame: Frame,
    id: AssignmentId,
    title: String,
    code: String,
    pair: String,
    serial: String,
    attempt: i64,
    attempts: i64,
    unit: &'static str,
    decimals: u32,
    key: String,
    source: String,
    source_name: String,
    wrongs: Vec<(String, String)>,
    is_only_here: bool,
    said: Vec<String>,
    /// Where the photo or PDF of the form is, if that is not beside its attempt.
    said_of_photo: String,
    /// The report that was handed in, with other numbers or other words, for the attempt that the page was for.
    taken: Option<ReportId>,
    /// What was written beside the same numbers and is not in that report; empty where the numbers are others.
    not_in_it: String,
    ask: Vec<Ask>,
    ask_columns: bool,
    open: bool,
    pasted: String,
    pasted_mend: String,
    file_mend: String,
    rows: Vec<Row>,
    kept: String,
    missing: usize,
    confirm: bool,
    /// Whether the unit of what is written is asked about.
    ask_unit: bool,
    other_unit: &'static str,
    base: String,
    /// Whether the lines stand in the order of their numbers.
    by_number: bool,
    beside: Beside,
    owner: i64,
    drawing: String,
    cells: Vec<(&'static str, String)>,
}

#[derive(Debug)]
struct Row {
    sheet: SheetRow,
    measured: String,
    call: String,
    mend: String,
    /// Partners wrote two values: both, with the words for each.
    two: Vec<(String, String)>,
    two_calls: Vec<(String, String)>,
}

/// What a page comes back with.
#[derive(Debug, Default)]
pub(super) struct Back {
    pub(super) said: Vec<String>,
    pub(super) problems: Vec<Problem>,
    pub(super) ask: Vec<Ask>,
    pub(super) ask_columns: bool,
    pub(super) file_mend: String,
    pub(super) pasted_mend: String,
    pub(super) kept: String,
    pub(super) missing: usize,
    pub(super) confirm: bool,
    /// What the check found.
    pub(super) checks: Vec<Remark>,
    /// What is wrong with the set-up record.
    pub(super) set_up: Vec<Otherwise>,
    pub(super) evidence_mend: String,
    /// Where the photo or PDF of the form is, if that is not beside its attempt.
    pub(super) said_of_photo: String,
    /// What is wrong with the serial of another plate.
    pub(super) plate_mend: String,
    /// Fields in which partners wrote two things: name, what stands, what else was written and by whom.
    pub(super) two: Vec<Two>,
    /// The report that was handed in, with other numbers or other words, for the attempt that the page was for.
    pub(super) taken: Option<ReportId>,
    /// What was written beside the same numbers and is not in that report.
    pub(super) not_in_it: NotInIt,
    /// Whether what was typed is on the page only.
    pub(super) is_only_here: bool,
}

/// A field in which partners wrote two things.
#[derive(Debug, Clone)]
pub(super) struct Two {
    pub(super) name: String,
    pub(super) stands: String,
    pub(super) other: String,
    /// Whether the other one was written by whoever looks at the page.
    pub(super) other_is_mine: bool,
}

impl Back {
    /// Whether something has to be mended or answered first.
    pub(super) fn is_wrong(&self) -> bool {
        let mends = [
            &self.file_mend,
            &self.pasted_mend,
            &self.evidence_mend,
            &self.plate_mend,
        ];
        !self.problems.is_empty()
            || !self.checks.is_empty()
            || !self.set_up.is_empty()
            || !self.two.is_empty()
            || self.taken.is_some()
            || !self.ask.is_empty()
            || self.ask_columns
            || mends.iter().any(|m| !m.is_empty())
    }

    /// Whether the numbers were handed in before, without what is written beside them here.
    fn status(&self) -> StatusCode {
        if self.taken.is_some() {
            StatusCode::CONFLICT
        } else if self.is_wrong() {
            StatusCode::UNPROCESSABLE_ENTITY
        } else {
            StatusCode::OK
        }
    }

    pub(super) fn is_of_other_words(&self) -> bool {
        self.not_in_it != NotInIt::default()
    }

    pub(super) fn problem(text: impl Into<String>) -> Self {
        Self {
            problems: vec![Problem {
                line: None,
                no: None,
                text: text.into(),
            }],
            ..Self::default()
        }
    }
}

/// In which order the lines stand.
#[derive(Debug, Default, Deserialize)]
pub(in crate::web) struct Order {
    #[serde(default)]
    order: String,
}

impl Order {
    pub(super) fn by_number(&self) -> bool {
        self.order == "number"
    }
}

/// The page as it begins: with what the pair has written so far.
pub(in crate::web) async fn page(
    State(app): State<App>,
    MyAssignment { person, mine }: MyAssignment,
    jar: CookieJar,
    Query(order): Query<Order>,
) -> Result<Response, WebError> {
    let exercise = load::exercise(&app.service, mine.assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    if let Some(closed) = closed(&mine) {
        return Err(closed);
    }
    fresh::get_ready(&app.service, &mine);
    let draft = keep_draft::draft(&app.service, &mine)
        .await
        .map_err(WebError::internal)?;
    let zone = times::zone(&mine.assignment.time_zone);
    let mut form = Form::of_draft(&exercise, BTreeMap::new(), mine.handed_in + 1);
    let mut back = Back::default();
    if let Some(draft) = &draft {
        form.take(&exercise, &draft.written);
        back.kept = format!("Kept {}.", times::show(draft.kept_at, &zone));
        back.two = two(&draft.written, &person);
    }
    let page = entry(&app, &person, &mine, &exercise, form, back, &order).await?;
    Ok((keep_for(&jar, &person), Sheet(StatusCode::OK, page)).into_response())
}

/// Leave for the device to keep this sheet, so that it opens again without a network: for whom. Never on a device that many
/// people use.
pub(super) fn keep_for(jar: &CookieJar, person: &Person) -> Option<[(HeaderName, String); 1]> {
    (!is_shared(jar)).then(|| [(HeaderName::from_static("x-keep-for"), person.id.0.to_string())])
}

/// Fields in which partners wrote two things.
pub(super) fn two(written: &Written, person: &Person) -> Vec<Two> {
    written
        .asked()
        .map(|(name, stands, (other, by))| Two {
            name: name.to_owned(),
            stands: stands.to_owned(),
            other: other.clone(),
            other_is_mine: *by == person.id.0,
        })
        .collect()
}

/// Why nothing can be entered, as a page of its own.
pub(super) fn closed(mine: &Mine) -> Option<WebError> {
    let (title, what, mend) = if mine.plate.is_none() {
        (
            "No plate yet",
            "Your pair has no plate for this, so there is nothing to report on.",
            "Ask your instructor which plate is yours.",
        )
    } else if mine.handed_in >= mine.assignment.attempts {
        (
            "All attempts are handed in",
            "Your pair has used every attempt at this.",
            "Look at the results, or ask your instructor for another attempt.",
        )
    } else {
        return None;
    };
    let page = Explained::new(StatusCode::CONFLICT, title, what, mend);
    Some(
        page.to(format!("/my/{}", mine.assignment.id), "Back to the assignment")
            .into(),
    )
}

/// What was kept, for the script of the page.
#[derive(Debug, Serialize)]
struct Kept<'a> {
    kept: &'a str,
    fields: &'a BTreeMap<String, String>,
    base: String,
    /// Fields in which partners wrote two things.
    two: Vec<&'a str>,
}

/// Keeps, reads a table into the fields, or hands in, as the button says.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    MyAssignment { person, mine }: MyAssignment,
    Query(order): Query<Order>,
    headers: HeaderMap,
    upload: Upload,
) -> Result<Response, WebError> {
    let exercise = load::exercise(&app.service, mine.assignment.exercise_revision)
        .await
        .map_err(WebError::internal)?;
    let mut form = Form::of_upload(&exercise, &upload, mine.handed_in + 1);
    // The draft first: whatever happens below, what was typed is there again, and what a partner typed is here.
    let mut kept = keep(&app, &mine, &person, &exercise, &mut form).await;
    if headers.contains_key("x-keep") {
        return answer_of_keeping(kept);
    }
    let photo = Photo::take(&app, &person, (&mine, form.attempt), &upload).await;
    let mine = if photo.waits() {
        stands_now(&app, &person, &mine).await?
    } else {
        mine
    };
    let had_table = form.has_table();
    let done = done(&exercise, &mine, &mut form, &upload, (&kept, &person));
    let done = if photo.mend.is_empty() {
        done
    } else {
        Err(done.err().unwrap_or_default())
    };
    let back = match done {
        Ok(report) => match hand_in(&app, &person, &mine, &exercise, &form, &report).await? {
            Ok(report) => return photo.beside(&app, &person, &mine, report).await?.answer(report),
            Err(back) => back,
        },
        Err(back) => *back,
    };
    let said_unit = upload.field("unit-read") == "other";
    if (had_table && !form.has_table()) || said_unit {
        // What was read from the table, and the unit that was said, are kept as what is typed is.
        kept = keep(&app, &mine, &person, &exercise, &mut form).await;
    }
    let mine = match back.taken {
        Some(_) => next_attempt(&app, &person, &mine, &mut form).await?,
        None => mine,
    };
    let photo = match back.taken {
        Some(report) if back.is_of_other_words() => photo.beside(&app, &person, &mine, report).await?,
        _ => photo.beside_next(&app, &person, &mine).await?,
    };
    let by_fault = photo.by_fault;
    let mut back = Back {
        evidence_mend: photo.mend,
        said_of_photo: photo.said,
        is_only_here: kept.is_err(),
        ..back
    };
    if let Ok(kept) = &kept {
        back.kept.clone_from(&kept.words);
        back.two = two(&kept.written, &person);
    }
    let status = match &kept {
        Err(unkept) => unkept.status,
        Ok(_) if by_fault => StatusCode::SERVICE_UNAVAILABLE,
        Ok(_) => back.status(),
    };
    let page = entry(&app, &person, &mine, &exercise, form, back, &order).await?;
    Ok(Sheet(status, page).into_response())
}

/// What the button of the form asks for, as far as it is done without the store: the report that is to be handed in, or what goes back.
fn done(
    exercise: &Exercise,
    mine: &Mine,
    form: &mut Form,
    upload: &Upload,
    (kept, person): (&Result<KeptDraft, Unkept>, &Person),
) -> Result<Report, Box<Back>> {
    match (kept, upload.field("do")) {
        (Err(unkept), _) => Err(Box::new(Back::problem(unkept.text))),
        (Ok(kept), "hand-in") => {
            // What was handed in meanwhile, or cannot be, is told at once: there is nothing to be asked about it.
            let asks = (mine.handed_in + 1..=mine.assignment.attempts).contains(&form.attempt);
            ready(exercise, form, upload, (asks, two(&kept.written, person)))
        }
        (Ok(_), "read") => Err(Box::new(form.read_table(exercise))),
        _ => Err(Box::default()),
    }
}

/// What was kept, for the script of the page.
fn answer_of_keeping(kept: Result<KeptDraft, Unkept>) -> Result<Response, WebError> {
    let kept = kept.map_err(|unkept| unkept.error)?;
    let two = kept.written.asked().map(|(name, _, _)| name).collect();
    let base = base_text(&kept.written)?;
    let (words, fields) = (kept.words.as_str(), &kept.written.fields);
    let answer = Kept {
        kept: words,
        fields,
        base,
        two,
    };
    Ok(Json(answer).into_response())
}

/// How the assignment stands for the pair now that the attempt of the page is another report's; the form is one for the
/// attempt that comes next.
async fn next_attempt(app: &App, person: &Person, mine: &Mine, form: &mut Form) -> Result<Mine, WebError> {
    form.key.clear();
    stands_now(app, person, mine).await
}

/// How the assignment stands for the pair now.
async fn stands_now(app: &App, person: &Person, mine: &Mine) -> Result<Mine, WebError> {
    assignments::mine(&app.service.store, mine.assignment.id, person.id)
        .await?
        .ok_or(WebError::NotFound)
}

fn base_text(written: &Written) -> Result<String, WebError> {
    serde_json::to_string(&written.base()).map_err(WebError::internal)
}

/// What was typed could not be kept: it goes back on the page, which is then the only place where it is.
struct Unkept {
    status: StatusCode,
    text: &'static str,
    error: WebError,
}

/// A draft that was kept.
struct KeptDraft {
    written: Written,
    /// When, in words.
    words: String,
}

/// Keeps the fields as a draft, and brings the form to what the draft is then.
async fn keep(
    app: &App,
    mine: &Mine,
    person: &Person,
    exercise: &Exercise,
    form: &mut Form,
) -> Result<KeptDraft, Unkept> {
    match keep_draft::keep_draft(&app.service, mine, person.id, &form.sent()).await {
        Ok(draft) => {
            form.take(exercise, &draft.written);
            let when = times::show(draft.kept_at, &times::zone(&mine.assignment.time_zone));
            Ok(KeptDraft {
                written: draft.written,
                words: format!("Kept {when}."),
            })
        }
        Err(DraftError::TooMuch) => Err(Unkept {
            status: StatusCode::UNPROCESSABLE_ENTITY,
            text: "A field of the table holds far more than a number. A value has at most 2000 characters: shorten it and send the page again.",
            error: Explained::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "Not kept",
                "A field of the table holds far more than a number.",
                "Shorten it and go on.",
            )
            .into(),
        }),
        Err(error) => Err(Unkept::by_fault(&error)),
    }
}

impl Unkept {
    fn by_fault(error: &DraftError) -> Self {
        tracing::error!(%error, "a draft was not kept");
        Self {
            status: StatusCode::SERVICE_UNAVAILABLE,
            text: "The server cannot keep what you typed at the moment. It is still on this page: leave the page open, tell your instructor, and send it again in a while.",
            error: WebError::internal(error),
        }
    }
}

/// The report, if it can be handed in as it stands; what is doubtful is asked about where `asks` says so.
fn ready(
    exercise: &Exercise,
    form: &mut Form,
    upload: &Upload,
    (asks, two): (bool, Vec<Two>),
) -> Result<Report, Box<Back>> {
    let mut said = Vec::new();
    if form.has_table() {
        let back = form.read_table(exercise);
        if back.is_wrong() {
            return Err(Box::new(back));
        }
        said = back.said;
    }
    if !two.is_empty() {
        return Err(Box::new(Back {
            said,
            two,
            ..Back::default()
        }));
    }
    let mut report = form.report(exercise)?;
    let set_up = form.set_up(exercise).map_err(|set_up| {
        Box::new(Back {
            set_up,
            ..Back::default()
        })
    })?;
    if report.items.iter().all(|i| i.measured.is_none()) {
        return Err(Box::new(Back {
            said,
            ..Back::problem("No value is written yet. Type the values into the table, paste it, or choose a CSV file.")
        }));
    }
    let mut checks = check(exercise, &report);
    let of_unit = checks.iter().find(|r| r.doubt == Doubt::Unit);
    match (of_unit.map(|r| r.nos.clone()), upload.field("unit-read")) {
        (Some(nos), "other") => {
            form.say_other_unit(exercise, &nos);
            report = form.report(exercise)?;
            checks = check(exercise, &report);
        }
        (Some(_), "own") => checks.retain(|r| r.doubt != Doubt::Unit),
        _ => {}
    }
    let otherwise = set_up.otherwise(exercise);
    if (checks.is_empty() && otherwise.is_empty()) || upload.field("incomplete") == "yes" || !asks {
        return Ok(report);
    }
    let missing = report
        .items
        .iter()
        .filter(|i| i.measured.is_none() || i.call.is_none())
        .count();
    Err(Box::new(Back {
        said,
        missing,
        checks,
        set_up: otherwise,
        confirm: true,
        ..Back::default()
    }))
}

/// The report that has the numbers of the form now, or what goes back.
async fn hand_in(
    app: &App,
    person: &Person,
    mine: &Mine,
    exercise: &Exercise,
    form: &Form,
    report: &Report,
) -> Result<Result<ReportId, Back>, WebError> {
    let note = note(exercise, form).map_err(WebError::internal)?;
    let (source_kind, source_bytes) = form.source(report).map_err(WebError::internal)?;
    let sent = HandIn {
        mine,
        person: person.id,
        attempt: form.attempt,
        key: &form.key,
        report,
        source_kind,
        source_name: form.source_name(),
        source_bytes,
        note,
        plate: form.plate(),
    };
    // How long a grade takes hangs on what was found.
    let handed = evenly(hand_in_report(&app.service, sent)).await;
    let refused = |text: &str| Ok(Err(Back::problem(text)));
    match handed {
        Ok(handed) => {
            if handed.already {
                keep_draft::drop_same(&app.service, mine, &form.sent().fields)
                    .await
                    .map_err(WebError::internal)?;
            }
            Ok(Ok(handed.report))
        }
        Err(HandInError::Empty) => refused("No value is written yet. Type the values into the table."),
        Err(HandInError::NoPlate) => Err(closed(mine).unwrap_or(WebError::NotFound)),
        Err(HandInError::NoSuchPlate) => Ok(Err(Back {
            plate_mend: no_such_plate(mine),
            ..Back::default()
        })),
        Err(HandInError::NotOpen) => Err(WebError::NotFound),
        Err(HandInError::AttemptTaken { report }) => Ok(Err(Back {
            taken: Some(report),
            ..Back::default()
        })),
        Err(HandInError::OtherWords { report, not_in_it }) => Ok(Err(Back {
            taken: Some(report),
            not_in_it,
            ..Back::default()
        })),
        Err(HandInError::NoAttemptLeft) => refused(
            "All attempts are used. What you typed is kept in the draft; ask your instructor for another attempt.",
        ),
        Err(HandInError::OutOfTurn) => refused(
            "This page is from an earlier attempt. Look your numbers over and hand in again: they count for the attempt that is named above.",
        ),
        Err(HandInError::Items(error)) => Err(WebError::internal(error)),
        Err(HandInError::Store(error)) => Err(error.into()),
    }
}

/// How to mend a serial that is none.
pub(super) fn no_such_plate(mine: &Mine) -> String {
    let own = mine.serial.as_deref().unwrap_or_default();
    format!(
        "No plate in use for this exercise has this number. Read the label on the plate once more; if it was your own, {own}, empty the field. If the label does say so, tell your instructor: what you typed is kept."
    )
}

/// What the pair says beside its numbers.
fn note(exercise: &Exercise, form: &Form) -> Result<Note, serde_json::Error> {
    let remarks = form.beside.get(REMARKS).map_or("", String::as_str).trim();
    let set_up = form.set_up(exercise).ok().filter(|s| !s.is_empty());
    Ok(Note {
        remarks: (!remarks.is_empty()).then(|| remarks.to_owned()),
        set_up: set_up.map(|s| serde_json::to_string(&s)).transpose()?,
    })
}

/// The lines of the table, in the order that was asked for.
fn rows(exercise: &Exercise, form: &Form, back: &Back, order: &Order) -> Vec<Row> {
    let mend = mends(back);
    let lines = sheet::rows(exercise).into_iter().zip(&form.fields);
    let mut rows: Vec<Row> = lines
        .map(|(sheet, field)| row(sheet, field, &mend, &back.two))
        .collect();
    if order.by_number() {
        rows.sort_by_cached_key(|r| number_key(&r.sheet.no));
    }
    rows
}

fn cells(mine: &Mine, exercise: &Exercise) -> Vec<(&'static str, String)> {
    let attempt = mine.handed_in + 1;
    vec![
        ("Exercise", exercise.code.to_string()),
        ("Plate", mine.serial.clone().unwrap_or_default()),
        ("Pair", mine.pair_name.clone()),
        ("Attempt", format!("{attempt} of {}", mine.assignment.attempts)),
        ("Sheet", "report".to_owned()),
    ]
}

async fn entry(
    app: &App,
    person: &Person,
    mine: &Mine,
    exercise: &Arc<Exercise>,
    form: Form,
    back: Back,
    order: &Order,
) -> Result<MyEntry, WebError> {
    let key = if form.key.is_empty() {
        hand_in_report::new_key().map_err(WebError::internal)?
    } else {
        form.key.clone()
    };
    let rows = rows(exercise, &form, &back, order);
    let serial = mine.serial.clone().unwrap_or_default();
    let attempt = mine.handed_in + 1;
    let beside = Beside::of(app, mine, exercise, &form, &back).await?;
    Ok(MyEntry {
        frame: Frame::of(person, "/my"),
        id: mine.assignment.id,
        title: mine.assignment.title.clone(),
        code: exercise.code.to_string(),
        pair: mine.pair_name.clone(),
        attempt,
        attempts: mine.assignment.attempts,
        unit: exercise.units.as_str(),
        decimals: exercise.decimals,
        key,
        wrongs: wrongs(&back),
        is_only_here: back.is_only_here,
        ask_unit: back.checks.iter().any(|r| r.doubt == Doubt::Unit),
        other_unit: if exercise.units == LengthUnit::Mm {
            "inches"
        } else {
            "millimetres"
        },
        base: form.base_text().map_err(WebError::internal)?,
        by_number: order.by_number(),
        not_in_it: beside.words(back.not_in_it),
        beside,
        owner: person.id.0,
        open: form.has_table() || !back.file_mend.is_empty() || !back.pasted_mend.is_empty(),
        pasted: form.pasted,
        source: form.source_hex,
        source_name: form.source_name,
        said: back.said,
        said_of_photo: back.said_of_photo,
        taken: back.taken,
        ask: back.ask,
        ask_columns: back.ask_columns,
        pasted_mend: back.pasted_mend,
        file_mend: back.file_mend,
        rows,
        kept: back.kept,
        missing: back.missing,
        confirm: back.confirm,
        drawing: app
            .pictures
            .plan(mine.assignment.exercise_revision, exercise)
            .await?
            .svg
            .clone(),
        cells: cells(mine, exercise),
        serial,
    })
}

/// Numbers in the order of people: 2 before 10, 10a after 10.
pub(super) fn number_key(no: &str) -> (u64, String) {
    let digits = no.len() - no.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    let (number, rest) = no.split_at(digits);
    (number.parse().unwrap_or(u64::MAX), rest.to_owned())
}

fn row(sheet: SheetRow, field: &Field, mend: &BTreeMap<String, String>, two: &[Two]) -> Row {
    let both = |name: String| two.iter().find(|t| t.name == name).map(Two::words).unwrap_or_default();
    Row {
        measured: field.measured.clone(),
        call: field.call.clone(),
        mend: mend.get(&sheet.no).cloned().unwrap_or_default(),
        two: both(format!("m-{}", sheet.no)),
        two_calls: both(format!("c-{}", sheet.no)),
        sheet,
    }
}

impl Two {
    /// Both texts, with who wrote them.
    pub(super) fn words(&self) -> Vec<(String, String)> {
        let (first, second) = if self.other_is_mine {
            ("your partner", "you")
        } else {
            ("one of you", "your partner")
        };
        let words = |text: &str, who: &str| {
            let text = if text.is_empty() { "nothing" } else { text };
            format!("{text}, written by {who}")
        };
        vec![
            (self.stands.clone(), words(&self.stands, first)),
            (self.other.clone(), words(&self.other, second)),
        ]
    }
}

fn mends(back: &Back) -> BTreeMap<String, String> {
    let at_field = back.problems.iter().filter(|p| p.line.is_none());
    let mut mends: BTreeMap<String, String> = at_field.filter_map(|p| Some((p.no.clone()?, p.text.clone()))).collect();
    let of_value = |r: &&Remark| !matches!(r.doubt, Doubt::NoValue | Doubt::NoCall);
    for remark in back.checks.iter().filter(of_value) {
        for no in &remark.nos {
            mends.entry(no.clone()).or_insert_with(|| remark.text.clone());
        }
    }
    mends
}

/// All that is wrong, with the field that each leads to.
fn wrongs(back: &Back) -> Vec<(String, String)> {
    let mut wrongs = Vec::new();
    if !back.ask.is_empty() {
        wrongs.push(("decimal".to_owned(), "Say which decimal mark is meant.".to_owned()));
    }
    if back.ask_columns {
        wrongs.push((
            "columns".to_owned(),
            "Say what stands in the columns of the table.".to_owned(),
        ));
    }
    for (field, mend) in [
        ("table", &back.file_mend),
        ("pasted", &back.pasted_mend),
        ("evidence", &back.evidence_mend),
        ("plate", &back.plate_mend),
    ] {
        if !mend.is_empty() {
            wrongs.push((field.to_owned(), mend.clone()));
        }
    }
    for two in &back.two {
        let no = two.name.split_once('-').map_or(two.name.as_str(), |(_, no)| no);
        let text = format!("You and your partner wrote two things at {no}: say which counts.");
        wrongs.push((two.name.clone(), text));
    }
    for p in &back.problems {
        let place = match (p.line, &p.no) {
            (None, Some(no)) => format!("m-{no}"),
            _ => "pasted".to_owned(),
        };
        let text = p
            .line
            .map_or_else(|| p.text.clone(), |line| format!("Line {line}: {}", p.text));
        wrongs.push((place, text));
    }
    for remark in &back.checks {
        let column = if remark.doubt == Doubt::NoCall { "c" } else { "m" };
        let first = remark.nos.first().map_or("", String::as_str);
        wrongs.push((format!("{column}-{first}"), remark.text.clone()));
    }
    wrongs.extend(back.set_up.iter().map(|o| (o.field.clone(), o.text.clone())));
    if back.confirm {
        let text = "Mend what is to be mended, or tick the box beside the button and hand in as it is.";
        wrongs.push(("incomplete".to_owned(), text.to_owned()));
    }
    wrongs
}
