//! Forms in parts, fed to their reader piece by piece. Left to itself the reader takes whatever arrives, and holds all of it
//! while it looks for the end of a part's headers; here it gets the next piece when it has nothing left to give out, and
//! where it gives nothing out after a few of them, that is the end of the form.

use std::pin::{Pin, pin};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::task::{Context, Poll, ready};

use axum::body::{Body, Bytes, HttpBody};
use axum::extract::multipart::{Field, Multipart, MultipartError, MultipartRejection};
use axum::extract::{FromRequest, Request};
use hyper::body::{Frame, SizeHint};
use thiserror::Error;

use super::app::App;

/// So much is handed over at once.
const PIECE: usize = 8 * 1024;

/// After so much without anything coming out no more is handed over: headers of a part have some hundred bytes.
const LONGEST: usize = 16 * 1024;

/// What the reader of one form holds at most.
pub(super) const HELD: usize = LONGEST + 2 * PIECE;

/// Why a form is not read any further.
#[derive(Debug, Error)]
pub enum PartsError {
    /// It is no form in parts.
    #[error(transparent)]
    NotParts(#[from] MultipartRejection),
    /// It broke off, or is longer than its route takes.
    #[error(transparent)]
    Broken(#[from] MultipartError),
    /// Headers without an end.
    #[error("the headers of a part are longer than {LONGEST} bytes")]
    Headers,
}

/// Whether the reader may have a piece, and how much it was given.
#[derive(Debug, Default)]
struct Gate {
    open: AtomicBool,
    given: AtomicUsize,
}

impl Gate {
    fn set(&self, open: bool) {
        self.open.store(open, Ordering::Relaxed);
    }

    fn is_open(&self) -> bool {
        self.open.load(Ordering::Relaxed)
    }
}

/// The body behind the gate.
#[derive(Debug)]
struct Gated {
    body: Body,
    rest: Bytes,
    gate: Arc<Gate>,
}

impl HttpBody for Gated {
    type Data = Bytes;
    type Error = axum::Error;

    /// Pending without a word to the waker while the gate is shut: [`fed`] asks again with the gate open.
    fn poll_frame(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        let this = self.get_mut();
        if !this.gate.is_open() {
            return Poll::Pending;
        }
        while this.rest.is_empty() {
            let Some(frame) = ready!(Pin::new(&mut this.body).poll_frame(cx)) else {
                return Poll::Ready(None);
            };
            match frame?.into_data() {
                Ok(data) => this.rest = data,
                Err(trailers) => return Poll::Ready(Some(Ok(trailers))),
            }
        }
        this.gate.set(false);
        let piece = this.rest.split_to(PIECE.min(this.rest.len()));
        this.gate.given.fetch_add(piece.len(), Ordering::Relaxed);
        Poll::Ready(Some(Ok(Frame::data(piece))))
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}

/// Does a step of the reader, with a piece more whenever what it has is not enough.
async fn fed<T>(gate: &Gate, step: impl Future<Output = Result<T, MultipartError>>) -> Result<T, PartsError> {
    let mut step = pin!(step);
    gate.given.store(0, Ordering::Relaxed);
    std::future::poll_fn(|cx| {
        loop {
            gate.set(false);
            if let Poll::Ready(done) = step.as_mut().poll(cx) {
                return Poll::Ready(done.map_err(PartsError::from));
            }
            if gate.given.load(Ordering::Relaxed) >= LONGEST {
                return Poll::Ready(Err(PartsError::Headers));
            }
            gate.set(true);
            if let Poll::Ready(done) = step.as_mut().poll(cx) {
                gate.set(false);
                return Poll::Ready(done.map_err(PartsError::from));
            }
            if gate.is_open() {
                // Nothing has arrived; the body wakes us.
                return Poll::Pending;
            }
        }
    })
    .await
}

/// The parts of a form. Each is to be read to its end before the next one.
#[derive(Debug)]
pub struct Parts {
    parts: Multipart,
    gate: Arc<Gate>,
}

/// One part.
#[derive(Debug)]
pub struct Part<'a> {
    field: Field<'a>,
    gate: Arc<Gate>,
}

impl Parts {
    /// Those of a request.
    ///
    /// # Errors
    /// When it has none.
    pub async fn of(request: Request) -> Result<Self, PartsError> {
        let gate = Arc::<Gate>::default();
        let gated = |body| {
            Body::new(Gated {
                body,
                rest: Bytes::new(),
                gate: Arc::clone(&gate),
            })
        };
        let parts = Multipart::from_request(request.map(gated), &()).await?;
        Ok(Self { parts, gate })
    }

    /// The next one.
    ///
    /// # Errors
    /// When the form is broken or its headers are too long.
    pub async fn next(&mut self) -> Result<Option<Part<'_>>, PartsError> {
        let gate = Arc::clone(&self.gate);
        let field = fed(&gate, self.parts.next_field()).await?;
        Ok(field.map(|field| Part { field, gate }))
    }
}

impl Part<'_> {
    /// Name of the field.
    #[must_use]
    pub fn name(&self) -> Option<&str> {
        self.field.name()
    }

