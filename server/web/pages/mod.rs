//! One file per page: the template's struct, then its handlers.

/// Secret and devices of whoever is signed in.
pub mod account;
/// Assigning an exercise to a class.
pub mod assign;
/// The reports of an assignment.
pub mod assignment;
/// Authoring of an exercise.
pub mod authoring;
/// The bench now.
pub mod bench;
/// Changing an assignment.
pub mod change;
/// One class.
pub mod class;
/// The classes of an instructor or assistant.
pub mod classes;
/// The end of a term.
pub mod end_of_term;
/// One exercise and its plates.
pub mod exercise;
/// What the print of an exercise can tell.
pub mod exercise_insight;
/// All exercises.
pub mod exercises;
/// Pairs by assignments.
pub mod gradebook;
/// Weights and drops.
pub mod gradebook_rules;
/// One graded report.
pub mod graded_report;
/// Import of an exercise.
pub mod import;
/// Machine time of a class.
pub mod machines;
/// A student's first page.
pub mod my;
/// Making a class.
pub mod new_class;
/// Pairs of a class.
pub mod pairs;
/// People of a class, and their slips.
pub mod people;
/// The plate drawer and what plates really are.
pub mod plates;
/// What the diagnosis expects.
pub mod priors;
/// Grading again, with marks before and after.
pub mod regrade;
mod report_alike;
/// The faults of a graded report, and the word on them.
pub mod report_faults;
/// What stands beside a graded report for whoever reviews it.
pub mod report_review;
/// A backup back in place.
pub mod restore;
/// Reports of a class that need a person.
pub mod review_queue;
/// Taking a roster.
pub mod roster;
/// Taking a seat with a slip.
pub mod seat;
/// The second step at sign-in.
pub mod second_step;
/// Sheets to print: for the lab, for the shop, labels.
pub mod sheets;
/// Sign in, sign out.
pub mod sign_in;
/// The first page, which sends everybody to their own; and whether the server is well.
pub mod start;
/// One student of a class.
pub mod student;
