//! Flux: questions to InfluxDB 2, and its answers.
//!
//! - [`question`]: which points are wanted, as Flux text;
//! - [`answer`]: annotated CSV, row by row.

pub mod answer;
pub mod question;
