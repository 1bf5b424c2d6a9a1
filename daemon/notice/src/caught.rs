//! A flow that was caught with bucket and watch and that nothing else bears out.

use claymark_model::site::Place;
use claymark_model::units::LitresPerMinute;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// A catch that nothing else bears out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CatchDoubt {
    /// The entry's key, for a correction; empty before it is sent.
    pub key: String,
    /// When it was caught.
    pub at: Timestamp,
    /// Where.
    pub place: Place,
    /// What was caught.
    pub caught: LitresPerMinute,
    /// What it should have been, or the most that it can be.
    pub expected: LitresPerMinute,
    /// By what.
    pub by: Witness,
}

/// What tells a flow beside the catch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Witness {
    /// A flow sensor there.
    Sensor,
    /// The rearing plan.
    Plan,
    /// The clay that is fed, and the turbidity that it gives.
    Turbidity,
    /// An equal share of the water through the head tank.
    Share,
    /// The fastest that the pump can turn, by its rating.
    PumpLimit,
}
