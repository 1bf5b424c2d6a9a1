//! Simulated hatchery seasons: what the estimator hears, and what was true.
//!
//! Two simulators of different structure, both written apart from the estimator: they know its messages and
//! nothing of how it works, and the centre never sees them. All figures are invented.
//!
//! - [`rooms`]: the kinds of room; [`seeds`]: which seeds are for tuning and which for judging;
//! - [`mechanistic`]: the first simulator: drums, tubes, valves, hands, gauges, each as a mechanism;
//! - [`drifting`]: the second: draws as a stochastic process with jumps, other hands, other noise;
//! - [`layout`]: the site file of a season; [`wire`]: readings as they come out of the quality tests;
//! - [`truth`]: the volume, and when the drum would have run empty;
//! - [`chance`]: the dice.

pub mod chance;
pub mod drifting;
pub mod layout;
pub mod mechanistic;
pub mod rooms;
pub mod seeds;
pub mod truth;
pub mod wire;

use claymark_model::fieldlog::LogEntry;
use claymark_model::reading::Assessed;
use claymark_model::site::Site;
use jiff::{SignedDuration, Timestamp};

use rooms::RoomKind;
use truth::TrueDrum;

/// One season of one room.
pub struct Season {
    /// Which simulator made it.
    pub by: Simulator,
    /// Of what kind.
    pub kind: RoomKind,
    /// From which seed.
    pub seed: u64,
    /// As the site file describes it.
    pub site: Site,
    /// What arrived, in order of arrival.
    pub heard: Vec<SeasonArrival>,
    /// What was true, drum by drum in the order of the site.
    pub drums: Vec<TrueDrum>,
    /// How long it lasted.
    pub minutes: u32,
}

/// Which simulator.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Simulator {
    /// [`mechanistic`].
    Mechanistic,
    /// [`drifting`].
    Drifting,
}

/// Something that arrived.
#[derive(Debug, Clone)]
pub struct SeasonArrival {
    /// When it arrived.
    pub at: Timestamp,
    /// What.
    pub news: SeasonNews,
}

/// What can arrive.
#[derive(Debug, Clone)]
pub enum SeasonNews {
    /// A reading that has been through the quality tests.
    Reading(Assessed),
    /// An entry of the field log.
    Log(LogEntry),
}

impl Simulator {
    /// By its name on the command line.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        match text {
            "1" | "mechanistic" => Some(Self::Mechanistic),
            "2" | "drifting" => Some(Self::Drifting),
            _ => None,
        }
    }

    /// Its name on the command line.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Mechanistic => "mechanistic",
            Self::Drifting => "drifting",
        }
    }

    /// A season of so many days.
    #[must_use]
    pub fn season(self, kind: RoomKind, seed: u64, days: u32) -> Season {
        match self {
            Self::Mechanistic => mechanistic::season(kind, seed, days),
            Self::Drifting => drifting::season(kind, seed, days),
        }
    }
}

impl Season {
    /// How people call it: `noisy:12`.
    #[must_use]
    pub fn name(&self) -> String {
        format!("{}:{}:{}", self.by.name(), self.kind.name(), self.seed)
    }

    /// A minute of the season as a time.
    #[must_use]
    pub fn at(minute: u32) -> Timestamp {
        start() + SignedDuration::from_mins(i64::from(minute))
    }
}

/// When every season begins: midnight in the room's zone.
///
/// # Panics
/// Never: the time is written well.
#[must_use]
pub fn start() -> Timestamp {
    "2027-04-01T00:00:00Z".parse().expect("it is written well")
}

/// Minutes in a day.
pub const DAY: u32 = 24 * 60;
/// How long a season lasts unless said, days.
pub const DAYS: u32 = 40;
