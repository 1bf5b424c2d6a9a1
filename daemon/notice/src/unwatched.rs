//! The time in which Claymark didn't run.

use claymark_model::id::Id;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// Nobody watched, and what is known of that time by now.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Unwatched {
    /// The last time that the watch is known to have stood.
    pub from: Timestamp,
    /// When it began again.
    pub to: Timestamp,
    /// Readings of that time that came late.
    pub late: usize,
    /// Sensors of which none came.
    pub missing: Vec<Id>,
}
