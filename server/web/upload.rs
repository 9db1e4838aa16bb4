//! Forms with files, bounded: what is too big is read to its end and dropped, so that the browser gets a page and not a
//! broken connection, and the fields that were typed are still there. The uploads of one person and those of all hold a
//! bounded number of bytes: whoever comes when it is full is told to come again, and the memory stays for the others.

use std::collections::BTreeMap;

use axum::extract::{FromRequest, Request};
use axum::http::StatusCode;

use super::app::App;
use super::errors::{Explained, WebError};
use super::fields::doubled;
use super::parts::{self, Parts};
use super::shares::{Share, Shares};
use crate::store::people::Person;

/// Largest file that is kept.
pub const FILE_BYTES: usize = 8 * 1024 * 1024;

/// Largest request that is read to its end at all.
pub const REQUEST_BYTES: usize = 96 * 1024 * 1024;

/// Largest typed field: a pasted table.
const FIELD_BYTES: usize = 512 * 1024;

/// Most fields and files of one form.
const PARTS: usize = 2_000;

/// What the uploads of one person hold at most: a report with as many photos as are kept, each as big as is taken.
const OWN_BYTES: usize = 64 * 1024 * 1024;

/// What all uploads hold together at most: the photos of a class of forty that hand in at the same moment.
const ALL_BYTES: usize = 256 * 1024 * 1024;

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

/// What uploads hold, and whose they are.
#[derive(Debug, Clone)]
pub struct Room(Shares);

impl Default for Room {
    fn default() -> Self {
        Self(Shares::new(OWN_BYTES, ALL_BYTES))
    }
}

/// What a form sent.
#[derive(Debug)]
pub struct Upload {
    /// What was typed, by field name. Files may be several of one name, fields may not.
    pub fields: BTreeMap<String, String>,
    /// Files that were chosen, by field name.
    pub files: BTreeMap<String, Vec<File>>,
    /// Fields that were too long to keep.
    pub too_long: Vec<String>,
    /// What it holds of the room.
    _held: Share,
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

pub(super) fn broken(error: impl std::fmt::Display) -> WebError {
    tracing::info!(%error, "an upload broke off");
    Explained::new(
        StatusCode::BAD_REQUEST,
        "The upload broke off",
        "The file did not arrive whole, or the request is bigger than this server reads. Nothing of it was stored.",
        "Go back and send it again. A report has some kilobytes; at most 8 MB are taken.",
    )
    .into()
}

/// More is on its way than is held at once.
fn crowded() -> WebError {
    tracing::warn!("an upload was turned away: too many at once");
    Explained::new(
        StatusCode::SERVICE_UNAVAILABLE,
        "Too many files at the same moment",
        "More files arrive at this moment, from you or from everybody, than this server holds at once, so nothing of this form was kept.",
        "Wait a minute, then go back and send it again: most browsers still hold what you typed, and numbers that you \
         typed into a report are in its draft.",
    )
    .into()
}

impl FromRequest<App> for Upload {
    type Rejection = WebError;

    async fn from_request(request: Request, app: &App) -> Result<Self, WebError> {
        // All routes with files are for people who are signed in.
        let person = request.extensions().get::<Person>().ok_or(WebError::SignedOut)?.id;
        let mut parts = Parts::of(request).await.map_err(broken)?;
        let mut reader = app.uploads.0.of(person);
        if !reader.grow(parts::HELD) {
            return Err(crowded());
        }
        Self::read(&mut parts, app.uploads.0.of(person)).await
    }
}

impl Upload {
    /// Reads all parts into a share.
    async fn read(parts: &mut Parts, mut held: Share) -> Result<Self, WebError> {
        let mut kept = Vec::new();
        while let Some(mut part) = parts.next().await.map_err(broken)? {
            if kept.len() == PARTS {
                return Err(broken("too many parts"));
            }
            let name = part.name().unwrap_or_default().to_owned();
            let file = part.file_name().map(str::to_owned);
            if !held.grow(name.len() + file.as_ref().map_or(0, String::len)) {
                return Err(crowded());
            }
            let longest = if file.is_some() { FILE_BYTES } else { FIELD_BYTES };
            let mut bytes = Vec::new();
            let mut too_big = false;
            while let Some(chunk) = part.chunk().await.map_err(broken)? {
                if too_big {
                    continue;
                }
                if bytes.len() + chunk.len() > longest {
                    too_big = true;
                    held.shrink(bytes.len());
                    bytes = Vec::new();
                } else if held.grow(chunk.len()) {
                    bytes.extend_from_slice(&chunk);
                } else {
                    return Err(crowded());
                }
            }
            kept.push((name, file, bytes, too_big));
        }
        let mut upload = Self {
            fields: BTreeMap::new(),
            files: BTreeMap::new(),
            too_long: Vec::new(),
            _held: held,
        };
        for (name, file, bytes, too_big) in kept {
            upload.keep(name, file, bytes, too_big)?;
        }
        Ok(upload)
    }

