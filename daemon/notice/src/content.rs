//! The facts of each kind of notice: everything that the sentences need, and nothing that is worded.
//!
//! A notice is kept with its content, so that a restart knows what people had been told.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::NoticeKind;
use crate::calling::{AlsoWhat, ShelvedAlarm, Urgency};
use crate::caught::CatchDoubt;
use crate::device_clock::{OffClock, ServerClock};
use crate::failure::Failure;
pub use crate::failure::StandingFailure;
use crate::handover::{Handover, Morning, TestCall};
use crate::keeping::{ClockStep, StoreFate};
use crate::link::LinkDown;
use crate::query::Queries;
use crate::undelivered::Undelivered;
use crate::unwatched::Unwatched;
use claymark_clay::stock::supply::Stock;
use claymark_model::forecast::Forecast;
use claymark_model::happening::SeenRefill;
use claymark_model::id::Id;
use claymark_model::routine::Overdue;
use claymark_model::site::{Place, Quantity};

pub use crate::drum::{
    Doubted, DrumState, EveningDrum, NightMix, PumpSetting, PumpState, Remedy, Verdict, Visit,
};

/// What a notice says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "about", rename_all = "kebab-case")]
pub enum Content {
    /// The evening's word on the whole room.
    EveningCheck(Box<EveningCheck>),
    /// A drum will not last.
    Runout(Box<Runout>),
    /// A warning no longer holds.
    Withdrawn(Box<Withdrawn>),
    /// A level can't be believed.
    LevelDoubt(Box<LevelDoubt>),
    /// Readings are missing, or may be.
    ReadingsMissing(ReadingsMissing),
    /// Something has failed.
    Failure(Box<Failure>),
    /// Something wasn't taken, or is asked about.
    Query(Box<Queries>),
    /// A notice didn't reach somebody.
    Undelivered(Box<Undelivered>),
    /// Nobody has been seen in the room.
    Unattended(Unattended),
    /// Nobody has confirmed that the night is theirs.
    Handover(Handover),
    /// What the night has brought.
    Morning(Box<Morning>),
    /// Whether calls arrive.
    TestCall(TestCall),
}

impl Content {
    /// How it stands, for a message that is led by something more pressing; `None`: it has a message of its own.
    #[must_use]
    pub fn also(&self) -> Option<AlsoWhat> {
        Some(match self {
            Self::Failure(failure) => AlsoWhat::Failure { failure: failure.clone() },
            Self::Runout(runout) => {
                let (drum, ends) = (runout.state.drum.clone(), runout.state.forecast.outlook.empty_at());
                AlsoWhat::Runout { drum, ends }
            }
            Self::Unattended(unattended) => AlsoWhat::Unattended { seen: unattended.seen },
            Self::LevelDoubt(doubt) => AlsoWhat::LevelDoubt { drum: doubt.state.drum.clone() },
            Self::ReadingsMissing(ReadingsMissing::Silent { sensors, .. }) => {
                AlsoWhat::Silent { sensors: sensors.iter().map(|silent| silent.sensor.clone()).collect() }
            }
            Self::ReadingsMissing(_)
            | Self::EveningCheck(_)
            | Self::Withdrawn(_)
            | Self::Query(_)
            | Self::Undelivered(_)
            | Self::Handover(_)
            | Self::Morning(_)
            | Self::TestCall(_) => return None,
        })
    }

    /// The kind of notice that carries this.
    #[must_use]
    pub fn kind(&self) -> NoticeKind {
        match self {
            Self::EveningCheck(_) => NoticeKind::EveningCheck,
            Self::Runout(_) => NoticeKind::Runout,
            Self::Withdrawn(_) => NoticeKind::Withdrawn,
            Self::LevelDoubt(_) => NoticeKind::LevelDoubt,
            Self::ReadingsMissing(_) => NoticeKind::ReadingsMissing,
            Self::Failure(failure) => failure.fault.kind(),
            Self::Query(_) => NoticeKind::Query,
            Self::Undelivered(_) => NoticeKind::Undelivered,
            Self::Unattended(_) => NoticeKind::Unattended,
            Self::Handover(_) => NoticeKind::Handover,
            Self::Morning(_) => NoticeKind::Morning,
            Self::TestCall(_) => NoticeKind::TestCall,
        }
    }

