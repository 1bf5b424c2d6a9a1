//! The pipeline, live.
