//! A backup back in place: sent, checked, laid beside what is there, and put in place with the passphrase once more.

use std::fmt::Display;
use std::io;
use std::path::Path;

use askama::Template;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use jiff::tz::TimeZone;
use serde::Deserialize;
use tokio::fs::File;
use tokio::io::AsyncWriteExt;
use tokio::time::timeout;

use crate::actions::restore::{self, Offered, RestoreError};
use crate::actions::secrets::SecretError;
use crate::actions::sign_in::SignInError;
use crate::store::StoreError;
use crate::store::backup::{BackupError, Contents};
use crate::store::files::Passing;
use crate::store::people::Person;
use crate::store::when::When;
use crate::web::app::App;
use crate::web::copies;
use crate::web::errors::{Explained, WebError};
use crate::web::frame::Frame;
use crate::web::guards::WholeSchool;
use crate::web::parts::Parts;
use crate::web::render::{Page, Sheet};
use crate::web::times;

/// Largest backup that is taken from a browser: 1 GiB. Bigger ones are for the command line.
pub(in crate::web) const BACKUP_BYTES: usize = 1024 * 1024 * 1024;

#[derive(Debug, Template)]
#[template(path = "restore.html")]
pub(in crate::web) struct Restore {
    frame: Frame,
    /// What came of the last one.
    last: String,
    offered: Option<Beside>,
    wrongs: Vec<(&'static str, String)>,
    file_mend: String,
    passphrase_mend: String,
}

/// A backup beside the school.
#[derive(Debug)]
struct Beside {
    token: String,
    /// What differs, where it is of another school.
    other: String,
    /// What, in the backup, now.
    rows: Vec<(&'static str, String, String)>,
}

#[derive(Debug, Template)]
#[template(path = "restoring.html")]
pub(in crate::web) struct Restoring {
    frame: Frame,
    /// The copy of the school as it was; empty where it was too damaged for one.
    before: String,
}

fn at(when: Option<When>) -> String {
    when.map_or_else(|| "none".to_owned(), |w| times::show(w, &TimeZone::system()))
}

fn classes(of: &Contents) -> String {
    let names: Vec<String> = of.classes.iter().map(|(name, term)| format!("{name} {term}")).collect();
    if names.is_empty() {
        "none".to_owned()
    } else {
        names.join("; ")
    }
}

impl Beside {
    fn of(offered: Offered) -> Self {
        let (theirs, ours) = (&offered.theirs, offered.ours.as_ref());
        let first = |c: &Contents| {
            c.first.as_ref().map_or_else(
                || "nobody".to_owned(),
                |(name, when)| format!("{name}, {}", at(Some(*when))),
            )
        };
        let both = |what: &'static str, of: &dyn Fn(&Contents) -> String| {
            let now = ours.map_or_else(|| "cannot be read".to_owned(), of);
            (what, of(theirs), now)
        };
        Self {
            other: match ours {
                Some(ours) if theirs.first == ours.first => String::new(),
                Some(ours) => format!(
                    "It is a backup of another school: its first account is {}; here it is {}.",
                    first(theirs),
                    first(ours)
                ),
                None => format!(
                    "The school here is damaged and cannot be read, so whether it is of this school cannot be told: look whether its \
                     first account, {}, and its classes are yours.",
                    first(theirs)
                ),
            },
            rows: vec![
                both("first account", &first),
                both("classes", &classes),
                both("instructors and assistants", &|c| c.staff.to_string()),
                both("students", &|c| c.students.to_string()),
                both("reports", &|c| c.reports.to_string()),
                both("last report", &|c| at(c.last_report)),
                both("schema", &|c| c.schema.to_string()),
            ],
            token: offered.token,
        }
    }
}

#[derive(Default)]
struct Back {
    offered: Option<Offered>,
    file_mend: String,
    passphrase_mend: String,
}

fn sheet(app: &App, person: &Person, back: Back) -> Restore {
    let wrongs = [("backup", &back.file_mend), ("passphrase", &back.passphrase_mend)];
    Restore {
        frame: Frame::of(person, "/classes"),
        last: restore::last(&app.settings.data).unwrap_or_default(),
        wrongs: wrongs
            .into_iter()
            .filter(|(_, mend)| !mend.is_empty())
            .map(|(field, mend)| (field, mend.clone()))
            .collect(),
        offered: back.offered.map(Beside::of),
        file_mend: back.file_mend,
        passphrase_mend: back.passphrase_mend,
    }
}

pub(in crate::web) async fn page(State(app): State<App>, WholeSchool(person): WholeSchool) -> Page<Restore> {
    Page(sheet(&app, &person, Back::default()))
}

fn refused(error: &RestoreError) -> Option<String> {
    Some(match error {
        RestoreError::Backup(BackupError::NotASchool { .. }) => {
            "This file is not a backup of this program. Choose the one that was saved with \u{201c}Make a backup\u{201d} or the command platemark backup; its name ends in .db. Nothing was changed.".to_owned()
        }
        RestoreError::Backup(BackupError::Damaged { why, .. }) => format!(
            "The backup is not whole: {why}. It was cut off or changed on its way; fetch it again from where it is kept, or take an older one. Nothing was changed."
        ),
        RestoreError::Backup(BackupError::TooNew { theirs, ours, .. }) => format!(
            "The backup was made by a newer version of this program (its schema is {theirs}, this one knows up to {ours}). Bring this server up to that version first. Nothing was changed."
        ),
        RestoreError::Gone => {
            "The file that was looked at is not here any more: another one was sent meanwhile. Send it again. Nothing was changed.".to_owned()
        }
        _ => return None,
    })
}

fn broken_off(why: impl Display) -> WebError {
    tracing::info!(%why, "a backup that was sent broke off");
    Explained::new(
        StatusCode::BAD_REQUEST,
        "The backup did not arrive whole",
        "The connection broke off, or the file is bigger than 1 GB. Nothing was changed, and what had arrived is thrown away.",
        "Send it again. A very big one is put back with the command platemark restore, while no server runs.",
    )
    .to("/restore", "Back to restoring")
    .into()
}

/// The next of what is on its way; an end that sends nothing for long is gone.
async fn next<T, E: Display>(arriving: impl Future<Output = Result<T, E>>) -> Result<T, WebError> {
    let arrived = timeout(copies::STALL, arriving).await.map_err(broken_off)?;
    arrived.map_err(broken_off)
}

/// Writes the file of the form to the disk, piece by piece; what comes without a place, or to a disk that takes no more, is read
/// to its end, so that the browser has ears for the page that says why.
async fn take(parts: &mut Parts, to: Option<&Path>) -> Result<u64, WebError> {
    let mut size = 0;
    let partial = to.map(Passing::new);
    while let Some(mut part) = next(parts.next()).await? {
        if part.name() != Some("backup") {
            while next(part.chunk()).await?.is_some() {}
            continue;
        }
        let mut written = Ok(());
        let mut file = None;
        if let Some(to) = to {
            match File::create(to).await {
                Ok(created) => file = Some(created),
                Err(error) => written = Err(error),
            }
        }
        while let Some(piece) = next(part.chunk()).await? {
            size += u64::try_from(piece.len()).unwrap_or(0);
            if written.is_ok()
                && let Some(file) = &mut file
            {
                written = file.write_all(&piece).await;
            }
        }
        if written.is_ok()
            && let Some(file) = &mut file
        {
            written = onto_disk(file).await;
        }
        written.map_err(no_room)?;
    }
    if let Some(partial) = partial {
        partial.keep();
    }
    Ok(size)
}

/// What was written last may fail only here.
async fn onto_disk(file: &mut File) -> io::Result<()> {
    file.flush().await?;
    file.sync_all().await
}

/// The disk is full or write-protected.
fn no_room(error: impl Display) -> WebError {
    tracing::error!(%error, "the disk does not take a backup that is to be put in place");
    Explained::new(
        StatusCode::SERVICE_UNAVAILABLE,
        "The disk does not take it",
        "The disk of the server is full or write-protected. Nothing was changed: the school is as it was.",
        "Make room on the disk of the data folder, or give the account that runs the server the right to write there; then send \
         the backup again. It takes as much room as the backup twice and a copy of the school once.",
    )
    .to("/restore", "Back to restoring")
    .into()
}

/// Takes a backup, checks it, and lays it beside what is there.
pub(in crate::web) async fn submit(
    State(app): State<App>,
    WholeSchool(person): WholeSchool,
    mut parts: Parts,
) -> Result<Response, WebError> {
    let Some(turn) = app.copies.begin() else {
        take(&mut parts, None).await?;
        return Err(copies::taken());
    };
    let folder = app.settings.data.clone();
    let (token, place) = restore::place(&folder).map_err(failed)?;
    let size = take(&mut parts, Some(&place)).await?;
    let looked = if size == 0 {
        std::fs::remove_file(&place).ok();
        let file_mend = "No file was chosen, or it is empty. Choose the backup; its name ends in .db.".to_owned();
        Err(file_mend)
    } else {
        // In a task of its own, as the database checks on where the browser is gone.
        let looked = tokio::spawn(async move {
            let looked = restore::look(&folder, &token).await;
            drop(turn);
            looked
        });
        match looked.await.map_err(WebError::internal)? {
            Ok(offered) => Ok(offered),
            Err(error) => Err(refused(&error).ok_or_else(|| failed(error))?),
        }
    };
    let (status, back) = match looked {
        Ok(offered) => (
            StatusCode::OK,
            Back {
                offered: Some(offered),
                ..Back::default()
            },
        ),
        Err(file_mend) => (
            StatusCode::UNPROCESSABLE_ENTITY,
            Back {
                file_mend,
                ..Back::default()
            },
        ),
    };
    Ok(Sheet(status, sheet(&app, &person, back)).into_response())
}

/// Not the file's fault: a disk that is full, locked or damaged has a page of its own.
fn failed(error: RestoreError) -> WebError {
    match error {
        RestoreError::File(error) | RestoreError::Backup(BackupError::File { source: error, .. }) => no_room(error),
        RestoreError::Backup(BackupError::Store(StoreError::CannotWrite(error)))
        | RestoreError::SignIn(SignInError::Store(StoreError::CannotWrite(error))) => no_room(error),
        RestoreError::Backup(BackupError::Store(error)) | RestoreError::SignIn(SignInError::Store(error)) => {
            error.into()
        }
        error => WebError::internal(error),
    }
}

/// The word to do it.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Typed {
    token: String,
    passphrase: String,
}

