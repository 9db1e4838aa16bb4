//! Style, letters and scripts, from within the program. Exercises and plates are embedded elsewhere: no route of this
//! file can reach them.

use axum::extract::Path;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use rust_embed::Embed;

use super::errors::WebError;
use crate::units::hex;

#[derive(Embed)]
#[folder = "static/"]
struct Static;

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
    Ok((keep, [(header::CONTENT_TYPE, kind)], file.data).into_response())
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
