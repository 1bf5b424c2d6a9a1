//! What outlives one stretch of watching.

use std::sync::Arc;

use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use crate::clock::TimeSource;
use crate::keeper::Keeper;
use crate::pulse::Pulses;
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
}
