//! What the data say has happened to a drum, whether or not anybody wrote it down.

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use crate::doubt::{Grounds, WhyDoubted};
use crate::fieldlog::{Deed, LogEntry};
use crate::id::Id;
use crate::site::Site;
use crate::units::{Litres, LitresPerHour};

/// One thing that happened to a drum.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Happening {
    /// To which drum.
    pub drum: Id,
    /// When it happened (not when it was noticed).
    pub at: Timestamp,
    /// What.
    pub what: What,
}

/// What the data show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum What {
    /// The level rose by so much.
    Refilled {
        /// Litres added, the draw meanwhile included.
        added: Litres,
        /// Volume afterwards.
        to: Litres,
        /// Whether somebody wrote it down.
        logged: bool,
    },
    /// The draw changed for good.
    DrawChanged {
        /// Before.
        from: LitresPerHour,
        /// After.
        to: LitresPerHour,
    },
    /// The level fell at once by so much: slurry was taken out, or the sensor was moved.
    TakenOut {
        /// Litres by which it fell.
        taken: Litres,
        /// Volume afterwards.
        to: Litres,
    },
    /// The level reads otherwise since the sensor was wiped.
    SensorShifted {
        /// Litres by which it reads more.
        by: Litres,
    },
    /// The draw fell by and by at the same setting, as a clog or a worn tube does.
    Clogging {
        /// Before.
        from: LitresPerHour,
        /// Now.
        to: LitresPerHour,
    },
    /// The level falls although nothing should draw from it.
    Leaking {
        /// How fast.
        draw: LitresPerHour,
    },
    /// Something draws from it again, and nobody wrote it down.
    Draws {
        /// How fast.
        draw: LitresPerHour,
    },
    /// Nothing draws from it any more, and nothing need to.
    Rests {
        /// Volume at which it stands.
        volume: Litres,
    },
    /// The level stands still although the pump should draw from it.
    StandsStill {
        /// Volume at which it stands.
        volume: Litres,
        /// Speed to which the pump was last set, where somebody wrote it down.
        rpm: Option<f64>,
        /// How long it had stood when it was noticed, minutes.
        minutes: f64,
        /// The readings are the same to the last digit: a dead sensor, not a stopped pump.
        frozen: bool,
    },
    /// The volume came down to the heel.
    RanEmpty,
    /// The level can't be believed any more.
    LevelDoubted {
        /// Why.
        why: Grounds<WhyDoubted>,
    },
    /// The level is believed again.
    LevelBelieved,
}

impl Happening {
    /// Whether somebody wrote down what was done, by the log as it is now: people often write later than it is seen.
    #[must_use]
    pub fn is_written(&self, site: &Site, log: &[LogEntry]) -> bool {
        if let What::Refilled { logged: true, .. } = self.what {
            return true;
        }
        let near = |entry: &&LogEntry| entry.at.duration_since(self.at).abs() <= WRITTEN_APART;
        log.iter().filter(near).any(|entry| self.is_of(site, &entry.deed))
    }

    /// Whether a deed does what was seen.
    fn is_of(&self, site: &Site, deed: &Deed) -> bool {
        let ours = |pump: Option<&Id>| match (pump, site.drum(&self.drum)) {
            (Some(pump), Some(drum)) => *pump == drum.pump,
            (None, _) | (_, None) => true,
        };
        if deed.may_refill(&self.drum) {
            return matches!(self.what, What::Refilled { .. });
        }
        deed.is_of_a_pump() && self.what.changes_draw() && ours(deed.pump())
    }
}

impl What {
    /// Litres added, where it was a refill.
    #[must_use]
    pub fn added(&self) -> Option<Litres> {
        if let Self::Refilled { added, .. } = self { Some(*added) } else { None }
    }

    /// Whether the pump draws otherwise from then on.
    #[must_use]
    pub fn changes_draw(&self) -> bool {
        match self {
            Self::DrawChanged { .. }
            | Self::Clogging { .. }
            | Self::Leaking { .. }
            | Self::Draws { .. }
            | Self::Rests { .. }
            | Self::StandsStill { .. } => true,
            Self::Refilled { .. }
            | Self::TakenOut { .. }
            | Self::SensorShifted { .. }
            | Self::RanEmpty
            | Self::LevelDoubted { .. }
            | Self::LevelBelieved => false,
        }
    }

    /// Whether the volume is another from then on.
    #[must_use]
    pub fn changes_volume(&self) -> bool {
        matches!(self, Self::Refilled { .. } | Self::TakenOut { .. } | Self::SensorShifted { .. })
    }
}

/// What was seen and what was written down are the same within this: people write times to some minutes.
pub const WRITTEN_APART: SignedDuration = SignedDuration::from_mins(25);

/// A refill that the data show.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SeenRefill {
    /// When.
    pub at: Timestamp,
    /// How much came in.
    pub added: Litres,
    /// Volume afterwards.
    pub to: Litres,
    /// Whether somebody wrote it down.
    pub logged: bool,
}

/// What is drawn after a change, as a share of what was drawn before.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DrawShare {
    /// The share.
    pub share: f64,
    /// Its standard deviation.
    pub sd: f64,
}

/// A refill that was seen and one that was written down are the same within this (our own choice).
pub const SAME_REFILL: SignedDuration = SignedDuration::from_mins(45);
/// [`SAME_REFILL`], h.
pub const SAME_REFILL_HOURS: f64 = 0.75;
