//! Stories through the public interface: a real server on a temporary folder and a free port, and browsers that are a
//! small HTTP client with cookies.

mod access;
mod account;
mod at_once;
mod authoring;
mod authoring_mend;
mod backup;
mod bad_input;
mod bench;
mod charge;
mod class;
mod class_life;
mod copies;
mod cut_off;
mod durability;
mod entry;
mod errors;
pub(crate) mod faults;
mod gradebook;
mod import;
mod kill;
pub(crate) mod log;
mod marks;
mod odd_requests;
mod other_ids;
mod other_plate;
mod photo_again;
mod plates;
pub(crate) mod program;
mod report;
mod restore;
mod review;
mod roster;
mod scan;
mod schemas;
mod second_step;
mod sessions;
mod sheets;
pub(crate) mod site;
mod spine;
mod stopping;
#[cfg(target_os = "linux")]
mod synced;
mod torn;
mod truth;
mod watch;
