//! The pages of a pair.

/// One assignment.
pub mod assignment;
/// Report entry.
pub mod entry;
mod entry_form;
/// The lab sheet.
pub mod lab_sheet;
/// What the pair has to do and has done.
pub mod list;
/// The result of one report.
pub mod result;
