//! The connections: how many at once, and how long each may take over its headers and over its answers. Somebody who opens
//! thousands and says nothing, or reads nothing, costs a bounded amount of memory and is closed after a while; the class goes on working.

use std::convert::Infallible;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::ConnectInfo;
use axum::response::{IntoResponse, Response};
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::{Request, StatusCode};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tower::ServiceExt;

use super::steady::Steady;

/// Connections at once where the system allows as many open files. One that waits has some 10 kB.
const MOST: usize = 16_384;

/// Open files that are not connections: the database's, the log's, the program's.
const OTHER_FILES: u64 = 128;

/// How long a connection may be silent before a request, or take over the headers of one.
const HEADERS: Duration = Duration::from_secs(15);

/// Longest headers of a request together. A connection that sends them slowly holds as much memory.
const HEADER_BYTES: usize = 16 * 1024;

/// How long all together somebody may make the server wait before the next piece of an answer is taken.
const STILL: Duration = Duration::from_secs(30);

/// After the system had no more to give, so long until the next try.
const BREATH: Duration = Duration::from_millis(100);

/// After the signal to stop, requests in progress have so long to finish.
const LAST_REQUESTS: Duration = Duration::from_secs(35);

/// Takes connections until `stop` is done, then lets the requests in progress finish.
pub(super) async fn take(listener: TcpListener, routes: Router, stop: impl Future<Output = ()>) {
    let places = Arc::new(Semaphore::new(places()));
    let graceful = GracefulShutdown::new();
    // Nothing is sent: it is done when all who could are gone.
    let (working, mut worked) = mpsc::channel(1);
    let mut stop = std::pin::pin!(stop);
    loop {
        let (stream, from, place) = tokio::select! {
            () = &mut stop => break,
            taken = next(&listener, &places) => match taken {
                Some(taken) => taken,
                None => continue,
            },
        };
        serve(stream, from, place, (&routes, &working), &graceful);
    }
    drop(listener);
    drop(working);
    let finished = async {
        graceful.shutdown().await;
        worked.recv().await;
    };
    tokio::select! {
        () = finished => {}
        () = tokio::time::sleep(LAST_REQUESTS) => tracing::warn!("some requests did not finish in time"),
    }
}

/// As many as the system lets this process open, up to [`MOST`].
fn places() -> usize {
    let files = rlimit::increase_nofile_limit(u64::MAX).unwrap_or_else(|error| {
        tracing::warn!(%error, "the limit of open files is not known");
        1024
    });
    usize::try_from(files.saturating_sub(OTHER_FILES)).map_or(MOST, |files| files.clamp(16, MOST))
}

async fn next(
    listener: &TcpListener,
    places: &Arc<Semaphore>,
) -> Option<(TcpStream, SocketAddr, OwnedSemaphorePermit)> {
    // Never closed.
    let place = Arc::clone(places).acquire_owned().await.ok()?;
    match listener.accept().await {
        Ok((stream, from)) => Some((stream, from, place)),
        Err(error) => {
            tracing::warn!(%error, "a connection could not be taken");
            tokio::time::sleep(BREATH).await;
            None
        }
    }
}

fn serve(
    stream: TcpStream,
    from: SocketAddr,
    place: OwnedSemaphorePermit,
    (routes, working): (&Router, &mpsc::Sender<Infallible>),
    graceful: &GracefulShutdown,
) {
    let (routes, working) = (routes.clone(), working.clone());
    let answer = hyper::service::service_fn(move |request: Request<Incoming>| {
        let (routes, working) = (routes.clone(), working.clone());
        let mut request = request.map(Body::new);
        request.extensions_mut().insert(ConnectInfo(from));
        async move { Ok::<_, Infallible>(answer(routes, request, working).await) }
    });
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEADERS)
        .max_buf_size(HEADER_BYTES)
        .serve_connection(TokioIo::new(Steady::of(stream, STILL)), answer);
    let connection = graceful.watch(connection);
    tokio::spawn(async move {
        // A connection that breaks off is the browser's affair.
        if let Err(error) = connection.await {
            tracing::debug!(%error, "a connection ended");
        }
        drop(place);
    });
}

/// What may change something is done to its end also when the browser is gone before the answer, as with a telephone that loses its
/// network: in a task of its own, for which the stop waits.
async fn answer(routes: Router, request: Request<Body>, working: mpsc::Sender<Infallible>) -> Response {
    let only_reads = request.method().is_safe();
    let answer = async move {
        match routes.oneshot(request).await {
            Ok(response) => response,
            Err(never) => match never {},
        }
    };
    if only_reads {
        return answer.await;
    }
    let answered = tokio::spawn(async move {
        let response = answer.await;
        drop(working);
        response
    });
    // What panics in a handler is answered there.
    answered
        .await
        .unwrap_or_else(|_| StatusCode::INTERNAL_SERVER_ERROR.into_response())
}
