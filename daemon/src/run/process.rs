//! What outlives one stretch of watching.

use std::sync::{Arc, OnceLock};

use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use crate::clock::TimeSource;
use crate::keeper::Keeper;
use crate::pulse::Pulses;
use crate::sign_of_life::UnwatchedSpan;
use crate::snapshot::Snapshot;

/// What there is once in a process.
pub struct Process {
    /// Tells the time.
    pub clock: TimeSource,
    /// Ends the daemon.
    pub shutdown: CancellationToken,
    /// Reaches the store's thread.
    pub keeper: Keeper,
    /// For the watchdog.
    pub pulses: Pulses,
    /// For all to see.
    pub snapshot: watch::Sender<Arc<Snapshot>>,
    /// Why replies can't be read, while they can't.
    pub replies_trouble: watch::Sender<Option<String>>,
    /// From when to when nobody watched before this process did; said once it is known.
    pub gap: OnceLock<Option<UnwatchedSpan>>,
}
