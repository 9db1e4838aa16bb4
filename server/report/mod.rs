//! A pair's report and the readers for each way in.

/// From rows or fields to a report on one exercise.
pub mod assemble;
/// The pair's call, and the words for it.
pub mod call;
/// The check at the machine, free of the truth.
pub mod check;
/// The report table in a text file.
pub mod csv;
/// Two devices on one draft.
pub mod draft;
/// A table put into the fields of the form.
pub mod entry;
/// A photo or PDF beside a report.
pub mod evidence;
/// What an honest pair calls its own numbers.
pub mod judge;
/// The kind of a file, found by its content.
pub mod kind;
/// A report as it is graded.
pub mod model;
/// Names of persons in what somebody wrote.
pub mod names;
/// The table of probed points in a text file.
pub mod points;
/// What a pair remarks beside its numbers.
pub mod remarks;
/// A class's roster in a text file.
pub mod roster;
/// What a pair says of how it set the plate up.
pub mod setup_record;
/// Tables in text files: from bytes to rows.
pub mod table;
/// Writing tables as CSV, and text made harmless for spreadsheets.
pub mod write_csv;
