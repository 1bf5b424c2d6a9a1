//! The facts of a failure that the signs together betray: what, since when, by which signs.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::fieldlog::LogEntry;
use crate::forecast::EmptyAt;
use crate::id::Id;
use crate::notice::NoticeKind;
use crate::notice::content::{DrumState, Verdict, Visit};
use crate::site::Place;
use crate::units::LitresPerHour;

/// Something has failed, or looks as if it had.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Failure {
    /// What.
    pub fault: Fault,
    /// Since about when.
    pub since: Timestamp,
    /// What says so; at night at least two that don't depend on each other, unless lives hang on one.
    pub signs: Vec<Sign>,
    /// The entry of the field log that was made nearest to that time.
    pub near: Option<LogEntry>,
    /// The drum, where it is about one.
    pub drum: Option<DrumState>,
    /// The next visit; `None` while people are there.
    pub visit: Option<Visit>,
    /// Counts up when the same cause is told anew because more is known or nothing was done.
    pub stage: u8,
}

/// What has failed, with what only that failure has.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "fault", rename_all = "kebab-case")]
pub enum Fault {
    /// Draw and clay changed together, and nobody wrote it down.
    PumpChanged(PumpChanged),
    /// Drum air and head-tank air are gone together.
    Blower {
        /// Oxygen now, mg/L.
        oxygen: f64,
        /// When it comes to the least that the fish need, if it goes on like this.
        limit_at: Option<Timestamp>,
    },
    /// Less fresh water comes into the head tank.
    FreshWaterLow {
        /// The share that is left.
        share: f64,
    },
}

/// A draw that changed without a word.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PumpChanged {
    /// The drum's pump.
    pub pump: Id,
    /// Draw before.
    pub from: LitresPerHour,
    /// Draw since.
    pub to: LitresPerHour,
    /// When the drum is empty at the new draw.
    pub ends: Option<EmptyAt>,
    /// Whether it lasts until the next visit.
    pub verdict: Verdict,
}

/// One thing that the data show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "sign", rename_all = "kebab-case")]
pub enum Sign {
    /// The drum's draw changed.
    DrawChanged {
        /// Before.
        from: LitresPerHour,
        /// Since.
        to: LitresPerHour,
    },
    /// The drum's draw is what it was.
    DrawUnchanged {
        /// So much.
        draw: LitresPerHour,
    },
    /// A turbidity goes elsewhere.
    Turbidity {
        /// Where.
        place: Place,
        /// Before.
        from: f64,
        /// Now.
        now: f64,
        /// Where it goes.
        towards: f64,
        /// The time constant of that, minutes.
        pace_min: f64,
    },
    /// A turbidity is what it was.
    TurbiditySteady {
        /// Where.
        place: Place,
        /// So much.
        at: f64,
    },
    /// Oxygen falls.
    OxygenFalls {
        /// Where.
        place: Place,
        /// Before, mg/L.
        from: f64,
        /// Now, mg/L.
        now: f64,
    },
    /// A flow changed.
    Flow {
        /// Where.
        place: Place,
        /// Before, L/min.
        from: f64,
        /// Now, L/min.
        now: f64,
    },
}

impl Failure {
    /// The turbidity that a sign says was there before.
    #[must_use]
    pub fn turbidity_before(&self) -> Option<f64> {
        self.signs
            .iter()
            .find_map(|sign| if let Sign::Turbidity { from, .. } = sign { Some(*from) } else { None })
    }

    /// The oxygen that a sign says was there before, mg/L.
    #[must_use]
    pub fn oxygen_before(&self) -> Option<f64> {
        self.signs
            .iter()
            .find_map(|sign| if let Sign::OxygenFalls { from, .. } = sign { Some(*from) } else { None })
    }
}

impl Fault {
    /// The kind of notice that tells it.
    #[must_use]
    pub fn kind(&self) -> NoticeKind {
        match self {
            Self::PumpChanged(_) => NoticeKind::Strength,
            Self::FreshWaterLow { .. } => NoticeKind::Water,
            Self::Blower { .. } => NoticeKind::Air,
        }
    }
}
