//! What happens to every request, in one stack, the outermost first.

use std::any::Any;
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::header::{self, HeaderName, HeaderValue};
use axum::http::{Response, StatusCode};
use axum::middleware::{Next, from_fn, from_fn_with_state};
use axum::response::IntoResponse;
use tower::ServiceBuilder;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::compression::predicate::{DefaultPredicate, NotForContentType, Predicate};
use tower_http::csrf::CsrfLayer;
use tower_http::request_id::{MakeRequestUuid, PropagateRequestIdLayer, RequestId, SetRequestIdLayer};
use tower_http::timeout::TimeoutLayer;
use tower_http::trace::TraceLayer;

use super::app::App;
use super::copies;
use super::errors::{WebError, explain};

/// Longest time for one answer, but of the routes that have one of their own.
pub(super) const LONGEST: Duration = Duration::from_secs(30);

/// A copy of the school would keep a processor from the class for minutes, and its length would not be known.
const NOT_COPIES: NotForContentType = NotForContentType::const_new(copies::KIND);

/// No inline script, no inline style, nothing from elsewhere, in nobody's frame.
const POLICY: &str = "default-src 'none'; object-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data:; \
    connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

const HEADERS: [(HeaderName, &str); 7] = [
    (header::CONTENT_SECURITY_POLICY, POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (header::REFERRER_POLICY, "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (
        HeaderName::from_static("permissions-policy"),
        "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
    ),
];

/// Lays the stack around routes whose answers take so long at most.
pub(super) fn around(routes: Router, app: &App, longest: Duration) -> Router {
    let stack = ServiceBuilder::new()
        .layer(SetRequestIdLayer::x_request_id(MakeRequestUuid))
        .layer(TraceLayer::new_for_http().make_span_with(span))
        .layer(PropagateRequestIdLayer::x_request_id())
        .layer(CompressionLayer::new().compress_when(DefaultPredicate::new().and(NOT_COPIES)))
        .layer(from_fn_with_state(app.clone(), protect))
        .layer(from_fn(explain))
        .layer(TimeoutLayer::with_status_code(StatusCode::GATEWAY_TIMEOUT, longest))
        .layer(CatchPanicLayer::custom(after_panic))
        .layer(CsrfLayer::new());
    routes.layer(stack)
}

/// Method and route, never the query: what is typed does not belong in a log.
fn span(request: &Request) -> tracing::Span {
    let id = request.extensions().get::<RequestId>();
    let id = id.and_then(|id| id.header_value().to_str().ok()).unwrap_or_default();
    tracing::info_span!("request", id, method = %request.method(), path = request.uri().path())
}

/// Headers that protect, on every answer; pages are never kept by the browser or a proxy, because tablets are shared.
async fn protect(State(app): State<App>, request: Request, next: Next) -> Response<Body> {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    for (name, value) in HEADERS {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
    headers
        .entry(header::CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
    if app.settings.behind_tls {
        headers.insert(
            header::STRICT_TRANSPORT_SECURITY,
            HeaderValue::from_static("max-age=31536000; includeSubDomains"),
        );
    }
    response
}

fn after_panic(cause: Box<dyn Any + Send>) -> Response<Body> {
    let text = cause
        .downcast_ref::<String>()
        .map(String::as_str)
        .or_else(|| cause.downcast_ref::<&str>().copied())
        .unwrap_or("no text");
    WebError::Internal(format!("panic: {text}")).into_response()
}