    /// Whether it withdraws a part of what was told, and the rest still stands.
    #[must_use]
    pub fn is_withdrawn_in_part(&self) -> bool {
        let Self::Withdrawn(withdrawn) = self else { return false };
        matches!(&withdrawn.because, Because::HeardAgain { still_silent, .. } if !still_silent.is_empty())
    }
}

/// The evening's word on the whole room.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EveningCheck {
    /// When it should have been sent; earlier than the notice by minutes: it is late.
    pub due: Timestamp,
    /// Until when the drums must last.
    pub visit: Visit,
    /// In the order of the site file.
    pub drums: Vec<EveningDrum>,
    /// For each pump that has several drums: all of them together.
    pub supplies: Vec<Forecast>,
    /// Sensors that don't speak now.
    pub silent: Vec<SilentSensor>,
    /// How many sensors do.
    pub heard: usize,
    /// Who is called first tonight.
    pub first_called: Option<Id>,
    /// By when they answer this message, so that the night is theirs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confirm_by: Option<Timestamp>,
    /// Since when nothing can be kept.
    pub store_failing_since: Option<Timestamp>,
    /// Failures that people were told of and that aren't over.
    #[serde(default)]
    pub standing: Vec<StandingFailure>,
    /// Checks by hand that should have been made.
    #[serde(default)]
    pub overdue: Vec<Overdue>,
    /// Flow checks that nothing else bears out.
    #[serde(default)]
    pub doubtful_catches: Vec<CatchDoubt>,
    /// The clay on the floor, when it is time to order.
    #[serde(default)]
    pub order_due: Option<Stock>,
    /// What nobody is called for, for a time and a reason.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub shelved: Vec<ShelvedAlarm>,
}

/// A drum will not last.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Runout {
    /// What is known.
    pub state: DrumState,
    /// The next visit; `None` while people are there.
    pub visit: Option<Visit>,
    /// The earliest time that it is empty, less the time for mixing; `None`: nothing can be said any more.
    pub be_there_by: Option<Timestamp>,
    /// What can be done.
    pub remedy: Remedy,
    /// Why it is told now.
    pub because: Again,
    /// All drums of that pump together, where it has several.
    pub supply: Option<Forecast>,
}

impl Runout {
    /// How pressing it is at `now`.
    #[must_use]
    pub fn urgency(&self, now: Timestamp) -> Urgency {
        Self::pressing(self.be_there_by, now)
    }

    /// How pressing it is where somebody must be there `by`; a time that is past sets none any more.
    #[must_use]
    pub fn pressing(by: Option<Timestamp>, now: Timestamp) -> Urgency {
        by.filter(|by| *by > now).map_or(Urgency::Danger { by: None }, |by| Urgency::By { by })
    }
}

/// Why a run-out is told now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "again", rename_all = "kebab-case")]
pub enum Again {
    /// It is time. Rows of before calls had a reason of their own may say that nobody had answered.
    #[serde(alias = "unanswered")]
    Due,
    /// It moved earlier than what was told last.
    Earlier {
        /// The likely time that was told; `None`: later than could be told, or nothing could be said.
        told: Option<Timestamp>,
    },
    /// It has run empty since it was told, whether or not somebody answered.
    Empty,
}

/// A warning no longer holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Withdrawn {
    /// When the warning was last told.
    pub told_at: Timestamp,
    /// Why it no longer holds.
    pub because: Because,
}

