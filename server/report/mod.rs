//! A pair's report and the readers for each way in.

pub mod call;
pub mod model;
