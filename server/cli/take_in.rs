//! A text file from the command line, or standard input for `-`, and what is wrong with it.

use std::fs::File;
use std::io::{Read, Write};
use std::path::Path;

use anyhow::Context;

use super::Streams;
use crate::exercise::file::{Problem, Severity};

/// Largest file that is taken in, in bytes; far beyond any exercise.
const MAX_INPUT: u64 = 16 * 1024 * 1024;

/// Reads it whole.
pub(super) fn take_in(path: &Path, streams: &mut Streams<'_>) -> anyhow::Result<String> {
    let mut text = String::new();
    let read = if path == Path::new("-") {
        streams.input.by_ref().take(MAX_INPUT).read_to_string(&mut text)
    } else {
        File::open(path).and_then(|file| file.take(MAX_INPUT).read_to_string(&mut text))
    };
    read.with_context(|| {
        format!(
            "{} cannot be read. Check the name and that it is a text file.",
            path.display()
        )
    })?;
    Ok(text)
}

/// Prints the problems for which a file is not taken.
pub(super) fn tell(problems: &[Problem], streams: &mut Streams<'_>) -> anyhow::Result<()> {
    for problem in problems.iter().filter(|p| p.severity == Severity::Error) {
        writeln!(streams.errors, "{problem}")?;
    }
    Ok(())
}
