//! The durable local store: one SQLite file.

pub mod batch;
