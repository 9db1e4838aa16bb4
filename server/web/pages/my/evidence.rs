//! Photos and PDFs beside a report, for its pair: added after it was handed in, and looked at.

use std::collections::BTreeMap;

use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};

use crate::actions::add_evidence::{EvidenceError, Kept, add_evidence};
use crate::store::evidence::{self, Beside, Kind, Of};
use crate::store::ids::EvidenceId;
use crate::store::people::Person;
use crate::store::reports::Report;
use crate::web::app::App;
use crate::web::errors::{Explained, WebError};
use crate::web::guards::MyReport;
use crate::web::upload::{File, Upload};

/// The attempt of a report.
pub(in crate::web::pages) const fn of(report: &Report) -> Of {
    Of {
        assignment: report.assignment,
        pair: report.pair,
        attempt: report.attempt,
    }
}

/// Keeps a file; how to mend it where it is not taken.
pub(super) async fn keep(
    app: &App,
    person: &Person,
    of: (Of, Beside),
    file: &File,
) -> Result<Result<Kept, String>, WebError> {
    if file.too_big {
        return Ok(Err("The file is bigger than 8 MB, and nothing of it was kept. Take the photo with fewer pixels, or choose a smaller PDF. Everything else is kept.".to_owned()));
    }
    match add_evidence(&app.service, of, &file.name, file.bytes.clone(), person.id).await {
        Ok(kept) => Ok(Ok(kept)),
        Err(EvidenceError::NotTaken(why)) => Ok(Err(why.to_string())),
        Err(EvidenceError::Refused(why)) => Ok(Err(why.to_string())),
        Err(error @ EvidenceError::TooMany) => Ok(Err(error.to_string())),
        Err(EvidenceError::Store(error)) => Err(error.into()),
        Err(error) => Err(WebError::internal(error)),
    }
}

/// Adds a file to a report that was handed in.
pub(in crate::web) async fn add(State(app): State<App>, mine: MyReport, upload: Upload) -> Result<Response, WebError> {
    let back = format!("/my/reports/{}", mine.report.id);
    let kept = match upload.file("evidence") {
        Some(file) => keep(&app, &mine.person, (of(&mine.report), Beside::Report), file).await?,
        None => Err("No file was chosen. Choose a photo (JPEG or PNG) or a PDF.".to_owned()),
    };
    match kept {
        Ok(_) => Ok(Redirect::to(&format!("{back}#talk")).into_response()),
        Err(mend) => Err(not_kept(&mend, "Your report is as it was.")
            .to(back, "Back to the result")
            .into()),
    }
}

/// The page for a file that is not kept.
pub(super) fn not_kept(why: &str, rest: &str) -> Explained {
    Explained::new(StatusCode::UNPROCESSABLE_ENTITY, "The file was not kept", why, rest)
}

/// A file to its pair.
pub(in crate::web) async fn file(
    State(app): State<App>,
    mine: MyReport,
    Path(path): Path<BTreeMap<String, String>>,
) -> Result<Response, WebError> {
    served(&app, &mine.person, of(&mine.report), &path).await
}

/// A file as it is kept: to be looked at or kept, never to be run. A picture may stand in a page; opened by itself it is
/// saved.
pub(in crate::web::pages) async fn served(
    app: &App,
    person: &Person,
    of: Of,
    path: &BTreeMap<String, String>,
) -> Result<Response, WebError> {
    let id = path.get("evidence").and_then(|id| id.parse().ok());
    let id = EvidenceId(id.ok_or(WebError::NotFound)?);
    let (kind, bytes) = evidence::bytes(&app.service.store, of, id)
        .await?
        .ok_or(WebError::NotFound)?;
    let (kind, end) = match kind {
        Kind::Jpeg => ("image/jpeg", "jpg"),
        Kind::Pdf => ("application/pdf", "pdf"),
    };
    let headers = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"evidence-{id}.{end}\""),
        ),
        (
            header::CONTENT_SECURITY_POLICY,
            "default-src 'none'; sandbox".to_owned(),
        ),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff".to_owned()),
    ];
    Ok((headers, app.served.body(person.id, bytes)?).into_response())
}
