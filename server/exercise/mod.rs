//! The exercise: what an instructor authors, what each plate really is, and how both are drawn.
//!
//! `model` holds the checked exercise, `plate` the truth of its copies, `geometry` turns feature states into
//! the values of characteristics. Files are read and written in `file`, drawn in `drawing`; `shop` is what is to
//! be made of one copy.

/// What differs between two revisions, in words.
pub mod difference;
pub mod drawing;
pub mod file;
/// An exercise as it is typed, right or wrong.
pub mod form;
pub mod geometry;
pub mod model;
pub mod names;
pub mod plate;
pub mod shop;
