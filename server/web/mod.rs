//! Router, guards, pages. A handler is extract, one call, page; never SQL.
//!
//! `routes` is the table of all pages with who may see each; `guards` hands a handler the person and the object in
//! the path, checked; `layers` is everything that happens to every request.

/// What every handler can reach.
pub mod app;
/// How many connections, and how long each may take.
mod connections;
/// Copies of the whole school on their way.
pub mod copies;
/// What a handler fails with, and the page for every 4xx and 5xx.
pub mod errors;
/// Answers that leave at even times.
mod even;
/// Fields of forms and addresses by name, each once.
pub mod fields;
/// Forms without files, bounded.
pub mod forms;
/// The head of every page.
pub mod frame;
/// The lines of a graded report.
pub mod graded;
/// Who may see what.
pub mod guards;
/// The lab sheet, for a pair and for instructors.
pub mod lab;
/// What happens to every request, in one stack.
pub mod layers;
/// What the server counts.
pub mod metrics;
/// One file per page.
pub mod pages;
/// Sizes of paper.
pub mod paper;
/// Forms in parts, fed to their reader piece by piece.
pub mod parts;
/// Pictures of exercises and of what was off.
pub mod pictures;
/// A template as an answer.
pub mod render;
/// All routes in one table.
pub mod routes;
/// Those of a class.
mod routes_of_class;
/// Those of plates.
mod routes_of_plates;
/// Starts and stops.
pub mod serve;
/// Files on their way out, bounded.
pub mod served;
/// Memory that requests hold, by person.
mod shares;
/// The lines of a print as every sheet shows them.
pub mod sheet;
/// Style, letters and scripts, from within the program.
pub mod static_files;
/// Connections whose answers make their way.
mod steady;
/// Times and rules of an assignment as typed.
mod terms;
/// Times as people of a class read them.
pub mod times;
/// Forms with files, bounded.
pub mod upload;
/// What is wrong with the fields of a form.
pub mod wrongs;
