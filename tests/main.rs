//! All tests that go through the public interface, in one binary.
#![expect(clippy::unwrap_used, reason = "a step that fails is a test that fails")]

mod architecture;
mod browser;
mod checks;
mod drawing;
mod exercise_file;
mod stories;
