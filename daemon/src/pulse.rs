//! Signs of life, for the watchdog and for whoever watches from outside.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// A task's sign of life: it counts, and the watchdog looks whether the count has moved.
#[derive(Debug, Clone, Default)]
pub struct Pulse(Arc<AtomicU64>);

/// What is looked at.
#[derive(Debug, Clone, Default)]
pub struct Pulses {
    /// Polls the broker.
    pub intake: Pulse,
    /// Decides.
    pub engine: Pulse,
    /// Keeps.
    pub store: Pulse,
    /// Attempts to tell people that were begun.
    pub begun: Pulse,
    /// Attempts that ended, whatever was answered.
    pub ended: Pulse,
    /// Looks of whoever calls outside.
    pub looks: Pulse,
}

impl Pulse {
    /// One more sign of life.
    pub fn beat(&self) {
        self.0.fetch_add(1, Ordering::Relaxed);
    }

    /// How many there were.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.0.load(Ordering::Relaxed)
    }
}
