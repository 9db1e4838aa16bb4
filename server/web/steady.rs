//! Connections on which an answer makes its way: whoever asks for much and reads nothing, or a few bytes now and then, would
//! hold the answer and the place of the connection for ever.

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;
use tokio::time::{Instant, Sleep, sleep_until};

/// So much has to go before the waiting begins anew: with half a minute to wait that is 2 kB a second.
const PIECE: usize = 64 * 1024;

/// So much of an answer may lie in the system unsent. Else it takes megabytes at once and says only when a third of them has gone that
/// there is room again: of a slow line on which a photo makes its way nothing is seen for minutes. Where the system knows no such
/// bound (Linux does) that is how it stays.
#[cfg(any(target_os = "android", target_os = "linux"))]
const UNSENT: u32 = 16 * 1024;

/// A stream that ends with an error when it waited too long to be written to. Time in which there is nothing to write does not
/// count.
#[derive(Debug)]
pub(super) struct Steady<T> {
    stream: T,
    most: Duration,
    /// What went out since the waiting was counted anew.
    gone: usize,
    /// How long it waited since then.
    waited: Duration,
    /// Since when it waits now.
    since: Option<Instant>,
    /// Made when it is needed: most connections never wait.
    timer: Option<Pin<Box<Sleep>>>,
}

impl Steady<TcpStream> {
    /// A connection, of which it is seen in small steps what goes out.
    pub(super) fn of(stream: TcpStream, most: Duration) -> Self {
        #[cfg(any(target_os = "android", target_os = "linux"))]
        if let Err(error) = socket2::SockRef::from(&stream).set_tcp_notsent_lowat(UNSENT) {
            tracing::debug!(%error, "it will be seen late what goes out on a connection");
        }
        Self::new(stream, most)
    }
}

impl<T> Steady<T> {
    const fn new(stream: T, most: Duration) -> Self {
        Self {
            stream,
            most,
            gone: 0,
            waited: Duration::ZERO,
            since: None,
            timer: None,
        }
    }

    fn watched(&mut self, cx: &mut Context<'_>, written: Poll<io::Result<usize>>) -> Poll<io::Result<usize>> {
        match written {
            Poll::Ready(Ok(count)) => {
                self.timer = None;
                if let Some(since) = self.since.take() {
                    self.waited += since.elapsed();
                }
                self.gone = self.gone.saturating_add(count);
                if self.gone >= PIECE {
                    (self.gone, self.waited) = (0, Duration::ZERO);
                }
                Poll::Ready(Ok(count))
            }
            Poll::Pending => {
                let since = *self.since.get_or_insert_with(Instant::now);
                let end = since + self.most.saturating_sub(self.waited);
                let timer = self.timer.get_or_insert_with(|| Box::pin(sleep_until(end)));
                ready!(timer.as_mut().poll(cx));
                let error = io::Error::new(io::ErrorKind::TimedOut, "nobody takes the answer");
                Poll::Ready(Err(error))
            }
            failed @ Poll::Ready(Err(_)) => failed,
        }
    }
}

impl<T: AsyncRead + Unpin> AsyncRead for Steady<T> {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, into: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(cx, into)
    }
}

impl<T: AsyncWrite + Unpin> AsyncWrite for Steady<T> {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write(cx, bytes);
        self.watched(cx, written)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        pieces: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write_vectored(cx, pieces);
        self.watched(cx, written)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}

