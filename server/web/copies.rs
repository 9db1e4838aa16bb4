//! Copies of the whole school on their way out and in: one at a time, from and to the disk, never whole in memory.

use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::http::StatusCode;
use hyper::body::{Frame, SizeHint};
use tokio::fs::File;
use tokio::io::AsyncReadExt;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio::time::timeout;

use super::errors::{Explained, WebError};

/// What they are (<https://www.iana.org/assignments/media-types/application/vnd.sqlite3>).
pub(super) const KIND: &str = "application/vnd.sqlite3";

/// Longest time for one of them: a big school through a slow line.
pub(super) const LONGEST: Duration = Duration::from_secs(30 * 60);

/// How long the other end may take over one piece before it counts as gone.
pub(super) const STALL: Duration = Duration::from_secs(60);

/// Bytes that are read at once, and how many such pieces wait for the line.
const PIECE: usize = 128 * 1024;
const WAITING: usize = 4;

/// Whether a copy is on its way. Each is as big as the school, on the disk and for the database that makes or checks it.
#[derive(Debug, Clone)]
pub struct Copies(Arc<Semaphore>);

impl Default for Copies {
    fn default() -> Self {
        Self(Arc::new(Semaphore::new(1)))
    }
}

/// The turn of one copy, until it is dropped.
#[derive(Debug)]
pub(super) struct Turn(#[expect(dead_code, reason = "ends with this")] OwnedSemaphorePermit);

impl Copies {
    /// The turn, where no other has it.
    pub(super) fn begin(&self) -> Option<Turn> {
        Arc::clone(&self.0).try_acquire_owned().ok().map(Turn)
    }
}

/// Another copy is on its way.
pub(super) fn taken() -> WebError {
    Explained::new(
        StatusCode::SERVICE_UNAVAILABLE,
        "One copy at a time",
        "Another backup is being made, sent or put back at this moment, so nothing was done.",
        "Wait some minutes, then go back and try it again.",
    )
    .to("/classes", "To the classes")
    .into()
}

/// An open file as the body of an answer; the turn is over when it was sent, or when nobody takes it any more.
pub(super) fn body(file: File, size: u64, turn: Turn) -> Body {
    Body::new(sent(file, size, turn, STALL))
}

fn sent(mut file: File, size: u64, turn: Turn, stall: Duration) -> Sent {
    let (pieces, taken) = mpsc::channel(WAITING);
    tokio::spawn(async move {
        let fed = timeout(LONGEST, feed(&mut file, &pieces, stall)).await;
        if let Err(error) = fed.unwrap_or_else(|late| Err(late.into())) {
            tracing::info!(%error, "a copy of the school was not taken to its end");
        }
        drop(turn);
    });
    Sent { taken, left: size }
}

async fn feed(file: &mut File, pieces: &mpsc::Sender<Bytes>, stall: Duration) -> io::Result<()> {
    loop {
        let mut piece = vec![0; PIECE];
        let read = file.read(&mut piece).await?;
        if read == 0 {
            return Ok(());
        }
        piece.truncate(read);
        timeout(stall, pieces.send(piece.into()))
            .await?
            .map_err(|_| io::Error::from(io::ErrorKind::BrokenPipe))?;
    }
}

/// Pieces of a file. Where they end early the answer breaks off, so that no part is taken for the whole.
#[derive(Debug)]
struct Sent {
    taken: mpsc::Receiver<Bytes>,
    left: u64,
}

impl hyper::body::Body for Sent {
    type Data = Bytes;
    type Error = io::Error;

    fn poll_frame(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<io::Result<Frame<Bytes>>>> {
        Poll::Ready(match ready!(self.taken.poll_recv(context)) {
            Some(piece) => {
                let bytes = u64::try_from(piece.len()).unwrap_or(u64::MAX);
                self.left = self.left.saturating_sub(bytes);
                Some(Ok(Frame::data(piece)))
            }
            None if self.left == 0 => None,
            None => Some(Err(io::Error::from(io::ErrorKind::UnexpectedEof))),
        })
    }

    fn size_hint(&self) -> SizeHint {
        SizeHint::with_exact(self.left)
    }
}

#[cfg(test)]
mod tests {
    use axum::body::to_bytes;

    use super::*;

    async fn open(bytes: usize) -> (File, u64) {
        let mut some = tempfile::NamedTempFile::new().unwrap();
        let content: Vec<u8> = (0..bytes).map(|n| u8::try_from(n % 251).unwrap()).collect();
        io::Write::write_all(&mut some, &content).unwrap();
        let file = File::open(some.path()).await.unwrap();
        // Its name is gone with `some`: the open file is all that there is.
        (file, u64::try_from(bytes).unwrap())
    }

    #[tokio::test]
    async fn a_file_is_sent_whole_piece_by_piece_and_the_turn_is_over_after_it() {
        let copies = Copies::default();
        for bytes in [0, 1, PIECE, 20 * PIECE + 7] {
            let turn = copies.begin().unwrap();
            assert!(copies.begin().is_none());
            let (file, size) = open(bytes).await;
            let body = body(file, size, turn);
            let got = to_bytes(body, usize::MAX).await.unwrap();
            assert_eq!(got.len(), bytes);
            assert!(got.iter().enumerate().all(|(n, b)| usize::from(*b) == n % 251));
            while copies.begin().is_none() {
                tokio::task::yield_now().await;
            }
        }
    }

    #[tokio::test]
    async fn who_takes_nothing_loses_the_turn_and_gets_no_part_for_the_whole() {
        let copies = Copies::default();
        let (file, size) = open(20 * PIECE).await;
        let turn = copies.begin().unwrap();
        let slow = sent(file, size, turn, Duration::from_millis(20));
        while copies.begin().is_none() {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        assert!(to_bytes(Body::new(slow), usize::MAX).await.is_err());
        // The other end is gone.
        let (file, size) = open(20 * PIECE).await;
        drop(body(file, size, copies.begin().unwrap()));
        while copies.begin().is_none() {
            tokio::task::yield_now().await;
        }
    }

    #[tokio::test]
    async fn no_more_than_some_pieces_are_held() {
        let (file, size) = open(40 * PIECE).await;
        let slow = sent(file, size, Copies::default().begin().unwrap(), STALL);
        tokio::time::sleep(Duration::from_millis(100)).await;
        assert_eq!(slow.taken.len(), WAITING);
    }
}
