//! Starts and stops.

use std::future::Future;
use std::net::SocketAddr;
use std::time::Duration;

use tokio::net::TcpListener;

use super::app::App;
use super::routes;
use crate::actions::grade_report::grade_missing;
use crate::actions::{Service, sign_in};

/// How often what is over is removed.
const SWEEP: Duration = Duration::from_secs(3600);

/// After the signal, requests in progress have so long to finish.
const LAST_REQUESTS: Duration = Duration::from_secs(20);

/// Serves until `stop` is done, finishes what was accepted and closes the database.
///
/// # Errors
/// When the listener fails.
pub async fn serve(
    app: App,
    listener: TcpListener,
    stop: impl Future<Output = ()> + Send + 'static,
) -> std::io::Result<()> {
    let service = app.service.clone();
    let sweeper = tokio::spawn(sweep(service.clone()));
    let routes = routes::router(&app).into_make_service_with_connect_info::<SocketAddr>();
    let (told, mut stopping) = tokio::sync::watch::channel(false);
    let stop = async move {
        stop.await;
        tracing::info!("stopping: finishing what was accepted");
        // The receiver below lives until the end, so this cannot fail.
        told.send_replace(true);
    };
    let served = axum::serve(listener, routes).with_graceful_shutdown(stop);
    let late = async move {
        // An error means that the sender is gone, after which there is nothing to wait for either.
        drop(stopping.wait_for(|stopping| *stopping).await);
        tokio::time::sleep(LAST_REQUESTS).await;
    };
    let result = tokio::select! {
        result = served => result,
        () = late => {
            tracing::warn!("some requests did not finish in time");
            Ok(())
        }
    };
    sweeper.abort();
    service.store.close().await;
    result
}

/// Grades what was left ungraded and removes what is over, again and again.
async fn sweep(service: Service) {
    loop {
        match grade_missing(&service).await {
            Ok(0) => {}
            Ok(count) => tracing::info!(count, "reports were graded that had no grade yet"),
            Err(error) => tracing::error!(%error, "reports without a grade could not be found"),
        }
        if let Err(error) = sign_in::sweep(&service).await {
            tracing::warn!(%error, "old sessions were not removed");
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
