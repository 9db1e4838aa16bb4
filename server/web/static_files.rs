//! Style, letters and scripts, from within the program. Exercises and plates are embedded elsewhere: no route of this
//! file can reach them.

use axum::extract::Path;
use axum::http::{HeaderMap, HeaderName, StatusCode, header};
use axum::response::{IntoResponse, Response};
use rust_embed::Embed;

use super::errors::WebError;
use crate::units::hex;

#[derive(Embed)]
#[folder = "static/"]
struct Static;

/// The worker that opens report entry without a network.
const WORKER: &str = "away.js";

/// One file. Browsers keep it and ask whether it is still the same.
pub(super) async fn file(Path(path): Path<String>, headers: HeaderMap) -> Result<Response, WebError> {
    let file = Static::get(&path).ok_or(WebError::NotFound)?;
    let tag = format!("\"{}\"", hex(&file.metadata.sha256_hash()[..16]));
    let keep = [
        (header::ETAG, tag.clone()),
        (header::CACHE_CONTROL, "public, max-age=300, must-revalidate".to_owned()),
    ];
    if headers
        .get(header::IF_NONE_MATCH)
        .is_some_and(|sent| sent.as_bytes() == tag.as_bytes())
    {
        return Ok((StatusCode::NOT_MODIFIED, keep).into_response());
    }
    let kind = kind(&path).ok_or(WebError::NotFound)?;
    // The worker of report entry answers for the pages of students, and for no others.
    let scope = (path == WORKER).then_some([(HeaderName::from_static("service-worker-allowed"), "/my/")]);
    Ok((scope, keep, [(header::CONTENT_TYPE, kind)], file.data).into_response())
}

fn kind(path: &str) -> Option<&'static str> {
    let (_, end) = path.rsplit_once('.')?;
    Some(match end {
        "css" => "text/css; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "svg" => "image/svg+xml",
        "woff2" => "font/woff2",
        "txt" => "text/plain; charset=utf-8",
        "png" => "image/png",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worker_brings_every_script_of_a_sheet() {
        let worker = Static::get(WORKER).unwrap();
        let worker = std::str::from_utf8(&worker.data).unwrap();
        for path in Static::iter() {
            let elsewhere = path == WORKER || path.starts_with("author.");
            if elsewhere || !(path.ends_with(".js") || path.ends_with(".css")) {
                continue;
            }
            assert!(worker.contains(&format!("\"/static/{path}\"")), "{path}");
        }
    }
}
