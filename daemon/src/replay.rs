//! Recorded messages through the whole pipeline.
