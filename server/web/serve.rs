//! Starts and stops.

use std::future::Future;
use std::time::Duration;

use tokio::net::TcpListener;

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
        for _ in 0..SWEEP.as_secs() / AGAIN.as_secs() {
            if service.store.take_out_left_traces().await {
                break;
            }
            tokio::time::sleep(AGAIN).await;
        }
        tokio::time::sleep(SWEEP).await;
    }
}

/// Done when the process is asked to stop: Ctrl-C, or SIGTERM where there is such a thing.
pub async fn asked_to_stop() {
    let interrupt = async {
        if let Err(error) = tokio::signal::ctrl_c().await {
            tracing::warn!(%error, "Ctrl-C cannot be heard");
            std::future::pending::<()>().await;
        }
    };
    #[cfg(unix)]
    let terminate = async {
        match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
            Ok(mut signal) => {
                signal.recv().await;
            }
            Err(_) => std::future::pending().await,
        }
    };
    #[cfg(not(unix))]
    let terminate = std::future::pending::<()>();
    tokio::select! { () = interrupt => {}, () = terminate => {} }
}
