//! A refill that somebody wrote down and that no level shows (yet): it counts, and what was poured isn't advised again.

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use crate::units::{Kilograms, Litres};

/// Such a refill.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Unseen {
    /// Of the entry, for corrections.
    pub key: String,
    /// When it was done, as it was written down.
    pub at: Timestamp,
    /// Water added.
    pub water: Option<Litres>,
    /// Dry clay added.
    pub clay: Option<Kilograms>,
    /// What was in the drum before; `None`: nobody knows.
    pub before: Option<Litres>,
    /// What is in it now if it was done; `None`: nobody knows.
    pub after: Option<Litres>,
    /// What the level says.
    pub sign: UnseenSign,
    /// The same figures were written down again within minutes; they are counted once.
    pub again: bool,
    /// More was written down than had room; it is counted up to the full line.
    pub overfull: bool,
}

/// What the level says of a refill that was written down.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "sign", rename_all = "kebab-case")]
pub enum UnseenSign {
    /// It can't be believed yet, or hasn't had the time to show it: what was written down counts.
    Awaited,
    /// It is believed, and shows no such rise: the level counts.
    Denied {
        /// What is in the drum by the level.
        shows: Litres,
    },
    /// No level is heard: what was written down counts.
    Reckoned,
}

impl Unseen {
    /// Whether nothing more is to be added before somebody has looked at the mark.
    #[must_use]
    pub fn is_open(&self, now: Timestamp) -> bool {
        let unsure = self.again || self.overfull;
        let waits = match self.sign {
            UnseenSign::Awaited | UnseenSign::Denied { .. } => true,
            UnseenSign::Reckoned => unsure || self.before.is_none(),
        };
        waits && now < self.at + SETTLES
    }

    /// Whether the level is believed against it.
    #[must_use]
    pub fn is_denied(&self) -> bool {
        matches!(self.sign, UnseenSign::Denied { .. })
    }
}

/// Pouring, stirring and foam are over by then, and people write a time down to some minutes (common practice, no source).
const SETTLES: SignedDuration = SignedDuration::from_mins(45);
