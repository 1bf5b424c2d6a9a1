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
