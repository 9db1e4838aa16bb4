//! Parse the command line, start, report the end.
fn main() {}