#[cfg(test)]
mod tests {
    use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream, duplex};
    use tokio::net::{TcpListener, TcpSocket};
    use tokio::time::{sleep, timeout};

    use super::*;

    /// A stream whose other end takes so much before somebody reads.
    const HOLDS: usize = 1_000;

    fn pair(most: Duration) -> (Steady<DuplexStream>, DuplexStream) {
        let (near, far) = duplex(HOLDS);
        (Steady::new(near, most), far)
    }

    #[tokio::test]
    async fn who_reads_nothing_is_ended() {
        let most = Duration::from_millis(200);
        let (mut near, _far) = pair(most);
        let begun = Instant::now();
        let ended = timeout(most * 50, near.write_all(&[7; 2 * HOLDS])).await.unwrap();
        assert_eq!(ended.unwrap_err().kind(), io::ErrorKind::TimedOut);
        assert!(begun.elapsed() >= most);
    }

    /// A byte now and then is no progress, however often.
    #[tokio::test]
    async fn who_reads_byte_by_byte_is_ended() {
        let most = Duration::from_millis(200);
        let (mut near, mut far) = pair(most);
        let trickle = tokio::spawn(async move {
            while far.read_u8().await.is_ok() {
                sleep(Duration::from_millis(5)).await;
            }
        });
        let ended = timeout(most * 50, near.write_all(&[7; PIECE])).await.unwrap();
        assert_eq!(ended.unwrap_err().kind(), io::ErrorKind::TimedOut);
        drop(near);
        trickle.await.unwrap();
    }

    /// What the system itself would take of an answer without anybody reading, twice.
    const LONG: usize = 8 << 20;

    /// A connection and its other end, whose own buffer holds little, as of a line that carries little.
    async fn connection(most: Duration) -> (Steady<TcpStream>, TcpStream) {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let far = TcpSocket::new_v4().unwrap();
        far.set_recv_buffer_size(4096).unwrap();
        let (far, near) = tokio::join!(far.connect(listener.local_addr().unwrap()), listener.accept());
        (Steady::of(near.unwrap().0, most), far.unwrap())
    }

    /// All is twenty times as quick here as on the line of a telephone that takes 4 kB a second, for which half a minute is waited.
    #[cfg(any(target_os = "android", target_os = "linux"))]
    #[tokio::test]
    async fn a_line_that_is_slow_but_steady_gets_a_file_of_megabytes() {
        const SLOWLY: usize = 400_000;
        let (mut near, mut far) = connection(Duration::from_millis(1500)).await;
        let reading = tokio::spawn(async move {
            let (mut all, mut piece, begun) = (0, vec![0; 1 << 16], Instant::now());
            loop {
                let most = if all < SLOWLY { 2_000 } else { piece.len() };
                let count = far.read(&mut piece[..most]).await.unwrap();
                if count == 0 {
                    break all;
                }
                all += count;
                if all < SLOWLY {
                    sleep_until(begun + Duration::from_micros(u64::try_from(all).unwrap() * 25 / 2)).await;
                }
            }
        });
        near.write_all(&vec![7; LONG]).await.unwrap();
        drop(near);
        assert_eq!(reading.await.unwrap(), LONG);
    }

    #[tokio::test]
    async fn a_line_on_which_nothing_or_next_to_nothing_goes_is_ended() {
        let most = Duration::from_millis(1500);
        for bytes in [0, 10] {
            let (mut near, mut far) = connection(most).await;
            let trickle = tokio::spawn(async move {
                let mut piece = vec![0; bytes];
                while far.read_exact(&mut piece).await.is_ok() {
                    sleep(Duration::from_millis(50)).await;
                }
            });
            let ended = timeout(most * 20, near.write_all(&vec![7; LONG])).await.unwrap();
            assert_eq!(ended.unwrap_err().kind(), io::ErrorKind::TimedOut, "{bytes}");
            trickle.abort();
        }
    }

    /// Slow lines get a long answer whole, and a long pause between two answers is no waiting.
    #[tokio::test]
    async fn who_reads_slowly_gets_everything() {
        const ANSWERS: usize = 3;
        let most = Duration::from_secs(2);
        let (mut near, mut far) = pair(most);
        let reading = tokio::spawn(async move {
            let (mut all, mut piece) = (0, vec![0; HOLDS]);
            loop {
                let count = far.read(&mut piece).await.unwrap();
                if count == 0 {
                    break all;
                }
                all += count;
                sleep(Duration::from_millis(1)).await;
            }
        });
        for _ in 0..ANSWERS {
            near.write_all(&[7; 2 * PIECE]).await.unwrap();
            sleep(most + most / 2).await;
        }
        drop(near);
        assert_eq!(reading.await.unwrap(), ANSWERS * 2 * PIECE);
    }
}
