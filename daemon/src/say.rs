//! Publishes a field-log entry or an answer.
