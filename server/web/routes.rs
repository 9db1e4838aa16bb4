//! All routes in one table: path, who may, handler. A new page is one line here.

use std::time::Duration;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::handler::Handler;
use axum::http::Method;
use axum::middleware::from_fn_with_state;
use axum::routing::{MethodRouter, get, post};

use super::app::App;
use super::errors::{self, WebError};
use super::guards::{Access, admit};
use super::pages::{
    account, assign, assignment, authoring, classes, exercise, exercises, gradebook, gradebook_rules, graded_report,
    import, my, report_review, review_queue, second_step, sheets, sign_in, start, student,
};
use super::pages::{exercise_insight, priors, report_faults};
use super::{copies, forms, layers, metrics, static_files, upload};

/// Largest form without files.
const FORM_BYTES: usize = 1024 * 1024;

/// Largest form of somebody who is not signed in, which is held in memory until it is whole: a name and two secrets of the
/// greatest length, escaped.
const STRANGER_BYTES: usize = 32 * 1024;

/// One line of the table.
pub struct Route {
    /// Path, with names in braces for the objects that [`super::guards`] loads.
    pub path: &'static str,
    /// Method.
    pub method: Method,
    /// Who may.
    pub access: Access,
    handler: MethodRouter<App>,
    most_bytes: usize,
    longest: Duration,
}

impl Route {
    /// The same as one that is about a copy of the whole school.
    pub(super) fn of_copies(self) -> Self {
        Self {
            longest: copies::LONGEST,
            ..self
        }
    }

    /// The same with another limit of its request.
    pub(super) fn up_to(self, most_bytes: usize) -> Self {
        Self { most_bytes, ..self }
    }
}

/// A page to look at.
pub(super) fn page<H: Handler<T, App>, T: 'static>(path: &'static str, access: Access, handler: H) -> Route {
    Route {
        path,
        method: Method::GET,
        access,
        handler: get(handler),
        most_bytes: FORM_BYTES,
        longest: layers::LONGEST,
    }
}

/// A form to send.
pub(super) fn form<H: Handler<T, App>, T: 'static>(path: &'static str, access: Access, handler: H) -> Route {
    Route {
        path,
        method: Method::POST,
        access,
        handler: post(handler),
        most_bytes: FORM_BYTES,
        longest: layers::LONGEST,
    }
}

/// A form with files ([`upload::Upload`]).
pub(super) fn files<H: Handler<T, App>, T: 'static>(path: &'static str, access: Access, handler: H) -> Route {
    Route {
        most_bytes: upload::REQUEST_BYTES,
        ..form(path, access, handler)
    }
}

/// The table.
#[must_use]
pub fn table() -> Vec<Route> {
    let mut table = first_pages();
    table.extend(super::routes_of_class::list());
    table.extend(exercises_and_own());
    table.extend(super::routes_of_plates::list());
    table
}

/// Signing in, classes and their reports.
fn first_pages() -> Vec<Route> {
    use Access::{Anyone, Instructor, SignedIn, Staff};
    vec![
        page("/", SignedIn, start::page),
        page("/sign-in", Anyone, sign_in::page),
        form("/sign-in", Anyone, sign_in::submit),
        form("/sign-in/code", Anyone, second_step::finish),
        form("/sign-out", Anyone, sign_in::leave),
        page("/account", SignedIn, account::page),
        form("/account/secret", SignedIn, account::change),
        form("/account/devices", SignedIn, account::end_others),
        page("/account/second-step", Staff, second_step::page),
        form("/account/second-step", Staff, second_step::submit),
        page("/classes", Staff, classes::page),
        page("/classes/{class}/gradebook", Staff, gradebook::page),
        page("/classes/{class}/gradebook.csv", Staff, gradebook::export),
        page("/classes/{class}/gradebook/rules", Instructor, gradebook_rules::page),
        form("/classes/{class}/gradebook/rules", Instructor, gradebook_rules::submit),
        page("/classes/{class}/students/{student}", Staff, student::page),
        form("/classes/{class}/students/{student}", Instructor, student::submit),
        page("/classes/{class}/assign", Instructor, assign::page),
        form("/classes/{class}/assign", Instructor, assign::submit),
        page("/assignments/{assignment}", Staff, assignment::page),
        form("/assignments/{assignment}/release", Instructor, assignment::release),
        form("/assignments/{assignment}/grade-again", Instructor, assignment::again),
        page("/classes/{class}/review", Staff, review_queue::page),
        page("/reports/{report}", Staff, graded_report::page),
        form("/reports/{report}/hand-marks", Staff, graded_report::mark),
        form("/reports/{report}/review", Staff, report_review::submit),
        form("/reports/{report}/plate", Instructor, report_review::settle_plate),
        form("/reports/{report}/faults", Instructor, report_faults::submit),
        form("/reports/{report}/check", Staff, report_faults::answer),
        page("/reports/{report}/evidence/{evidence}", Staff, graded_report::evidence),
        page("/reports/{report}/source", Staff, graded_report::source),
    ]
}