    fn keep(&mut self, name: String, file: Option<String>, bytes: Vec<u8>, too_big: bool) -> Result<(), WebError> {
        match file {
            // A file field in which nothing was chosen comes as an empty file without a name.
            Some(file) if file.is_empty() && bytes.is_empty() && !too_big => {}
            Some(file) => self.files.entry(name).or_default().push(File {
                name: file,
                bytes,
                too_big,
            }),
            None if self.fields.contains_key(&name) || self.too_long.contains(&name) => {
                return Err(doubled(StatusCode::UNPROCESSABLE_ENTITY, &name));
            }
            None if too_big => self.too_long.push(name),
            None => {
                self.fields.insert(name, String::from_utf8_lossy(&bytes).into_owned());
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use axum::body::Body;
    use axum::extract::DefaultBodyLimit;
    use axum::http::HeaderValue;
    use axum::http::header::CONTENT_TYPE;

    use super::*;
    use crate::store::ids::PersonId;

    /// A form of files of so many bytes each.
    fn form(files: &[usize]) -> Request {
        let mut body = Vec::new();
        for (n, bytes) in files.iter().enumerate() {
            let head =
                format!("--edge\r\ncontent-disposition: form-data; name=\"f\"; filename=\"{n}\"\r\n\r\n").into_bytes();
            body.extend(head);
            body.resize(body.len() + bytes, b'x');
            body.extend(b"\r\n");
        }
        body.extend(b"--edge--\r\n");
        let mut request = Request::new(Body::from(body));
        let kind = HeaderValue::from_static("multipart/form-data; boundary=edge");
        request.headers_mut().insert(CONTENT_TYPE, kind);
        request
    }

    #[tokio::test]
    async fn uploads_hold_a_bounded_number_of_bytes() {
        let room = Shares::new(700, 1000);
        let read = async |person, files: &[usize]| {
            let mut parts = Parts::of(form(files)).await.unwrap();
            Upload::read(&mut parts, room.of(PersonId(person))).await
        };
        // The names of field and file count too, two bytes here.
        let first = read(1, &[298, 298]).await.unwrap();
        assert_eq!(first.file("f").map(|f| f.bytes.len()), Some(298));
        assert_eq!(room.all(), 600);
        // One has not more than one's own.
        assert!(matches!(read(1, &[99]).await, Err(WebError::Refused(why)) if why.status == 503));
        let second = read(2, &[398]).await.unwrap();
        // Full to the last byte: the next is turned away and holds nothing of it.
        assert!(matches!(read(3, &[1]).await, Err(WebError::Refused(why)) if why.status == 503));
        drop(second);
        assert!(matches!(read(2, &[200, 300]).await, Err(WebError::Refused(_))));
        assert_eq!(room.all(), 600);
        drop(first);
        assert_eq!(read(1, &[348, 348]).await.unwrap().files["f"].len(), 2);
        assert_eq!(room.all(), 0);
    }

    #[tokio::test]
    async fn what_is_too_big_is_read_to_its_end_and_holds_nothing() {
        let room = Shares::new(2 * FILE_BYTES, 2 * FILE_BYTES);
        let mut request = form(&[FILE_BYTES + 1, 5]);
        DefaultBodyLimit::disable().apply(&mut request);
        let mut parts = Parts::of(request).await.unwrap();
        let upload = Upload::read(&mut parts, room.of(PersonId(1))).await.unwrap();
        let seen: Vec<(usize, bool)> = upload.files["f"].iter().map(|f| (f.bytes.len(), f.too_big)).collect();
        assert_eq!(seen, [(0, true), (5, false)]);
        assert_eq!(room.all(), 5 + 4);
    }

    #[tokio::test]
    async fn a_form_has_a_bounded_number_of_parts() {
        for (parts, taken) in [(PARTS, true), (PARTS + 1, false)] {
            let mut parts = Parts::of(form(&vec![1; parts])).await.unwrap();
            let read = Upload::read(&mut parts, Room::default().0.of(PersonId(1))).await;
            assert_eq!(read.is_ok(), taken, "{read:?}");
        }
    }
}
