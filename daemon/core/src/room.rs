//! The whole room as one value with one door in.
//!
//! The rule of use: [`Room::handle`] one event, then [`Room::take_effects`] all, then the next event.
//! [`Room::next_deadline`] says when the room wants to be woken although nothing happened; waking it
//! early or twice does nothing. The same events give the same effects.

use jiff::Timestamp;

use crate::fieldlog::LogEntry;
use crate::forecast::Forecast;
use crate::happening::Happening;
use crate::notice::{Answer, Notice};
use crate::reading::Assessed;

/// Everything that can happen to the room.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// A reading with its flags; a second time for the same sensor and time when its spike flag was settled.
    Reading(Assessed),
    /// Somebody did something and wrote it down.
    Log(LogEntry),
    /// Somebody answered a notice.
    Answer(Answer),
    /// The broker had forgotten our session: readings may be missing since then.
    SessionLost {
        /// The last time that the session is known to have stood.
        since: Timestamp,
    },
    /// A commit failed: readings aren't kept until the store works again.
    StoreFailed {
        /// What the store said.
        why: String,
    },
    /// A commit succeeded again.
    StoreWorks,
    /// While the past is told again after a restart: a notice that had been sent.
    Recalled(Notice),
    /// The past has been told; from now on the room speaks. Before this it makes no notice and no forecast.
    GoLive,
    /// Nothing but the time: a deadline has come, or the clock was looked at.
    Tick,
}

/// What must be done now.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// Tell people.
    Notify(Notice),
    /// Publish and keep a forecast.
    Forecast(Forecast),
    /// Keep what was seen to happen.
    Happened(Happening),
}

/// Why the room wants to be woken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// The forecasts of each tenth minute.
    Forecasts,
    /// The evening check.
    EveningCheck,
    /// A warning is due, or due again.
    Warning,
    /// A sensor will have been silent for too long.
    Silence,
}

/// A time with its reason.
pub type Deadline = (Timestamp, Why);