    /// Name of the file, if it is one.
    #[must_use]
    pub fn file_name(&self) -> Option<&str> {
        self.field.file_name()
    }

    /// Some bytes more.
    ///
    /// # Errors
    /// When the form is broken.
    pub async fn chunk(&mut self) -> Result<Option<Bytes>, PartsError> {
        fed(&self.gate, self.field.chunk()).await
    }
}

impl FromRequest<App> for Parts {
    type Rejection = super::errors::WebError;

    async fn from_request(request: Request, _: &App) -> Result<Self, Self::Rejection> {
        Self::of(request).await.map_err(super::upload::broken)
    }
}

#[cfg(test)]
mod tests {
    use axum::extract::DefaultBodyLimit;
    use axum::http::HeaderValue;
    use axum::http::header::CONTENT_TYPE;

    use super::*;

    /// A body that is there at once, in frames of so many bytes, and counts what is taken of it.
    struct AtOnce {
        bytes: Bytes,
        frame: usize,
        taken: Arc<AtomicUsize>,
    }

    impl HttpBody for AtOnce {
        type Data = Bytes;
        type Error = axum::Error;

        fn poll_frame(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
            let this = self.get_mut();
            let piece = this.bytes.split_to(this.frame.min(this.bytes.len()));
            this.taken.fetch_add(piece.len(), Ordering::Relaxed);
            Poll::Ready((!piece.is_empty()).then(|| Ok(Frame::data(piece))))
        }
    }

    async fn parts(body: Vec<u8>, frame: usize) -> (Parts, Arc<AtomicUsize>) {
        let taken = Arc::<AtomicUsize>::default();
        let body = AtOnce {
            bytes: body.into(),
            frame,
            taken: Arc::clone(&taken),
        };
        let mut request = Request::new(Body::new(body));
        let kind = HeaderValue::from_static("multipart/form-data; boundary=edge");
        request.headers_mut().insert(CONTENT_TYPE, kind);
        DefaultBodyLimit::disable().apply(&mut request);
        (Parts::of(request).await.unwrap(), taken)
    }

    fn head(name: &str) -> String {
        format!("--edge\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n")
    }

    /// Everything comes out as it went in, whatever the frames; and nothing is taken before it is needed.
    #[tokio::test]
    async fn parts_come_out_whole_and_the_reader_is_never_far_ahead() {
        let longs = [0, 1, 5, PIECE - 1, PIECE, 100_000, 3, 40_000];
        let mut body = Vec::new();
        let mut ends = Vec::new();
        for (n, long) in longs.iter().enumerate() {
            body.extend(head(&n.to_string()).into_bytes());
            // Among it what the beginning of an edge looks like.
            body.extend(b"ab\r\n--ed".iter().cycle().take(*long));
            body.extend(b"\r\n");
            ends.push(body.len());
        }
        body.extend(b"--edge--\r\n");
        for frame in [1, 7, 1_000, PIECE, 20_000, usize::MAX] {
            let (mut parts, taken) = parts(body.clone(), frame).await;
            for (n, long) in longs.iter().enumerate() {
                let mut part = parts.next().await.unwrap().unwrap();
                assert_eq!(part.name(), Some(n.to_string().as_str()));
                let mut bytes = Vec::new();
                while let Some(chunk) = part.chunk().await.unwrap() {
                    bytes.extend(chunk);
                }
                let all: Vec<u8> = b"ab\r\n--ed".iter().copied().cycle().take(*long).collect();
                assert!(bytes == all, "part {n} in frames of {frame}: {} bytes", bytes.len());
                if frame <= PIECE {
                    let ahead = taken.load(Ordering::Relaxed).saturating_sub(ends[n]);
                    assert!(ahead <= 2 * PIECE, "part {n} in frames of {frame}: {ahead} ahead");
                }
            }
            assert!(parts.next().await.unwrap().is_none());
        }
    }

    #[tokio::test]
    async fn headers_and_a_beginning_without_end_are_the_end_of_the_form() {
        let long = "x".repeat(10_000_000);
        let headers = format!("--edge\r\ncontent-disposition: form-data; name=\"{long}");
        let second = head("first") + "a\r\n" + &headers;
        for (body, before) in [(headers, 0), (long, 0), (second, 1)] {
            let (mut parts, taken) = parts(body.into_bytes(), 1_000).await;
            for _ in 0..before {
                let mut part = parts.next().await.unwrap().unwrap();
                while part.chunk().await.unwrap().is_some() {}
            }
            let end = parts.next().await.err();
            assert!(matches!(end, Some(PartsError::Headers)), "{end:?}");
            let taken = taken.load(Ordering::Relaxed);
            assert!(taken <= HELD, "{taken} bytes were taken");
        }
    }

    #[tokio::test]
    async fn a_form_that_breaks_off_says_so() {
        let (mut parts, _) = parts(head("one").into_bytes(), 10).await;
        let mut part = parts.next().await.unwrap().unwrap();
        assert!(matches!(part.chunk().await, Err(PartsError::Broken(_))));
    }
}
