//! The exercise: what an instructor authors, what each plate really is, and how both are drawn.
//!
//! `model` holds the checked exercise, `plate` the truth of its copies, `geometry` turns feature states into
//! the values of characteristics. Files are read and written in `file`, drawn in `drawing`.

pub mod drawing;
pub mod file;
pub mod geometry;
pub mod model;
pub mod names;
pub mod plate;
