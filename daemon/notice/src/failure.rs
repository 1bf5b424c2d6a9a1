//! The facts of a failure that the signs together betray: what, since when, by which signs.

mod sign;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::NoticeKind;
use crate::drum::{DrumState, Verdict, Visit};
use claymark_clay::Yield;
use claymark_model::fieldlog::LogEntry;
use claymark_model::forecast::EmptyAt;
use claymark_model::happening::DrawShare;
use claymark_model::id::Id;
use claymark_model::site::{Place, Quantity};
use claymark_model::units::{GramsPerLitre, Kilograms, Litres, LitresPerHour};

pub use sign::Sign;

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
    /// The notices of what it likely comes of.
    #[serde(default)]
    pub comes_of: Vec<u64>,
    /// The same with what each of them told; empty in what was told before this was kept.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub origins: Vec<ComesOf>,
}

/// Something that was told, and that brings a failure with it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ComesOf {
    /// The notice that told it.
    pub notice: u64,
    /// What it told; `None`: a drum had run dry.
    pub told: Option<Fault>,
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
    /// More fresh water comes in than before.
    TooMuchWater {
        /// So many times as much.
        share: f64,
        /// The tanks take no more than before: it runs over.
        overflows: bool,
    },
    /// The pump has stopped.
    PumpStopped {
        /// Which.
        pump: Id,
        /// Its contact or the level says so; else the line may be plugged or off as well.
        certain: bool,
    },
    /// The pump turns and nothing comes.
    LinePlugged {
        /// Whose line.
        pump: Id,
    },
    /// The slurry goes elsewhere.
    TubeSplit {
        /// Whose tube.
        pump: Id,
        /// What is lost.
        lost: LitresPerHour,
    },
    /// The tube delivers less from day to day.
    TubeWear {
        /// Whose tube.
        pump: Id,
        /// Share a day.
        per_day: f64,
    },
    /// A drum's air has failed and its clay settles.
    DrumAir {
        /// Share of the clay that still comes.
        left: f64,
        /// What the books say is in the drum.
        book: GramsPerLitre,
    },
    /// Water was poured in without clay.
    WaterOnly(WaterOnly),
    /// The clay of a refill was weighed or typed wrongly.
    WrongWeighing {
        /// Seen over booked strength.
        factor: f64,
        /// Strength by the books.
        booked: GramsPerLitre,
    },
    /// The clay went in as lumps.
    Lumps,
    /// The clay clouds the water otherwise than before.
    YieldChanged {
        /// Before.
        from: Yield,
        /// Since.
        to: Yield,
        /// The lot that was delivered last before it, where it has a name.
        lot: Option<String>,
    },
    /// A probe is fouled.
    ProbeFouled {
        /// Which.
        sensor: Id,
        /// By so much it reads high.
        by: f64,
    },
    /// A probe is out of the water, or broken.
    ProbeOut {
        /// Which.
        sensor: Id,
    },
    /// Bubbles on a probe.
    Bubbles {
        /// Which.
        sensor: Id,
    },
    /// The heater has failed.
    HeaterOff {
        /// In the head tank, °C.
        temperature: f64,
        /// When the head tank is too cold, if it goes on like this.
        limit_at: Option<Timestamp>,
        /// It gets no colder any more.
        #[serde(default)]
        steady: bool,
    },
    /// The heater heats too much.
    HeaterOn {
        /// In the head tank, °C.
        temperature: f64,
        /// When the head tank is too warm, if it goes on like this.
        limit_at: Option<Timestamp>,
        /// It gets no warmer any more.
        #[serde(default)]
        steady: bool,
    },
    /// Water lies outside what the fish want, and nothing that is told explains it.
    OutOfLimits {
        /// Where.
        place: Place,
        /// What of the water.
        of: Limited,
        /// In the sensor's NTU or FNU, °C, or % of saturation.
        is: f64,
        /// The least that the fish want.
        least: f64,
        /// The most that they want.
        most: f64,
        /// It has been so since then, when the watch began, and doesn't move: the limit is in question.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        all_along: Option<Timestamp>,
    },
    /// The water clears by and by, and the signs don't say why.
    Clearing {
        /// Where it is first too clear.
        place: Place,
        /// In the sensor's NTU or FNU.
        is: f64,
        /// The least that the fish want.
        least: f64,
        /// When it comes to that, if it goes on like this; `None`: it has.
        limit_at: Option<Timestamp>,
        /// When the fish are in danger, if it goes on like this.
        danger_at: Option<Timestamp>,
    },
    /// Oxygen falls, and the signs don't say why.
    OxygenFalls {
        /// Where.
        place: Place,
        /// mg/L.
        oxygen: f64,
        /// When it comes to the least that the fish need, if it goes on like this.
        limit_at: Option<Timestamp>,
    },
    /// The power has gone.
    PowerCut,
    /// The pump draws from another drum.
    DrumSwapped {
        /// Which pump.
        pump: Id,
        /// The drum that it drew from.
        from: Id,
        /// The drum that it draws from.
        to: Id,
    },
}

/// What fish want neither too little nor too much of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Limited {
    /// Of the clay.
    Turbidity,
    /// Warmth.
    Temperature,
    /// How full of oxygen the water is; a sign of how full of gas.
    OxygenSaturation,
}

impl Limited {
    /// The quantity whose sensors measure it.
    #[must_use]
    pub fn quantity(self) -> Quantity {
        match self {
            Self::Turbidity => Quantity::Turbidity,
            Self::Temperature => Quantity::Temperature,
            Self::OxygenSaturation => Quantity::OxygenSaturation,
        }
    }
}

/// Water without clay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WaterOnly {
    /// Poured in.
    pub added: Litres,
    /// In the drum now.
    pub holds: Litres,
    /// Strength before.
    pub was: GramsPerLitre,
    /// Strength now.
    pub is: GramsPerLitre,
    /// The clay that brings what is there to its target.
    pub clay: Kilograms,
    /// It was asked for and hasn't come.
    pub due: bool,
    /// The head tank's turbidity without it.
    pub goes_to: f64,
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
    /// The draw since by the head tank's clay alone; `None` in what was told before this was kept.
    pub by_clay: Option<DrawShare>,
    /// When the drum is empty at the new draw.
    pub ends: Option<EmptyAt>,
    /// Whether it lasts until the next visit.
    pub verdict: Verdict,
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
            Self::PumpChanged(_)
            | Self::PumpStopped { .. }
            | Self::LinePlugged { .. }
            | Self::TubeSplit { .. }
            | Self::TubeWear { .. }
            | Self::DrumAir { .. }
            | Self::WaterOnly(_)
            | Self::WrongWeighing { .. }
            | Self::Lumps
            | Self::YieldChanged { .. }
            | Self::Clearing { .. }
            | Self::DrumSwapped { .. } => NoticeKind::Strength,
            Self::FreshWaterLow { .. }
            | Self::TooMuchWater { .. }
            | Self::ProbeFouled { .. }
            | Self::ProbeOut { .. }
            | Self::Bubbles { .. }
            | Self::HeaterOff { .. }
            | Self::HeaterOn { .. }
            | Self::OutOfLimits { .. } => NoticeKind::Water,
            Self::Blower { .. } | Self::OxygenFalls { .. } | Self::PowerCut => NoticeKind::Air,
        }
    }
}

/// A failure that stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StandingFailure {
    /// The notice that told it.
    pub notice: u64,
    /// What, as it stands now.
    pub failure: Failure,
    /// People are called for it because fish are in danger.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub danger: bool,
}
