//! One file per page: the template's struct, then its handlers.

/// The classes of an instructor or assistant.
pub mod classes;
/// A student's first page.
pub mod my;
/// Sign in, sign out.
pub mod sign_in;
/// The first page, which sends everybody to their own; and whether the server is well.
pub mod start;