/// Exercises and plates, and the pages of students.
fn exercises_and_own() -> Vec<Route> {
    use Access::{Anyone, Instructor, Student};
    vec![
        page("/priors", Instructor, priors::page),
        page("/exercises/{exercise}/insight", Instructor, exercise_insight::page),
        page("/exercises", Instructor, exercises::page),
        page("/exercises/import", Instructor, import::page),
        files("/exercises/import", Instructor, import::submit),
        page("/exercises/new", Instructor, authoring::new_page),
        files("/exercises/new", Instructor, authoring::new_submit),
        page("/exercises/{exercise}", Instructor, exercise::page),
        form("/exercises/{exercise}/edit", Instructor, authoring::edit),
        page("/exercises/{exercise}/revisions", Instructor, authoring::revisions_page),
        page(
            "/exercises/{exercise}/exercise.toml",
            Instructor,
            authoring::revision_file,
        ),
        page("/drafts/{draft}", Instructor, authoring::page),
        form("/drafts/{draft}", Instructor, authoring::submit),
        page("/drafts/{draft}/table", Instructor, authoring::table_page),
        form("/drafts/{draft}/table", Instructor, authoring::table_submit),
        page("/drafts/{draft}/insight", Instructor, authoring::insight_page),
        form("/drafts/{draft}/insight", Instructor, authoring::insight_add),
        page("/drafts/{draft}/history", Instructor, authoring::history_page),
        form("/drafts/{draft}/step", Instructor, authoring::stand),
        page("/drafts/{draft}/overtaken", Instructor, authoring::overtaken_page),
        form("/drafts/{draft}/publish-over", Instructor, authoring::publish_over),
        page("/drafts/{draft}/exercise.toml", Instructor, authoring::file),
        form("/drafts/{draft}/discard", Instructor, authoring::discard),
        page(
            "/exercises/{exercise}/plates/{plate}/shop-sheet",
            Instructor,
            sheets::shop,
        ),
        page("/exercises/{exercise}/lab-sheet", Instructor, sheets::lab),
        page("/exercises/{exercise}/labels", Instructor, sheets::labels),
        page("/my", Student, my::list::page),
        page("/my/{assignment}", Student, my::assignment::page),
        page("/my/{assignment}/lab-sheet", Student, my::lab_sheet::page),
        page("/my/{assignment}/entry", Student, my::entry::page),
        files("/my/{assignment}/entry", Student, my::entry::submit),
        page("/my/{assignment}/entry/{no}", Student, my::entry_one::page),
        form("/my/{assignment}/entry/{no}", Student, my::entry_one::submit),
        page("/my/reports/{report}", Student, my::result::page),
        form("/my/reports/{report}/query", Student, my::result::ask),
        form("/my/reports/{report}/check", Student, my::result::answer),
        files("/my/reports/{report}/evidence", Student, my::evidence::add),
        page("/my/reports/{report}/evidence/{evidence}", Student, my::evidence::file),
        page(errors::HEALTH, Anyone, start::health),
        page("/static/{*path}", Anyone, static_files::file),
    ]
}

/// The table with its guards and layers.
pub fn router(app: &App) -> Router {
    let (mut routes, mut long) = (Router::new(), Router::new());
    for route in table() {
        let guard = from_fn_with_state((app.clone(), route.access), admit);
        let most_bytes = match route.access {
            Access::Anyone => route.most_bytes.min(STRANGER_BYTES),
            _ => route.most_bytes,
        };
        // Longer ones have files, which are counted as they are read.
        let handler = if route.method == Method::POST && most_bytes <= FORM_BYTES {
            route.handler.layer(from_fn_with_state(app.clone(), forms::count))
        } else {
            route.handler
        };
        let handler = handler
            .layer(DefaultBodyLimit::max(most_bytes))
            .layer(guard)
            .layer(from_fn_with_state(app.clone(), metrics::count));
        if route.longest == layers::LONGEST {
            routes = routes.route(route.path, handler);
        } else {
            long = long.route(route.path, handler);
        }
    }
    let lost = from_fn_with_state((app.clone(), Access::Anyone), admit);
    let lost = get(|| async { WebError::NotFound })
        .post(|| async { WebError::NotFound })
        .layer(lost);
    let routes = routes.fallback_service(lost.with_state(app.clone()));
    let long = layers::around(long.with_state(app.clone()), app, copies::LONGEST);
    layers::around(routes.with_state(app.clone()), app, layers::LONGEST).merge(long)
}
