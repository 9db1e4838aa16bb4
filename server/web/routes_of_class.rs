//! The pages of a class from its roster to its end of term, for the table of all pages.

use super::guards::Access::{Anyone, Instructor, Staff, Student};
use super::pages::{bench, change, class, end_of_term, machines, my, new_class, pairs, people, restore, roster, seat};
use super::routes::{Route, files, form, page};

/// Their lines.
pub(super) fn list() -> Vec<Route> {
    vec![
        page("/seat", Anyone, seat::page),
        form("/seat", Anyone, seat::submit),
        page("/classes/new", Instructor, new_class::page),
        form("/classes/new", Instructor, new_class::submit),
        page("/classes/{class}", Staff, class::page),
        page("/classes/{class}/roster", Instructor, roster::page),
        files("/classes/{class}/roster", Instructor, roster::submit),
        page("/classes/{class}/people", Staff, people::page),
        form("/classes/{class}/people", Instructor, people::add),
        page("/classes/{class}/people/{person}", Staff, people::person),
        form("/classes/{class}/people/{person}", Instructor, people::change),
        form("/classes/{class}/slips", Instructor, people::slips),
        page("/classes/{class}/pairs", Instructor, pairs::page),
        form("/classes/{class}/pairs", Instructor, pairs::submit),
        page(
            "/classes/{class}/people/{person}/stored",
            Instructor,
            end_of_term::about,
        ),
        page("/classes/{class}/machines", Staff, machines::page),
        form("/classes/{class}/machines", Instructor, machines::submit),
        page("/classes/{class}/bench", Staff, bench::page),
        page("/classes/{class}/end-of-term", Instructor, end_of_term::page),
        form("/classes/{class}/end-of-term", Instructor, end_of_term::submit),
        form("/backup", Instructor, end_of_term::backup).of_copies(),
        page("/restore", Instructor, restore::page),
        form("/restore", Instructor, restore::submit)
            .up_to(restore::BACKUP_BYTES)
            .of_copies(),
        form("/restore/apply", Instructor, restore::apply).of_copies(),
        page("/assignments/{assignment}/change", Instructor, change::page),
        form("/assignments/{assignment}/change", Instructor, change::submit),
        page("/my/{assignment}/turns", Student, my::turns::page),
        form("/my/{assignment}/turns", Student, my::turns::submit),
    ]
}
