//! What became of the store and of the clock: facts that bear on what is kept and how it is dated.

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

/// What became of the store.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "fate", rename_all = "kebab-case")]
pub enum StoreFate {
    /// It was damaged and has another name now; a fresh one was begun, and what is readable goes over.
    PutAside {
        /// That name.
        aside: String,
        /// What was wrong with it.
        why: String,
    },
    /// Its files were deleted, moved or replaced while it was written; another was begun at its place.
    TakenAway,
    /// What could be read of the old one is in the fresh one.
    Saved {
        /// Readings.
        readings: usize,
        /// Other rows: field log, notices, forecasts and what else is kept.
        records: usize,
        /// From when to when something can't be read.
        unreadable: Vec<(Timestamp, Timestamp)>,
    },
    /// Nothing of the past could be read at the start: what was written down before isn't known.
    PastUnread,
}

/// The server's clock was set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClockStep {
    /// Forward by so much, or back where it is negative.
    pub by: SignedDuration,
    /// When that was noticed, by the clock as it is now.
    pub at: Timestamp,
}
