//! Starts and stops.

use std::future::Future;
use std::io;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::time::{Instant, sleep_until};

use super::app::App;
use super::{connections, metrics, routes};
use crate::actions::behind::keep_up;
use crate::actions::end_of_term::take_out_what_is_over;
use crate::actions::{Service, restore, sign_in};
use crate::store::files;

/// How often what is over is removed.
const SWEEP: Duration = Duration::from_secs(3600);

/// How soon it is tried again to take remains of names out of the file.
const AGAIN: Duration = Duration::from_secs(60);

/// Serves until `stop` is done or a restart is asked for, finishes what was accepted and closes the database.
pub async fn serve(app: App, listener: TcpListener, stop: impl Future<Output = ()> + Send + 'static) {
    let service = app.service.clone();
    let grader = tokio::spawn(keep_up(service.clone()));
    let sweeper = tokio::spawn(sweep(service.clone()));
    let checker = tokio::spawn(check(service.clone()));
    let restart = app.restart.clone();
    let stop = async move {
        tokio::select! { () = stop => {}, () = restart.wait() => {} }
        tracing::info!("stopping: finishing what was accepted");
    };
    connections::take(listener, routes::router(&app), stop).await;
    grader.abort();
    sweeper.abort();
    checker.abort();
    service.fresh.end().await;
    service.searches.end().await;
    service.store.close().await;
}

/// Looks once whether the file is sound. What can go on goes on: the log says it, and so does /health.
async fn check(service: Service) {
    if let Err(error) = service.store.check().await {
        tracing::error!(%error, "the check of the database at the start");
    }
}

/// Answers /metrics at an address of its own, until the process ends.
pub async fn serve_metrics(app: App, listener: TcpListener) {
    connections::take(listener, metrics::router(&app), std::future::pending()).await;
}

/// Removes what is over, again and again.
async fn sweep(service: Service) {
    loop {
        if let Err(error) = take_out_what_is_over(&service).await {
            tracing::error!(%error, "classes whose time is over could not be found");
        }
        let folder = files::folder_of(service.store.file());
        if let Err(error) = restore::remove_old_copies(folder, service.clock.now()) {
            tracing::error!(%error, "copies of the school from before a restore were not removed");
        }
        if let Err(error) = sign_in::sweep(&service).await {
            tracing::warn!(%error, "old sessions were not removed");
        }
        // What stands against it, a backup say, or the check at the start, takes minutes.
        let store = &service.store;
        rest(SWEEP, AGAIN, || store.take_out_left_traces()).await;
    }
}

/// Tries at once, then `again` and again until it is done; over after `whole` in all, done or not.
async fn rest<T: Future<Output = bool>>(whole: Duration, again: Duration, tried: impl Fn() -> T) {
    let end = Instant::now() + whole;
    while !tried().await {
        let next = Instant::now() + again;
        if next >= end {
            break;
        }
        sleep_until(next).await;
    }
    sleep_until(end).await;
}

/// What asks the process to stop: Ctrl-C, or SIGTERM where there is such a thing. Heard from the moment on when this is made.
#[derive(Debug)]
pub struct Stop {
    #[cfg(unix)]
    signals: [tokio::signal::unix::Signal; 2],
    #[cfg(windows)]
    signal: tokio::signal::windows::CtrlC,
}

impl Stop {
    /// Listens from now on.
    ///
    /// # Errors
    /// When the system does not tell this process of signals.
    #[cfg(unix)]
    pub fn listen() -> io::Result<Self> {
        use tokio::signal::unix::{SignalKind, signal};
        Ok(Self {
            signals: [signal(SignalKind::interrupt())?, signal(SignalKind::terminate())?],
        })
    }

    /// Listens from now on.
    ///
    /// # Errors
    /// When the system does not tell this process of signals.
    #[cfg(windows)]
    pub fn listen() -> io::Result<Self> {
        Ok(Self {
            signal: tokio::signal::windows::ctrl_c()?,
        })
    }

    /// Done when the process has been asked to stop since [`Self::listen`].
    pub async fn asked(mut self) {
        #[cfg(unix)]
        {
            let [interrupt, terminate] = &mut self.signals;
            tokio::select! { _ = interrupt.recv() => {}, _ = terminate.recv() => {} }
        }
        #[cfg(windows)]
        self.signal.recv().await;
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;

    /// How often it is tried and how long that takes, where it is done at the try of this number.
    async fn tries(done_at: usize, whole: Duration, again: Duration) -> (usize, Duration) {
        let (tries, begun) = (AtomicUsize::new(0), Instant::now());
        rest(whole, again, || {
            std::future::ready(tries.fetch_add(1, Ordering::Relaxed) + 1 == done_at)
        })
        .await;
        (tries.into_inner(), begun.elapsed())
    }

    #[tokio::test]
    async fn a_round_takes_as_long_whether_it_is_done_or_not() {
        let (whole, again) = (Duration::from_secs(2), Duration::from_millis(300));
        let (never, at_once, later) = tokio::join!(
            tries(usize::MAX, whole, again),
            tries(1, whole, again),
            tries(2, whole, again)
        );
        assert!((3..=7).contains(&never.0), "{never:?}");
        assert_eq!((at_once.0, later.0), (1, 2));
        for (_, took) in [never, at_once, later] {
            assert!((whole..whole * 7 / 4).contains(&took), "{took:?}");
        }
    }
}
