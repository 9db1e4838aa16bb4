//! Exercises and their plates as TOML files: format 1, read and written.
//!
//! Reading walks over every value with its place, so that all problems of a file come at once, each with line, column
//! and how to mend it. Each section of the format has a file here; `sections` is the walk over the whole. What was
//! read is written back by `write` and `write_plates`, so that reading it again gives the same.

mod between;
mod body;
mod body_space;
mod bonus;
mod characteristic;
mod datums;
mod feature;
mod fitting;
mod frame_noise;
mod head;
mod inside;
mod kind;
mod marks;
mod measurement;
mod mistaken;
mod nearest;
mod neighbours;
mod number;
mod options;
mod out;
mod outline;
mod plan;
mod planted;
mod plates;
mod problem;
mod quantities;
mod section;
mod sections;
mod shape;
mod sheet;
mod syntax;
mod unique;
mod value;
mod worked;
mod write;
mod write_plates;

use toml::de::DeTable;

pub use fitting::{fitted, read_plate_fitted};
pub use kind::{FileKind, kind_of};
pub(in crate::exercise) use out::quoted;
pub use planted::plantable;
pub use problem::{Problem, Severity};
pub use quantities::of_feature as quantities_of_feature;
pub use write::write_exercise;
pub use write_plates::write_plates;

use super::model::Exercise;
use super::plate::Plates;
use problem::Sink;

/// What is wrong with an exercise that asks for nothing.
pub(in crate::exercise) const NOTHING_TO_MEASURE: &str = "there is no characteristic to measure";

/// How the problem of a tolerance begins that nothing could be told by.
pub(in crate::exercise) const TOLERANCE_TOO_NARROW: &str = "the whole tolerance";

/// Reads an exercise file. The exercise is there when no problem is an error; all problems are reported, in the order
/// of the file. `file_name` only stands in them.
#[must_use]
pub fn read_exercise(file_name: &str, text: &str) -> (Option<Exercise>, Vec<Problem>) {
    let mut sink = Sink::new(file_name, text);
    let legible = syntax::legible(text, &mut sink);
    let (document, _) = DeTable::parse_recoverable(&legible);
    let exercise = sections::read(document.get_ref(), &mut sink);
    let (problems, clean) = sink.finish();
    (exercise.filter(|_| clean), problems)
}

/// Reads what is not yet an exercise without errors, to draw it: the exercise is there when all its parts could be made, be
/// there errors or not. All problems are reported.
#[must_use]
pub(in crate::exercise) fn read_draft(text: &str) -> (Option<Exercise>, Vec<Problem>) {
    let mut sink = Sink::new("", text);
    let legible = syntax::legible(text, &mut sink);
    let (document, _) = DeTable::parse_recoverable(&legible);
    let exercise = sections::read(document.get_ref(), &mut sink);
    (exercise, sink.finish().0)
}

/// The text without what cannot be read around, for those who take what they can from it.
pub(in crate::exercise) fn legible(text: &str) -> std::borrow::Cow<'_, str> {
    syntax::legible(text, &mut Sink::new("", text))
}

/// Reads a plates file against its exercise, as [`read_exercise`] does.
#[must_use]
pub fn read_plates(file_name: &str, text: &str, exercise: &Exercise) -> (Option<Plates>, Vec<Problem>) {
    let mut sink = Sink::new(file_name, text);
    let legible = syntax::legible(text, &mut sink);
    let (document, _) = DeTable::parse_recoverable(&legible);
    let plates = plates::read(document.get_ref(), exercise, &mut sink);
    let (problems, clean) = sink.finish();
    (plates.filter(|_| clean), problems)
}
