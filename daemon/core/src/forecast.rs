//! A forecast: when a drum, or the supply of one pump, runs empty, and what that is based on.

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use crate::id::Id;
use crate::units::{Litres, LitresPerHour};

/// Later than this isn't told: it stands as `None`.
pub const HORIZON: SignedDuration = SignedDuration::from_hours(72);

/// Of what the forecast speaks.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Subject {
    /// One drum.
    Drum(Id),
    /// All drums that share this pump.
    Supply(Id),
}

/// What a forecast that says something goes by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// The level sensor.
    Level,
    /// Dead reckoning from the last believed volume and a known pump rate.
    Pump,
}

/// When the true volume has come down to the heel, if nobody refills and pump and valves stay.
///
/// In rising order; `None` is later than [`HORIZON`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct EmptyAt {
    /// A 5 % chance that it is empty before then: the earliest.
    pub p05: Option<Timestamp>,
    /// 25 %.
    pub p25: Option<Timestamp>,
    /// 50 %: the likely time.
    pub p50: Option<Timestamp>,
    /// 75 %.
    pub p75: Option<Timestamp>,
    /// 95 %: the latest.
    pub p95: Option<Timestamp>,
}

/// What can be said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Outlook {
    /// Something.
    Known {
        /// What it goes by.
        basis: Basis,
        /// All slurry in the drum, heel included.
        volume: Litres,
        /// Net outflow at the time of the forecast.
        draw: LitresPerHour,
        /// When it is empty.
        empty_at: EmptyAt,
    },
    /// Nothing, and why, in a few plain words.
    Unknown {
        /// For people.
        why: String,
    },
}

/// One forecast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Forecast {
    /// When it was made; only what had arrived by then is used.
    pub at: Timestamp,
    /// Of what.
    pub of: Subject,
    /// Whether it is being drawn; if not, the draw is what it would get if switched on now.
    pub in_use: bool,
    /// What can be said.
    pub outlook: Outlook,
}
