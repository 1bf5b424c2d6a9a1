//! Clocks that are off, by what devices' times show against their arrival.

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use claymark_model::id::Id;

/// All clocks that are off now.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ClockFindings {
    /// Of devices, in the order of the site file.
    pub devices: Vec<OffClock>,
    /// Our own, where most devices differ from it alike.
    pub server: Option<ServerClock>,
}

/// The clock of one device is off.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OffClock {
    /// As the site file names it; `None`: it has no name there.
    #[serde(default)]
    pub device: Option<Id>,
    /// Whose readings it dates, in the order of the site file; never none.
    pub sensors: Vec<Id>,
    /// Since when that is known.
    pub since: Timestamp,
    /// What is wrong with it.
    pub fault: ClockFault,
}

/// What is wrong with a device's clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "fault", rename_all = "kebab-case")]
pub enum ClockFault {
    /// It is ahead by so much, behind where negative; its readings are used at the right time.
    Steady {
        /// By how much.
        ahead: SignedDuration,
    },
    /// Its times can't be right, and don't show by how much: its readings are put aside.
    Refused {
        /// How many messages within the last hour.
        messages: usize,
    },
}

/// Most devices differ from the server's clock alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct ServerClock {
    /// Since when.
    pub since: Timestamp,
    /// They are ahead of it by so much; behind where negative.
    pub ahead: SignedDuration,
    /// So many of them.
    pub off: usize,
    /// Of so many that were heard since.
    pub heard: usize,
}

impl OffClock {
    /// Whether people must hear of it again after they were told `told`.
    #[must_use]
    pub fn is_news_after(&self, told: &Self) -> bool {
        match (self.fault, told.fault) {
            (ClockFault::Steady { ahead }, ClockFault::Steady { ahead: told }) => {
                (ahead - told).abs() > MOVED
            }
            (ClockFault::Refused { .. }, ClockFault::Refused { .. }) => false,
            (ClockFault::Steady { .. }, ClockFault::Refused { .. })
            | (ClockFault::Refused { .. }, ClockFault::Steady { .. }) => true,
        }
    }
}

/// A clock that drifts was told; one that moved by so much was set.
const MOVED: SignedDuration = SignedDuration::from_mins(15);
