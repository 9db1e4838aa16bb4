//! One file per command.

/// `read`: what a file is read as.
pub mod read;
