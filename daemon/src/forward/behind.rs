//! What waits for the central database for too long.

use jiff::Timestamp;

/// Something has waited for longer than it may.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Behind {
    /// When the oldest of it arrived.
    pub since: Timestamp,
    /// What stands in the way.
    pub why: String,
}
