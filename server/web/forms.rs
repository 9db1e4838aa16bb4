//! Forms without files of somebody who is signed in. They are held whole before they are looked at, so whoever begins many and
//! ends none holds so much of the memory and no more.

use std::pin::Pin;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll, ready};

use axum::body::{Body, Bytes, HttpBody};
use axum::extract::{Request, State};
use axum::http::StatusCode;
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use hyper::body::{Frame, SizeHint};

use super::app::App;
use super::errors::{Explained, WebError};
use super::shares::{Share, Shares};
use crate::store::people::Person;

/// Forms of one person at once: eight of the greatest length, and hundreds of those that people fill in.
const OF_ONE: usize = 8 * 1024 * 1024;

/// Forms of everybody.
const OF_ALL: usize = 256 * 1024 * 1024;

/// What forms hold, and whose they are.
#[derive(Debug, Clone)]
pub struct Forms(Shares);

impl Default for Forms {
    fn default() -> Self {
        Self(Shares::new(OF_ONE, OF_ALL))
    }
}

/// What one form holds, until it is answered.
#[derive(Debug)]
struct Form {
    share: Mutex<Share>,
    refused: AtomicBool,
}

/// A body that is counted as it comes in.
#[derive(Debug)]
struct Counted {
    body: Body,
    form: Arc<Form>,
}

impl HttpBody for Counted {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        let this = self.get_mut();
        let frame = ready!(Pin::new(&mut this.body).poll_frame(cx));
        if let Some(Ok(frame)) = &frame {
            let bytes = frame.data_ref().map_or(0, Bytes::len);
            let mut share = this.form.share.lock().unwrap_or_else(PoisonError::into_inner);
            if !share.grow(bytes) {
                this.form.refused.store(true, Ordering::Relaxed);
                return Poll::Ready(Some(Err(axum::Error::new("too many forms at once"))));
            }
        }
        Poll::Ready(frame)
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}

/// Counts the form of a request.
pub(super) async fn count(State(app): State<App>, request: Request, next: Next) -> Response {
    let Some(person) = request.extensions().get::<Person>().map(|person| person.id) else {
        return next.run(request).await;
    };
    let form = Arc::new(Form {
        share: Mutex::new(app.forms.0.of(person)),
        refused: AtomicBool::new(false),
    });
    let counted = |body| {
        Body::new(Counted {
            body,
            form: Arc::clone(&form),
        })
    };
    let response = next.run(request.map(counted)).await;
    if form.refused.load(Ordering::Relaxed) {
        tracing::warn!(person = person.0, "a form was not read: too many at once");
        return crowded().into_response();
    }
    response
}

fn crowded() -> WebError {
    Explained::new(
        StatusCode::SERVICE_UNAVAILABLE,
        "Too many forms at the same moment",
        "More forms arrive from you, or from everybody, than this server holds at once, so nothing of this one was kept.",
        "Wait a minute, then go back and send it again: most browsers still hold what you typed.",
    )
    .into()
}
