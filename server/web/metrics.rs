//! What the server counts, in the text form of OpenMetrics, at an address of its own that no person's browser needs.
//! Nothing of a person, a plate or a report is in it: routes stand with their names in braces, never as they were asked.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Instant;

use axum::Router;
use axum::extract::{MatchedPath, Request, State};
use axum::http::{Method, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use prometheus_client::collector::Collector;
use prometheus_client::encoding::text::encode;
use prometheus_client::encoding::{DescriptorEncoder, EncodeLabelSet, EncodeMetric};
use prometheus_client::metrics::counter::{ConstCounter, Counter};
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::ConstGauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::registry::{Registry, Unit};

use super::app::App;
use super::errors::WebError;
use crate::store::Store;

/// Media type of the text form (OpenMetrics 1.0).
const KIND: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Upper ends of the classes of times, in seconds.
const TIMES: [f64; 11] = [0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 5.0];

fn of_times() -> Histogram {
    Histogram::new(TIMES)
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Answered {
    route: String,
    method: &'static str,
    status: u32,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Routed {
    route: String,
}

/// Counters of one server; cheap to clone.
#[derive(Debug, Clone)]
pub struct Metrics {
    registry: Arc<Registry>,
    answers: Family<Answered, Counter>,
    times: Family<Routed, Histogram, fn() -> Histogram>,
}

impl Metrics {
    /// Counts of requests, and those of the writer as they stand when somebody asks.
    #[must_use]
    pub fn new(store: &Store) -> Self {
        let times = Family::new_with_constructor(of_times as fn() -> Histogram);
        let answers = Family::default();
        let mut registry = Registry::with_prefix("platemark");
        registry.register("answers", "Requests answered", answers.clone());
        let help = "Time from a request's headers to those of its answer";
        registry.register_with_unit("answer_time", help, Unit::Seconds, times.clone());
        registry.register_collector(Box::new(OfStore(store.clone())));
        Self {
            registry: Arc::new(registry),
            answers,
            times,
        }
    }
}

/// Figures of the database.
#[derive(Debug)]
struct OfStore(Store);

impl Collector for OfStore {
    fn encode(&self, mut encoder: DescriptorEncoder<'_>) -> Result<(), std::fmt::Error> {
        let writer = self.0.writer();
        let counts = writer.counts();
        for (name, help, count) in [
            ("jobs_kept", "Reports and grades committed", &counts.kept),
            ("commits", "Transactions of reports and grades", &counts.commits),
            (
                "jobs_failed",
                "Reports and grades that the disk did not take",
                &counts.failed,
            ),
        ] {
            let counter = ConstCounter::new(count.load(Ordering::Relaxed));
            counter.encode(encoder.encode_descriptor(name, help, None, counter.metric_type())?)?;
        }
        let waiting = ConstGauge::new(i64::try_from(writer.waiting()).unwrap_or(i64::MAX));
        let help = "Reports, and grades that come together, in line for the writer";
        waiting.encode(encoder.encode_descriptor("jobs_waiting", help, None, waiting.metric_type())?)?;
        let bytes = std::fs::metadata(self.0.file()).map_or(0, |file| file.len());
        let size = ConstGauge::new(i64::try_from(bytes).unwrap_or(i64::MAX));
        let help = "Size of the database file";
        size.encode(encoder.encode_descriptor("database_size", help, Some(&Unit::Bytes), size.metric_type())?)
    }
}

/// The name of a method that a route has; any other word that a client makes up is one and the same, or each of them would stay
/// in the memory for ever.
fn label(method: &Method) -> &'static str {
    match *method {
        Method::GET => "GET",
        Method::HEAD => "HEAD",
        Method::POST => "POST",
        _ => "other",
    }
}

/// Counts a request by its route, outside of everything that may answer it.
pub(super) async fn count(State(app): State<App>, request: Request, next: Next) -> Response {
    let begun = Instant::now();
    let method = label(request.method());
    let path = request.extensions().get::<MatchedPath>();
    let route = path.map_or("none", MatchedPath::as_str).to_owned();
    let response = next.run(request).await;
    let metrics = &app.metrics;
    let answered = Answered {
        route: route.clone(),
        method,
        status: u32::from(response.status().as_u16()),
    };
    metrics.answers.get_or_create(&answered).inc();
    metrics
        .times
        .get_or_create(&Routed { route })
        .observe(begun.elapsed().as_secs_f64());
    response
}

/// The one page of the other address.
pub(super) fn router(app: &App) -> Router {
    Router::new().route("/metrics", get(show)).with_state(app.clone())
}

async fn show(State(app): State<App>) -> Result<Response, WebError> {
    let mut text = String::new();
    encode(&mut text, &app.metrics.registry).map_err(WebError::internal)?;
    Ok(([(header::CONTENT_TYPE, KIND)], text).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_that_clients_make_up_are_one_label() {
        for known in ["GET", "HEAD", "POST"] {
            assert_eq!(label(&Method::from_bytes(known.as_bytes()).unwrap()), known);
        }
        let long = "X".repeat(4_000);
        for made_up in ["get", "PUT", "TRACE", "MAKE-UP", "A1", long.as_str()] {
            assert_eq!(label(&Method::from_bytes(made_up.as_bytes()).unwrap()), "other");
        }
    }
}