/// Lays the backup ready and begins anew with it.
pub(in crate::web) async fn apply(
    State(app): State<App>,
    WholeSchool(person): WholeSchool,
    Form(typed): Form<Typed>,
) -> Result<Response, WebError> {
    let turn = app.copies.begin().ok_or_else(copies::taken)?;
    // In a task of its own: what is laid ready is put in place also where the browser is gone meanwhile.
    let (of, by, told) = (app.clone(), person.clone(), typed.clone());
    let done = tokio::spawn(async move {
        let folder = &of.settings.data;
        let done = restore::make_ready(&of.service, folder, &told.token, &by, &told.passphrase).await;
        if done.is_ok() {
            tracing::warn!(person = by.id.0, "a backup takes the place of the school");
            of.restart.ask();
        }
        drop(turn);
        done
    });
    let (status, passphrase_mend) = match done.await.map_err(WebError::internal)? {
        Ok(before) => {
            let page = Restoring {
                frame: Frame::of(&person, "/classes"),
                before: before.unwrap_or_default(),
            };
            return Ok(Page(page).into_response());
        }
        Err(RestoreError::SignIn(SignInError::DoesNotFit)) => (
            StatusCode::UNPROCESSABLE_ENTITY,
            "This is not your passphrase. Type it again.",
        ),
        Err(RestoreError::SignIn(SignInError::Locked { .. })) => (
            StatusCode::UNPROCESSABLE_ENTITY,
            "Ten tries were wrong. Wait a quarter of an hour, then send the backup again.",
        ),
        Err(RestoreError::SignIn(SignInError::Secret(SecretError::Busy))) => (
            StatusCode::SERVICE_UNAVAILABLE,
            "Very many people sign in at this moment. Wait some seconds, then try again.",
        ),
        Err(error) => {
            let file_mend = refused(&error).ok_or_else(|| failed(error))?;
            let back = Back {
                file_mend,
                ..Back::default()
            };
            return Ok(Sheet(StatusCode::CONFLICT, sheet(&app, &person, back)).into_response());
        }
    };
    let offered = restore::look(&app.settings.data, &typed.token).await;
    let back = Back {
        file_mend: match &offered {
            Ok(_) => String::new(),
            Err(error) => refused(error).unwrap_or_default(),
        },
        offered: offered.ok(),
        passphrase_mend: passphrase_mend.to_owned(),
    };
    Ok(Sheet(status, sheet(&app, &person, back)).into_response())
}