/// Why a warning no longer holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "because", rename_all = "kebab-case")]
pub enum Because {
    /// A refill was seen.
    Refilled {
        /// What is known now.
        state: DrumState,
        /// The refill.
        refill: SeenRefill,
        /// The next visit; `None` while people are there.
        visit: Option<Visit>,
        /// Whether it now lasts.
        verdict: Verdict,
    },
    /// The forecast moved: it lasts.
    LastsAfterAll {
        /// What is known now.
        state: DrumState,
        /// The next visit; `None` while people are there.
        visit: Option<Visit>,
    },
    /// The level is believed again.
    LevelBelieved {
        /// What is known now.
        state: DrumState,
        /// Since when it hadn't been.
        since: Timestamp,
        /// From when on it has been; `None` in rows of before this was kept.
        #[serde(default)]
        until: Option<Timestamp>,
    },
    /// Sensors speak again.
    HeardAgain {
        /// These.
        heard: Vec<Id>,
        /// Of the same message, these still don't.
        still_silent: Vec<SilentSensor>,
    },
    /// A failure is over.
    FailureOver {
        /// Which.
        failure: Box<Failure>,
    },
    /// Readings are kept again.
    StoreWorks {
        /// Since when they hadn't been.
        since: Timestamp,
    },
    /// All that was kept has reached the central database.
    Forwarded {
        /// When the oldest of what had waited arrived.
        since: Timestamp,
    },
    /// No other client has our client id any more.
    NameFree {
        /// The last time that our session is known to have stood before.
        since: Timestamp,
        /// When it was ours again.
        until: Timestamp,
    },
    /// A device's clock is right again.
    DeviceClockRight(OffClock),
    /// The devices agree with the server's clock again.
    ServerClockRight(ServerClock),
}

/// Nobody has been seen in the room since a visit was due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Unattended {
    /// When somebody should have come.
    pub visit: Timestamp,
    /// When somebody was seen last; `None`: never since the watch began.
    pub seen: Option<Timestamp>,
}

/// A level can't be believed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevelDoubt {
    /// What is known; its `doubt` says why.
    pub state: DrumState,
    /// The next visit; `None` while people are there.
    pub visit: Option<Visit>,
}

/// Readings are missing, or may be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "missing", rename_all = "kebab-case")]
pub enum ReadingsMissing {
    /// Sensors don't speak.
    Silent {
        /// Which, first silent first.
        sensors: Vec<SilentSensor>,
        /// What they have in common.
        common: Common,
        /// The drums whose level is among them.
        drums: Vec<DrumState>,
        /// The next visit; `None` while people are there.
        visit: Option<Visit>,
        /// What is wrong with the connection to the broker, where that is down.
        #[serde(default)]
        link: Option<LinkDown>,
        /// What of the water of the fish nothing else shows, and for too long.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        unseen: Vec<Quantity>,
    },
    /// The broker had forgotten our session.
    SessionLost {
        /// The last time that the session is known to have stood.
        since: Timestamp,
        /// When it was noticed.
        until: Timestamp,
    },
    /// Readings can't be kept.
    StoreFailing {
        /// Since when.
        since: Timestamp,
        /// What the store said.
        why: String,
    },
    /// What is kept here hasn't reached the central database.
    NotForwarded {
        /// When the oldest of what waits arrived.
        since: Timestamp,
        /// What stands in the way.
        why: String,
    },
    /// Something became of the store.
    StoreReplaced {
        /// When that was noticed.
        at: Timestamp,
        /// What.
        fate: StoreFate,
    },
    /// The server's clock was set.
    ClockStepped(ClockStep),
    /// A device's clock is off.
    DeviceClock(OffClock),
    /// The server's clock is off, by what most devices say.
    ServerClock(ServerClock),
    /// Claymark didn't run.
    Unwatched(Unwatched),
    /// Another client has our client id at the broker, and gets our messages.
    TakenOver {
        /// The last time that our session is known to have stood.
        since: Timestamp,
        /// The client id.
        client_id: String,
        /// The broker said so; else it is guessed from connections that it closed again and again.
        certain: bool,
    },
}

/// A sensor that doesn't speak.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SilentSensor {
    /// Which.
    pub sensor: Id,
    /// The time of its newest reading; `None`: never heard.
    pub last: Option<Timestamp>,
    /// It speaks, but what it has said since then isn't believed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub doubted: bool,
}

/// What silent sensors have in common.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Common {
    /// It is one sensor.
    One,
    /// All of them fell silent together: the network, the broker or the power.
    Everything,
    /// They stand at the same place.
    At(Place),
    /// Several fell silent at about the same time.
    Together,
    /// Several fell silent while nothing can be kept: the broker holds readings back until the disk works.
    Disk,
}
