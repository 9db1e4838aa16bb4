//! Platemark: practice plates for coordinate measuring, and the marks for measuring them.
//!
//! The floors of the house, in order; a floor may use those above it and never one below.
//! `tests/architecture.rs` holds the code to this list. The first seven are pure: no I/O, no clock, no randomness of
//! their own, no async.

/// Threads that make and drop a lot at once, as graders do, do not wait for each other here. The system's allocator has a few
/// places for all threads, and two that share one spend a tenth to a half of their time on its lock.
#[global_allocator]
static MEMORY: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// Lengths, angles and written numbers; reading and showing mm and inch.
pub mod units;

/// Points, fits, datum frame, tolerance, uncertainty, conformity.
pub mod metrology;

/// The exercise: its model, its file, its plates, its drawing.
pub mod exercise;

/// A pair's report and the readers for each way in.
pub mod report;

/// The forward model: plate and measuring procedure to report or probed points.
pub mod procedure;

/// Measurement and call scores, diagnosis, follow-through, marks, feedback.
pub mod grading;

/// Robust statistics, gauge study, item analysis, plate health, duplicates.
pub mod cohort;

/// Settings, parsed once.
pub mod config;

// Floors with I/O.

/// SQL and nothing but: one file per aggregate.
pub mod store;

/// One file per thing that a person does: store and pure floors, no HTTP.
pub mod actions;

/// Router, guards, pages.
pub mod web;

/// One file per command.
pub mod cli;
