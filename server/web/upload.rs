//! Forms with files, bounded: what is too big is read to its end and dropped, so that the browser gets a page and not a
//! broken connection, and the fields that were typed are still there.

use std::collections::BTreeMap;

use axum::extract::{FromRequest, Multipart, Request};

use super::app::App;
use super::errors::{Explained, WebError};
use axum::http::StatusCode;

/// Largest file that is kept.
pub const FILE_BYTES: usize = 8 * 1024 * 1024;

/// Largest request that is read to its end at all.
pub const REQUEST_BYTES: usize = 96 * 1024 * 1024;

/// Largest typed field: a pasted table.
const FIELD_BYTES: usize = 512 * 1024;

/// Most fields and files of one form.
const PARTS: usize = 2_000;

/// One file of a form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct File {
    /// Its name as the browser told it; never used as a path.
    pub name: String,
    /// Its bytes; empty where it was too big.
    pub bytes: Vec<u8>,
    /// Whether it is bigger than [`FILE_BYTES`].
    pub too_big: bool,
}

/// What a form sent.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Upload {
    /// What was typed, by field name; of several of one name the last.
    pub fields: BTreeMap<String, String>,
    /// Files that were chosen, by field name.
    pub files: BTreeMap<String, Vec<File>>,
    /// Fields that were too long to keep.
    pub too_long: Vec<String>,
}

impl Upload {
    /// What was typed in a field; nothing where it is missing.
    #[must_use]
    pub fn field(&self, name: &str) -> &str {
        self.fields.get(name).map_or("", String::as_str)
    }

    /// The file of a field, if one was chosen.
    #[must_use]
    pub fn file(&self, name: &str) -> Option<&File> {
        self.files.get(name).and_then(|files| files.first())
    }
}

fn broken(error: impl std::fmt::Display) -> WebError {
    tracing::info!(%error, "an upload broke off");
    Explained::new(
        StatusCode::BAD_REQUEST,
        "The upload broke off",
        "The file did not arrive whole, or the request is bigger than this server reads. Nothing of it was stored.",
        "Go back and send it again. A report has some kilobytes; at most 8 MB are taken.",
    )
    .into()
}

impl FromRequest<App> for Upload {
    type Rejection = WebError;

    async fn from_request(request: Request, app: &App) -> Result<Self, WebError> {
        let mut parts = Multipart::from_request(request, app).await.map_err(broken)?;
        let mut upload = Self::default();
        let mut count = 0;
        while let Some(mut part) = parts.next_field().await.map_err(broken)? {
            count += 1;
            if count > PARTS {
                return Err(broken("too many parts"));
            }
            let name = part.name().unwrap_or_default().to_owned();
            let file = part.file_name().map(str::to_owned);
            let most = if file.is_some() { FILE_BYTES } else { FIELD_BYTES };
            let mut bytes = Vec::new();
            let mut too_big = false;
            while let Some(chunk) = part.chunk().await.map_err(broken)? {
                too_big = too_big || bytes.len() + chunk.len() > most;
                if too_big {
                    bytes = Vec::new();
                } else {
                    bytes.extend_from_slice(&chunk);
                }
            }
            match file {
                // A file field in which nothing was chosen comes as an empty file without a name.
                Some(file) if file.is_empty() && bytes.is_empty() && !too_big => {}
                Some(file) => upload.files.entry(name).or_default().push(File {
                    name: file,
                    bytes,
                    too_big,
                }),
                None if too_big => upload.too_long.push(name),
                None => {
                    upload.fields.insert(name, String::from_utf8_lossy(&bytes).into_owned());
                }
            }
        }
        Ok(upload)
    }
}
