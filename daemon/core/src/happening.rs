//! What the data say has happened to a drum, whether or not anybody wrote it down.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::id::Id;
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
    /// The level can't be believed any more, and why, in a few plain words.
    LevelDoubted {
        /// For people.
        why: String,
    },
    /// The level is believed again.
    LevelBelieved,
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
