//! Recorded messages: one NDJSON line each.
