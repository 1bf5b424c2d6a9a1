//! Quality of readings: the QARTOD flags, the tests that fit a fixed sensor, and their thresholds.
//!
//! The manuals that apply are those of US IOOS for dissolved oxygen (v2.1, 2018), temperature and salinity (v2.0, 2016) and
//! ocean optics; they couldn't be opened beyond their contents. Flags and tests are taken from their sister, Manual for Real-Time
//! Quality Control of pH Data Observations, version 1.0 (2019, doi 10.25923/111k-br08), table 3-1 and table 3-2, tests 1 to
//! 8, and where that is unclear from the wind manual. Where our rules differ from the reference library, and why, stands in
//! `tests/tests/quality_oracle/exceptions.rs`.
//!
//! [`Assessor`] takes the readings of one sensor; each test is a file, a function from values to a flag.
//! The manuals want a reason for each test that isn't run:
//! - 2 syntax: what can't be parsed is kept aside when it is decoded, so here it is always 1;
//! - 3 location: the sensors don't move;
//! - 5 climatology: the room has no seasons; what it should be is the suspect span of gross range;
//! - 7 by standard deviation: a hatchery's steps (a refill, a change of flow) would widen the limit just when
//!   it is needed; a rate that water can't exceed is known;
//! - 9 and 11, against another sensor: comparing sensors is the room's business, with reasons for people;
//! - 10 attenuated signal: the flat-line test with an EPS sees the same.

pub mod aggregate;
mod assessor;
mod flat_line;
pub mod gap;
pub mod gross_range;
mod history;
pub mod rate;
pub mod spike;
pub mod thresholds;

pub use assessor::Assessor;

use serde::{Deserialize, Serialize};

/// QARTOD primary flag (table 3-1).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(into = "u8", try_from = "u8")]
pub enum Flag {
    /// 1: passed.
    Pass,
    /// 2: not evaluated, or can't be known.
    NotEvaluated,
    /// 3: suspect, or of high interest.
    Suspect,
    /// 4: failed; estimators don't use it.
    Fail,
    /// 9: missing.
    Missing,
}

/// The number isn't a QARTOD flag.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{0} is not a QARTOD flag (1, 2, 3, 4 or 9)")]
pub struct NotAFlag(pub u8);

impl From<Flag> for u8 {
    fn from(flag: Flag) -> Self {
        match flag {
            Flag::Pass => 1,
            Flag::NotEvaluated => 2,
            Flag::Suspect => 3,
            Flag::Fail => 4,
            Flag::Missing => 9,
        }
    }
}

impl TryFrom<u8> for Flag {
    type Error = NotAFlag;

    fn try_from(number: u8) -> Result<Self, NotAFlag> {
        match number {
            1 => Ok(Self::Pass),
            2 => Ok(Self::NotEvaluated),
            3 => Ok(Self::Suspect),
            4 => Ok(Self::Fail),
            9 => Ok(Self::Missing),
            other => Err(NotAFlag(other)),
        }
    }
}

impl Flag {
    /// Whether estimators may use a reading with this aggregate flag.
    #[must_use]
    pub fn usable(self) -> bool {
        match self {
            Self::Pass | Self::NotEvaluated | Self::Suspect => true,
            Self::Fail | Self::Missing => false,
        }
    }
}
