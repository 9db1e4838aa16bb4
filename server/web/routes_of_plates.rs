//! Routes of plates: the drawer, what plates are made and known to be, and grading again.

use super::guards::Access;
use super::pages::{plates, regrade};
use super::routes::{Route, files, form, page};

/// All of them.
pub(super) fn list() -> Vec<Route> {
    let mut list = plate_drawer();
    list.extend(references_and_regrades());
    list
}

/// The plate drawer, and what plates are made to be.
fn plate_drawer() -> Vec<Route> {
    use Access::Instructor;
    vec![
        page("/plates", Instructor, plates::register::page),
        page(
            "/exercises/{exercise}/plates/propose",
            Instructor,
            plates::propose::page,
        ),
        form(
            "/exercises/{exercise}/plates/propose",
            Instructor,
            plates::propose::submit,
        ),
        page("/exercises/{exercise}/plates/new", Instructor, plates::by_hand::new),
        form("/exercises/{exercise}/plates/new", Instructor, plates::by_hand::add),
        page("/exercises/{exercise}/plates/{plate}", Instructor, plates::one::page),
        form("/exercises/{exercise}/plates/{plate}", Instructor, plates::one::say),
        form(
            "/exercises/{exercise}/plates/{plate}/drawer",
            Instructor,
            plates::one::drawer,
        ),
        page(
            "/exercises/{exercise}/plates/{plate}/planted",
            Instructor,
            plates::by_hand::page,
        ),
        form(
            "/exercises/{exercise}/plates/{plate}/planted",
            Instructor,
            plates::by_hand::submit,
        ),
    ]
}

/// What plates are known to be, and grading again.
fn references_and_regrades() -> Vec<Route> {
    use Access::Instructor;
    vec![
        page(
            "/exercises/{exercise}/plates/{plate}/certificate",
            Instructor,
            plates::certificate::page,
        ),
        form(
            "/exercises/{exercise}/plates/{plate}/certificate",
            Instructor,
            plates::certificate::submit,
        ),
        page(
            "/exercises/{exercise}/plates/{plate}/rounds",
            Instructor,
            plates::rounds::page,
        ),
        page(
            "/exercises/{exercise}/plates/{plate}/rounds/new",
            Instructor,
            plates::rounds::new,
        ),
        files(
            "/exercises/{exercise}/plates/{plate}/rounds/new",
            Instructor,
            plates::rounds::add,
        ),
        form(
            "/exercises/{exercise}/plates/{plate}/rounds/{round}/leave-out",
            Instructor,
            plates::rounds::leave_out,
        ),
        form(
            "/exercises/{exercise}/plates/{plate}/rounds/accept",
            Instructor,
            plates::rounds::accept,
        ),
        page(
            "/exercises/{exercise}/plates/{plate}/regrade",
            Instructor,
            regrade::of_plate,
        ),
        form(
            "/exercises/{exercise}/plates/{plate}/regrade",
            Instructor,
            regrade::plate_decided,
        ),
        page("/assignments/{assignment}/regrade", Instructor, regrade::of_assignment),
        form(
            "/assignments/{assignment}/regrade",
            Instructor,
            regrade::assignment_decided,
        ),
        page("/regrades/{regrade}", Instructor, regrade::progress),
    ]
}
