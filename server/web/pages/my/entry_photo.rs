//! The photo or PDF that comes with the entry form: beside which report it is kept.
//!
//! It belongs to the attempt that the form is for. Where that one is handed in already, it waits until it is known what came of the
//! numbers: beside the same numbers it goes to that report, since a pair may add files to it at any time; beside others it goes
//! to the attempt that comes next. Where there is none it is not kept, and that is said.

use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use crate::actions::add_evidence::{Kept, take_away};
use crate::store::assignments::Mine;
use crate::store::evidence::{Beside, Of};
use crate::store::ids::{EvidenceId, ReportId};
use crate::store::people::Person;
use crate::store::reports;
use crate::web::app::App;
use crate::web::errors::{Explained, WebError};
use crate::web::upload::{File, Upload};

/// Why a file is not kept.
struct Unkept {
    /// How to mend it.
    mend: String,
    /// Whether the server is at fault.
    by_fault: bool,
}

impl From<String> for Unkept {
    fn from(mend: String) -> Self {
        Self { mend, by_fault: false }
    }
}

impl Unkept {
    /// Where the server cannot do it, as when its disk is full, that is said on the page of the form, which holds what was typed.
    fn by_fault(what: &str, error: &impl std::fmt::Debug) -> Self {
        tracing::error!(?error, "a file beside a report was not kept or taken away");
        let mend = format!(
            "{what}: the server cannot do it at the moment. Do it again in a while, and tell your instructor if that does not help."
        );
        Self { mend, by_fault: true }
    }
}

async fn keep(app: &App, person: &Person, of: (Of, Beside), file: &File) -> Result<Kept, Unkept> {
    match super::evidence::keep(app, person, of, file).await {
        Ok(kept) => Ok(kept?),
        Err(error) => {
            let what = format!("{} was not kept and has to be chosen again", shown(&file.name));
            Err(Unkept::by_fault(&what, &error))
        }
    }
}

/// What became of the file so far.
#[derive(Debug, Default)]
pub(super) struct Photo<'a> {
    waits: Option<&'a File>,
    /// How to mend it where it is not kept.
    pub(super) mend: String,
    /// Whether the server is at fault that it is not.
    pub(super) by_fault: bool,
    /// Where it is, if that is not beside the attempt of the page.
    pub(super) said: String,
}

impl<'a> Photo<'a> {
    /// Keeps the file of the form beside its attempt, or takes one away, as long as that is not handed in.
    pub(super) async fn take(app: &App, person: &Person, (mine, attempt): (&Mine, i64), upload: &'a Upload) -> Self {
        let of = of(mine, attempt);
        if let Some(Ok(id)) = upload.field("do").strip_prefix("take-away:").map(str::parse) {
            match take_away(&app.service, of, EvidenceId(id)).await {
                Ok(None) => {}
                Ok(Some(name)) => {
                    return Self::not(format!(
                        "Attempt {attempt} was handed in meanwhile with {}, so the file stays beside that report.",
                        shown(&name)
                    ));
                }
                Err(error) => return Self::not(Unkept::by_fault("The file was not taken away", &error)),
            }
        }
        let Some(file) = upload.file("evidence") else {
            return Self::default();
        };
        let waits = Self {
            waits: Some(file),
            ..Self::default()
        };
        if attempt != mine.handed_in + 1 || attempt > mine.assignment.attempts {
            return waits;
        }
        match keep(app, person, (of, Beside::Draft), file).await {
            Ok(Kept::New | Kept::Already) => Self::default(),
            // While it was on its way.
            Ok(Kept::HandedIn) => waits,
            Err(unkept) => Self::not(unkept),
        }
    }

    fn not(unkept: impl Into<Unkept>) -> Self {
        let Unkept { mend, by_fault } = unkept.into();
        Self {
            mend,
            by_fault,
            ..Self::default()
        }
    }

    fn said(said: String) -> Self {
        Self {
            said,
            ..Self::default()
        }
    }

    /// Whether it has no place yet, since the attempt of the form is none that can be handed in.
    pub(super) const fn waits(&self) -> bool {
        self.waits.is_some()
    }

    /// Keeps what waits beside the report that has the numbers of the form.
    pub(super) async fn beside(
        self,
        app: &App,
        person: &Person,
        mine: &Mine,
        report: ReportId,
    ) -> Result<Self, WebError> {
        let Some(file) = self.waits else {
            return Ok(self);
        };
        let store = &app.service.store;
        let Some(stored) = reports::one(store, report).await? else {
            return self.beside_next(app, person, mine).await;
        };
        if !reports::is_by(store, report, person.id).await? {
            return self.beside_next(app, person, mine).await;
        }
        let of = super::evidence::of(&stored);
        let kept = keep(app, person, (of, Beside::Report), file).await;
        let name = shown(&file.name);
        Ok(match kept {
            Ok(Kept::New) => Self::said(format!("{name} was not beside that report yet, and now is.")),
            Ok(Kept::Already | Kept::HandedIn) => Self::default(),
            Err(unkept) => Self::not(unkept),
        })
    }

    /// Keeps what waits beside the attempt that comes next.
    pub(super) async fn beside_next(self, app: &App, person: &Person, mine: &Mine) -> Result<Self, WebError> {
        let Some(file) = self.waits else {
            return Ok(self);
        };
        let (name, attempt) = (shown(&file.name), mine.handed_in + 1);
        if attempt > mine.assignment.attempts {
            return Ok(Self::not(format!(
                "{name} was not kept, since no attempt is left that it could be for. If it belongs to a report that is handed in, open that report from the page of the assignment and add it there."
            )));
        }
        let kept = keep(app, person, (of(mine, attempt), Beside::Draft), file).await;
        Ok(match kept {
            Ok(Kept::New | Kept::Already) => Self::said(format!(
                "{name} is kept for attempt {attempt}: the attempt of the page that it came with is handed in. If it belongs to that report, take it away below, open the report from the page of the assignment and add it there."
            )),
            Ok(Kept::HandedIn) => Self::not(format!(
                "{name} was not kept, since attempt {attempt} was handed in at the same moment. Choose it again."
            )),
            Err(unkept) => Self::not(unkept),
        })
    }

    /// The answer where the numbers are those of a report: its page, unless something is to be said first.
    pub(super) fn answer(self, report: ReportId) -> Result<Response, WebError> {
        let to = format!("/my/reports/{report}");
        let way = "Look at that report";
        let once =
            "These numbers were handed in before, by your partner or from another page of yours, and count once.";
        if !self.mend.is_empty() {
            let rest = format!("{once} That report is as it was, and you can add a file to it on its page.");
            let mut page = super::evidence::not_kept(&self.mend, &rest);
            if self.by_fault {
                page.status = StatusCode::SERVICE_UNAVAILABLE;
            }
            return Err(page.to(to, way).into());
        }
        if self.said.is_empty() {
            return Ok(Redirect::to(&to).into_response());
        }
        let page = Explained::new(
            StatusCode::CONFLICT,
            "Handed in before",
            &format!("{once} {}", self.said),
            "There is nothing more to do.",
        );
        Err(page.to(to, way).into())
    }
}

fn of(mine: &Mine, attempt: i64) -> Of {
    Of {
        assignment: mine.assignment.id,
        pair: mine.pair,
        attempt,
    }
}

/// The name of a file, as far as it can be shown in a sentence.
fn shown(name: &str) -> String {
    let name: String = name.chars().filter(|c| !c.is_control()).take(120).collect();
    if name.is_empty() {
        "The file".to_owned()
    } else {
        format!("\u{201c}{name}\u{201d}")
    }
}
