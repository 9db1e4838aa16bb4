//! The pages of a pair.

/// One assignment.
pub mod assignment;
/// Report entry.
pub mod entry;
mod entry_beside;
mod entry_form;
/// Report entry, one number at a time.
pub mod entry_one;
mod entry_photo;
/// Photos and PDFs beside a report.
pub mod evidence;
/// The lab sheet.
pub mod lab_sheet;
/// What the pair has to do and has done.
pub mod list;
/// The result of one report.
pub mod result;
/// Turns at the machines.
pub mod turns;
